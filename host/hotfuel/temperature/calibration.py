"""A board's calibration: a straight line per channel, measured in ice water and boiling water, with its uncertainty and date, in a JSON file.

`line_through(points)` rejects implausible points instead of correcting by them; `Calibration.load` and `.save` read and write the file.
"""

import datetime
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe, whole
from hotfuel.units import ZERO_DEGC_IN_K

ICE_DEGC, ICE_UNCERTAINTY_DEGC = 0.0, 0.1  # stirred, crushed ice from tap water (common practice, no source)
BOILING_UNCERTAINTY_DEGC = 0.3  # tap water, pressure known to 1 kPa (common practice, no source)
STEADY_DEGC, STEADY_S = 0.5, 20.0  # a point counts when its readings stayed this close for this long
OFFSET_MAX_DEGC = 6.0  # more than any amplifier and class together: something else is wrong
GAIN_RANGE = (0.95, 1.05)
_APART_DEGC = 30.0  # two points closer than this give no useful gain

# IAPWS-IF97, equation 31 and table 34 (R7-97, 2012): saturation line of water.
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip


def water_boiling_degc(pressure_kpa: npt.ArrayLike) -> np.ndarray:
    """Boiling temperature of pure water at an absolute pressure in kPa (any shape, 1 to 1000), degC.

    Source: IAPWS-IF97 (R7-97), backward equation for the saturation temperature. Example: water_boiling_degc(101.325) -> 99.974. Raises InputError.
    """
    pressure = np.asarray(pressure_kpa, dtype=float)
    if not np.all((pressure >= 1) & (pressure <= 1000)):
        raise InputError(
            f"{np.ravel(pressure)[0]:g} kPa is outside 1 to 1000 kPa: give the absolute pressure of the air where the water boils"
        )
    beta = (pressure / 1000) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    kelvin = (_N[9] + d - np.sqrt((_N[9] + d) ** 2 - 4 * (_N[8] + _N[9] * d))) / 2
    return np.asarray(kelvin - ZERO_DEGC_IN_K)


class Point(BaseModel):
    """One bath: its known temperature, the channel's mean reading and scatter, and the amplifier's own temperature."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    bath: Literal["ice", "boiling", "reference thermometer"]
    reference_degc: float = Field(ge=-50, le=250)
    reference_uncertainty_degc: float = Field(ge=0, le=5)
    measured_degc: float
    spread_degc: float = Field(ge=0)
    cold_degc: float
    readings: int = Field(ge=1)


class ChannelCalibration(BaseModel):
    """corrected = gain * measured + offset_degc, with one standard uncertainty of the corrected temperature, and the points it comes from."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    place: str
    gain: float = Field(ge=GAIN_RANGE[0], le=GAIN_RANGE[1])
    offset_degc: float = Field(ge=-2 * OFFSET_MAX_DEGC, le=2 * OFFSET_MAX_DEGC)
    uncertainty_degc: float = Field(gt=0, le=5)
    made_on: datetime.date
    points: tuple[Point, ...] = ()

    def corrected_degc(self, measured_degc: np.ndarray) -> np.ndarray:
        """The line applied; nan stays nan."""
        return self.gain * measured_degc + self.offset_degc


