"""An invented circuit, a car that laps it, and what a satellite receiver would send (NMEA 0183). Nothing here is a real place."""

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

_POINTS = 4000
_GRIP_M_S2, _PULL_M_S2, _BRAKE_M_S2, _TOP_M_S = 8.0, 3.5, 7.0, 48.0
# of an ellipsoid of our own: the sentences must not share the reader's geometry
_METRES_PER_DEGREE = 111_120.0


@dataclass(frozen=True)
class Circuit:
    """A closed curve r(angle) = size (1 + a cos(2 angle + p) + b cos(3 angle)) about a point in the sea; driven anticlockwise from angle 0."""

    size_m: float = 260.0
    twice: float = 0.36
    thrice: float = 0.14
    phase: float = 0.5
    latitude_deg: float = 40.0
    longitude_deg: float = -40.0

    def curve(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(metres along, x east, y north), each (_POINTS + 1,), closed."""
        angle = np.linspace(0, 2 * np.pi, _POINTS + 1)
        radius = self.size_m * (1 + self.twice * np.cos(2 * angle + self.phase) + self.thrice * np.cos(3 * angle))
        x, y = radius * np.cos(angle), radius * np.sin(angle)
        return np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))]), x, y

    @property
    def length_m(self) -> float:
        """Length of a lap."""
        return float(self.curve()[0][-1])

    def speed_m_s(self) -> np.ndarray:
        """(_POINTS + 1,): what grip allows in each bend, reached by pulling and braking."""
        along, x, y = self.curve()
        step = along[1:] - along[:-1]
        heading = np.unwrap(np.arctan2(np.diff(y), np.diff(x)))
        bend = np.abs(np.gradient(heading)) / step
        fastest = np.minimum(np.sqrt(_GRIP_M_S2 / np.maximum(bend, 1e-6)), _TOP_M_S)
        for _ in range(2):  # twice round: the lap begins at the speed it ends with
            for at in range(len(fastest)):
                fastest[at] = min(fastest[at], np.sqrt(fastest[at - 1] ** 2 + 2 * _PULL_M_S2 * step[at - 1]))
            for at in reversed(range(len(fastest))):
                after = (at + 1) % len(fastest)
                fastest[at] = min(fastest[at], np.sqrt(fastest[after] ** 2 + 2 * _BRAKE_M_S2 * step[at]))
        return np.append(fastest, fastest[0])

    def speed_over_time(self, step_s: float) -> np.ndarray:
        """m/s every step_s, once round from the line at angle 0."""
        along, speed = self.curve()[0], self.speed_m_s()
        at = np.concatenate([[0.0], np.cumsum(np.diff(along) / (0.5 * (speed[1:] + speed[:-1])))])
        return np.interp(np.arange(0.0, at[-1], step_s), at, speed)


@dataclass(frozen=True)
class Driven:
    """Laps as driven: time_s (n,) of each fix, x east, y north in m, speed m/s; crossed_s (laps + 1,): when the line at angle 0 was crossed."""

    time_s: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray
    speed_m_s: np.ndarray
    crossed_s: np.ndarray


def drive(circuit: Circuit, laps: int, rng: np.random.Generator, period_s: float = 0.2, before_m: float = 150.0) -> Driven:
    """So many whole laps, each a little quicker or slower, from before_m before the line to as far behind it."""
    along, x, y = circuit.curve()
    speed = circuit.speed_m_s()
    length = along[-1]
    pace = 1 + 0.02 * rng.standard_normal(laps + 2)
    way = np.arange(length - before_m, (laps + 1) * length + before_m, 1.0)
    lap = (way // length).astype(int)
    each = np.interp(way % length, along, speed) * pace[np.clip(lap, 0, laps + 1)]
    time = np.concatenate([[0.0], np.cumsum(1.0 / each[:-1])])
    at = np.arange(0.0, time[-1], period_s)
    where = np.interp(at, time, way)
    crossed = np.interp(length * np.arange(1, laps + 2), way, time)
    part = where % length
    return Driven(at, np.interp(part, along, x), np.interp(part, along, y), np.interp(where, way, each), crossed)


def follow(circuit: Circuit, time_s: np.ndarray, speed_m_s: np.ndarray, period_s: float = 0.2) -> Driven:
    """A drive given by its speeds (n,) at rising times (n,), all of it round the circuit, from the line on."""
    along, x, y = circuit.curve()
    way = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * 0.5 * (speed_m_s[1:] + speed_m_s[:-1]))])
    at = np.arange(time_s[0], time_s[-1], period_s)
    where = np.interp(at, time_s, way)
    turns = along[-1] * np.arange(1, int(way[-1] // along[-1]) + 1)
    rising = np.concatenate([[True], np.diff(way) > 0])
    crossed = np.interp(turns, way[rising], time_s[rising])
    part = where % along[-1]
    return Driven(at, np.interp(part, along, x), np.interp(part, along, y), np.interp(at, time_s, speed_m_s), crossed)


def sentences(
    circuit: Circuit, driven: Driven, began_s: float, noise_m: float, rng: np.random.Generator
) -> Iterator[tuple[float, bytes]]:
    """(second, sentence) of each fix: position and speed, then position and quality. began_s: unix seconds of time 0. noise_m: of the position, one standard
    deviation, wandering over half a minute as a receiver's does."""
    period = float(driven.time_s[1] - driven.time_s[0])
    keep = np.exp(-period / 30.0)
    wander = np.zeros((len(driven.time_s), 2))
    for row in range(1, len(wander)):
        wander[row] = keep * wander[row - 1] + np.sqrt(1 - keep**2) * noise_m * rng.standard_normal(2)
    heading = np.degrees(np.arctan2(np.gradient(driven.x_m), np.gradient(driven.y_m))) % 360
    for row, second in enumerate(driven.time_s.tolist()):
        north = circuit.latitude_deg + (driven.y_m[row] + wander[row, 1]) / _METRES_PER_DEGREE
        east = circuit.longitude_deg + (driven.x_m[row] + wander[row, 0]) / (
            _METRES_PER_DEGREE * np.cos(np.radians(circuit.latitude_deg))
        )
        yield second, rmc(began_s + second, north, east, float(driven.speed_m_s[row]), float(heading[row]))
        yield second, gga(began_s + second, north, east)


def rmc(
    unix_s: float, latitude_deg: float, longitude_deg: float, speed_m_s: float, heading_deg: float, valid: bool = True
) -> bytes:
    """The recommended minimum sentence."""
    time, day = _moment(unix_s)
    place = f"{_angle(latitude_deg, 2)},{'N' if latitude_deg >= 0 else 'S'},{_angle(longitude_deg, 3)},{'E' if longitude_deg >= 0 else 'W'}"
    return closed(
        f"GPRMC,{time},{'A' if valid else 'V'},{place},{speed_m_s * 3600 / 1852:.2f},{heading_deg:.1f},{day},,,{'A' if valid else 'N'}"
    )


def gga(unix_s: float, latitude_deg: float, longitude_deg: float, quality: int = 1) -> bytes:
    """The fix data sentence."""
    time, _ = _moment(unix_s)
    place = f"{_angle(latitude_deg, 2)},{'N' if latitude_deg >= 0 else 'S'},{_angle(longitude_deg, 3)},{'E' if longitude_deg >= 0 else 'W'}"
    return closed(f"GPGGA,{time},{place},{quality},09,0.9,12.0,M,0.0,M,,")


def closed(body: str) -> bytes:
    """A sentence's body between $ and its checksum: the exclusive or of its bytes, two hexadecimal digits."""
    check = 0
    for byte in body.encode("ascii"):
        check ^= byte
    return f"${body}*{check:02X}".encode("ascii")


def _moment(unix_s: float) -> tuple[str, str]:
    hundredths = round(unix_s * 100)
    stamp = datetime.datetime.fromtimestamp(hundredths // 100, datetime.UTC)
    return f"{stamp:%H%M%S}.{hundredths % 100:02d}", f"{stamp:%d%m%y}"


def _angle(degrees: float, digits: int) -> str:
    """ddmm.mmmmm"""
    size = abs(degrees)
    whole = int(size)
    minutes = round((size - whole) * 60, 5)
    if minutes >= 60:
        whole, minutes = whole + 1, 0.0
    return f"{whole:0{digits}d}{minutes:08.5f}"
