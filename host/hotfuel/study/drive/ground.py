"""Degrees to metres on a plane, and the line on the ground at which laps are counted."""

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hotfuel.errors import UsageError

# WGS 84: semi-major axis and flattening (NIMA TR8350.2)
_AXIS_M, _FLATTENING = 6_378_137.0, 1 / 298.257223563
HALF_WIDTH_M = 15.0  # to either side: the width of a road and the receiver's error
_WRITTEN = re.compile(r"\s*(-?\d+(?:\.\d+)?)[\s,;]+(-?\d+(?:\.\d+)?)\s+heading\s+(\d+(?:\.\d+)?)\s*(?:deg)?\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Plane:
    """The plane tangent to the ellipsoid at a point: accurate to 0.1 % over 20 km."""

    latitude_deg: float
    longitude_deg: float

    def metres(self, latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """(x east, y north) in m, of arrays that broadcast. x = (lon - lon0) N cos(lat), y = (lat - lat0) M, radii of curvature at the point."""
        phi = np.radians(self.latitude_deg)
        square = _FLATTENING * (2 - _FLATTENING)
        root = np.sqrt(1 - square * np.sin(phi) ** 2)
        across, along = _AXIS_M / root, _AXIS_M * (1 - square) / root**3
        latitude, longitude = np.asarray(latitude_deg, float), np.asarray(longitude_deg, float)
        east = (longitude - self.longitude_deg + 180.0) % 360.0 - 180.0
        middle = np.radians((latitude + self.latitude_deg) / 2)
        return np.radians(east) * across * np.cos(middle), np.radians(latitude - self.latitude_deg) * along


@dataclass(frozen=True)
class Line:
    """A line on the ground, crossed in the direction of heading_deg (clockwise from north), HALF_WIDTH_M to either side of the point."""

    latitude_deg: float
    longitude_deg: float
    heading_deg: float

    def __str__(self) -> str:
        return f"{self.latitude_deg:.6f} {self.longitude_deg:.6f} heading {self.heading_deg:.0f}"


def parse(text: str) -> Line:
    """The line a person wrote. Raises UsageError. Example: parse("48.0712 11.2650 heading 275")."""
    found = _WRITTEN.fullmatch(text)
    if found is None:
        raise UsageError(
            f'"{text}" is not a line: write degrees north, degrees east and the direction it is crossed in, as "48.0712 11.2650 heading 275"'
        )
    latitude, longitude, heading = (float(part) for part in found.groups())
    if not (abs(latitude) <= 90 and abs(longitude) <= 180 and heading <= 360):
        raise UsageError(f'"{text}": allowed are -90 to 90 degrees north, -180 to 180 degrees east, and a heading of 0 to 360')
    return Line(latitude, longitude, heading % 360)