class Calibration(BaseModel):
    """All channels of one board. `board_id`: 16 hexadecimal digits; `channels`: channel number -> its line."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    board_id: str = Field(pattern=r"^[0-9a-f]{16}$")
    channels: dict[int, ChannelCalibration] = {}

    def channel(self, number: int, place: str) -> ChannelCalibration | None:
        """The line of a channel; None if it has none or is now at another place (so with another probe)."""
        found = self.channels.get(number)
        return found if found is not None and found.place == place else None

    def save(self, path: str | Path) -> None:
        """Write the file whole or not at all. Raises InputError if the place cannot be written."""
        with whole(path) as part:
            part.write_text(self.model_dump_json(indent=1) + "\n", encoding="utf-8")

    @classmethod
    def load(cls, path: str | Path) -> "Calibration":
        """Raises InputError: file, key, what was seen, what is allowed."""
        name = Path(path).name
        refuse_pipe(path)
        try:
            return cls.model_validate_json(Path(path).read_bytes())
        except OSError as error:
            raise InputError(
                f"{name} cannot be read ({error.strerror}): make one with `hotfuel check`, or leave the calibration out"
            ) from None
        except ValidationError as error:
            first = error.errors()[0]
            key = ".".join(str(part) for part in first["loc"]) or "the file"
            raise InputError(
                f"{name}: {key} is {first['input']!r:.60}: {first['msg']}; make a new one with `hotfuel check`"
            ) from None


def point(bath: str, measured_degc: npt.ArrayLike, time_s: npt.ArrayLike, cold_degc: npt.ArrayLike, reference_degc: float | None = None,
          pressure_kpa: float | None = None) -> Point:  # fmt: skip
    """One bath's point from its readings, each (n,): "ice", "boiling" (needs the air pressure) or "reference thermometer" (needs its reading).

    Uses the last 20 s. Raises InputError if they are missing, too few or not steady within 0.5 degC.
    """
    values, times = np.asarray(measured_degc, dtype=float), np.asarray(time_s, dtype=float)
    cold = np.asarray(cold_degc, dtype=float)
    good = np.isfinite(values)
    if not good.any() or times[good][-1] - times[good][0] < 0.95 * STEADY_S:
        raise InputError(f"{bath}: less than {STEADY_S:g} s of good readings: keep the probe in the bath and look for a fault")
    recent = good & (times >= times[good][-1] - STEADY_S)
    if recent.sum() < 10:
        raise InputError(f"{bath}: only {recent.sum()} good readings in {STEADY_S:g} s, needed are 10")
    swing = float(np.ptp(values[recent]))
    if swing > STEADY_DEGC:
        raise InputError(
            f"{bath}: readings moved by {swing:.1f} °C in {STEADY_S:g} s, allowed is {STEADY_DEGC:g}: stir and wait until steady"
        )
    if bath == "ice":
        reference, uncertainty = ICE_DEGC, ICE_UNCERTAINTY_DEGC
    elif bath == "boiling":
        if pressure_kpa is None:
            raise InputError("boiling water needs the air pressure: give a station pressure or an altitude")
        reference, uncertainty = float(water_boiling_degc(pressure_kpa)), BOILING_UNCERTAINTY_DEGC
    elif reference_degc is not None:
        reference, uncertainty = float(reference_degc), 0.5
    else:
        raise InputError("a reference thermometer's reading is missing: give it in degC")
    return Point(
        bath=bath, reference_degc=reference, reference_uncertainty_degc=uncertainty,  # type: ignore[arg-type]
        measured_degc=float(values[recent].mean()),
        spread_degc=float(values[recent].std(ddof=1)), cold_degc=float(np.nanmean(cold[recent])), readings=int(recent.sum()),
    )  # fmt: skip


def reversed_polarity(taken: Point) -> bool:
    """True if the probe's two wires are swapped: the reading is as far on the wrong side of the amplifier's temperature as it should be on the right."""
    expected = taken.reference_degc - taken.cold_degc
    seen = taken.measured_degc - taken.cold_degc
    return abs(expected) > 5 and seen * expected < 0 and abs(seen + expected) < 0.25 * abs(expected) + 2


def line_through(place: str, points: Sequence[Point], made_on: datetime.date) -> ChannelCalibration:
    """The channel's line from one point (offset only) or two and more (offset and gain, least squares).

    Raises InputError for reversed polarity, an offset beyond 6 degC, a gain outside 0.95 to 1.05, or no point at all.
    """
    if not points:
        raise InputError(f"{place}: no steady point was taken: take at least the ice point")
    for taken in points:
        if reversed_polarity(taken):
            raise InputError(
                f"{place}: reads {taken.measured_degc:.1f} °C in a bath of {taken.reference_degc:.1f} °C, as far on the wrong side of the "
                f"amplifier's {taken.cold_degc:.1f} °C: the probe's two wires are swapped; exchange them and take the point again"
            )
        off = taken.measured_degc - taken.reference_degc
        if abs(off) > OFFSET_MAX_DEGC:
            raise InputError(
                f"{place}: reads {off:+.1f} °C off in the {taken.bath} bath, allowed is {OFFSET_MAX_DEGC:g}: wrong wire, wrong bath or a fault, "
                "not an offset"
            )
    measured = np.array([taken.measured_degc for taken in points])
    reference = np.array([taken.reference_degc for taken in points])
    errors = np.array(
        [math.hypot(taken.reference_uncertainty_degc, taken.spread_degc / math.sqrt(taken.readings)) for taken in points]
    )
    if np.ptp(reference) < _APART_DEGC:
        offset = float(np.mean(reference - measured))
        # one point does not give the scale: 0.4 % (the special grade's tolerance) of the 60 degC up to hot fuel
        error = math.hypot(float(errors.max()), 0.004 * 60)
        return ChannelCalibration(
            place=place, gain=1.0, offset_degc=offset, uncertainty_degc=error, made_on=made_on, points=tuple(points)
        )
    gain, offset = np.polyfit(measured, reference, 1, w=1 / errors)
    if not GAIN_RANGE[0] <= gain <= GAIN_RANGE[1]:
        raise InputError(
            f"{place}: the points give a gain of {gain:.3f}, allowed is {GAIN_RANGE[0]:g} to {GAIN_RANGE[1]:g}: a bath or wire is wrong"
        )
    error = math.hypot(float(errors.max()), float(np.abs(gain * measured + offset - reference).max()))
    return ChannelCalibration(
        place=place, gain=float(gain), offset_degc=float(offset), uncertainty_degc=error, made_on=made_on, points=tuple(points)
    )
