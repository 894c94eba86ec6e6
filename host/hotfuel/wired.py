"""A board's further inputs, from the car file's [[input]] tables: voltages with a calibration table, flow meters.

SI inside: `Input.column` is the name of an input's column, ending in its unit.
"""

from collections.abc import Iterable
from typing import Annotated, Any, Literal

import numpy as np
from hotfuel_wire.more import CONVERTER_V_PER_CODE, INPUTS
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from hotfuel import units
from hotfuel.errors import InputError

# unit as written -> (end of the column's name, dimension of hotfuel.units or "" where it is not converted)
UNITS = {
    **{unit: ("kpa", "pressure") for unit in units.UNITS["pressure"]},
    **{unit: ("degc", "temperature") for unit in ("degC", "degF", "K")},
    "%": ("percent", ""),
    "V": ("v", ""),
    "lambda": ("lambda", ""),
    "AFR": ("afr", ""),
}
DIVIDER = (15.0 + 27.0) / 27.0  # at the converter's inputs, hardware/MORE_INPUTS.md: 5 V become 3.2 V
BOARD_SHARE = 0.002  # standard uncertainty of a voltage, as a share of it: divider of 0.1 % resistors, and the converter's own 6 megohm across it
METER_SHARE = 0.05  # of a pulse flow meter at these flows (common practice, no source)
_BEYOND = 0.01  # of the calibration's span: this far outside, a reading still counts as its end
_POINTS_MOST = 100
_LINE, _ENGINE, _RETURN = "line", "engine", "return"
Source = Literal["analogue_1", "analogue_2", "analogue_3", "analogue_4", "flow_1", "flow_2"]


class Input(BaseModel):
    """One further input. points: (voltage at the board's terminal with its unit, value in `unit`), voltages rising, straight lines between.

    uncertainty: one standard uncertainty, in `unit`, of a flow meter in per cent. range: possible values, in `unit` or L/h; outside it there is no value.
    measures: where a flow meter sits: in the "line" from the tank, at the "engine" after the return's tee, in the "return".
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)

    name: str
    source: Source
    unit: str | None = None
    points: tuple[tuple[str, float], ...] = Field(default=(), strict=False)
    range: tuple[float, float] | None = Field(default=None, strict=False)
    uncertainty: float = Field(default=0.0, ge=0, strict=False)
    divider: float = Field(default=DIVIDER, ge=1, le=100, strict=False)
    pulses_per_litre: float | None = Field(default=None, gt=0, le=1e6, strict=False)
    measures: Literal["line", "engine", "return"] | None = None

    @field_validator("name")
    @classmethod
    def _name(cls, name: str) -> str:
        if not (name.isascii() and name.isidentifier() and name == name.lower() and len(name) <= 24):
            raise InputError("allowed are 1 to 24 small letters, digits and _, a letter first")
        return name

    @model_validator(mode="before")
    @classmethod
    def _as_pairs(cls, given: Any) -> Any:
        """TOML has no tuples."""
        if not isinstance(given, dict):
            return given
        pairs = given.get("points")
        if isinstance(pairs, list) and all(isinstance(pair, list) for pair in pairs):
            given = {**given, "points": tuple((pair[0], float(pair[1])) if _is_pair(pair) else tuple(pair) for pair in pairs)}
        if isinstance(given.get("range"), list) and all(isinstance(end, int) for end in given["range"]):
            given = {**given, "range": tuple(float(end) for end in given["range"])}
        return given

    @model_validator(mode="after")
    def _whole(self) -> "Input":
        if self.is_flow:
            given: dict[str, object] = {"unit": self.unit, "points": self.points}
            if self.pulses_per_litre is None or self.measures is None:
                raise InputError(
                    f'{self.source} is a flow meter: give pulses_per_litre, and measures = "line", "engine" or "return"'
                )
        else:
            given = {"pulses_per_litre": self.pulses_per_litre, "measures": self.measures}
            if self.unit not in UNITS or not self.points:
                raise InputError(
                    f'{self.source} is a voltage: give points = [["0.5 V", 0.0], ...] and unit, one of {", ".join(UNITS)}'
                )
        extra = [key for key, value in given.items() if value]
        if extra:
            raise InputError(f"{self.source} has no {' and no '.join(extra)}: leave it out")
        if self.range is not None and not self.range[0] < self.range[1]:
            raise InputError(f"range is {self.range[0]:g} to {self.range[1]:g}: give the least value, then the greatest")
        if self.points:
            volts = self._volts
            if not 2 <= len(volts) <= _POINTS_MOST or (np.diff(volts) <= 0).any():
                raise InputError(f"points: give 2 to {_POINTS_MOST} pairs of a voltage and a value, the voltages rising")
        return self

    @property
    def is_flow(self) -> bool:
        """True for a flow meter, False for a voltage."""
        return self.source.startswith("flow")

    @property
    def number(self) -> int:
        """Its number on the wire."""
        return INPUTS[self.source]

    @property
    def _volts(self) -> np.ndarray:
        return np.array([units.parse(volts, "voltage") for volts, _ in self.points])

    @property
    def dimension(self) -> str:
        """Its dimension in hotfuel.units; "" for a quantity shown unconverted."""
        return "volume flow" if self.is_flow else UNITS[self.unit or ""][1]

    @property
    def column(self) -> str:
        """For example "mixture_lambda", "second_pressure_kpa"."""
        end = "l_h" if self.is_flow else UNITS[self.unit or ""][0]
        return self.name if self.name.endswith(f"_{end}") else f"{self.name}_{end}"

    def _si(self, values: Any) -> np.ndarray:
        given: np.ndarray = np.asarray(values, dtype=float)
        if self.is_flow or not self.dimension:
            return given
        factor, offset = units.UNITS[self.dimension][self.unit or ""]
        return given * factor + offset

    def of_codes(self, codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(values (n,) in SI, nan where there is none; True where the voltage or the value is outside what the car file allows) of converter codes."""
        volts, known = np.asarray(codes, dtype=float) * CONVERTER_V_PER_CODE * self.divider, self._volts
        spare = _BEYOND * (known[-1] - known[0])
        written = np.interp(volts, known, [value for _, value in self.points])
        values = self._si(written)
        beyond = (volts < known[0] - spare) | (volts > known[-1] + spare) | self.out_of_range(written)
        return np.where(beyond, np.nan, values), beyond & np.isfinite(volts)

    def volts_of(self, values: np.ndarray) -> np.ndarray:
        """Voltages at the board's terminal (n,) that give these values in SI; the inverse of the calibration, if it rises or falls throughout."""
        known = self._si([value for _, value in self.points])
        order = np.argsort(known)
        volts: np.ndarray = np.interp(values, known[order], self._volts[order])
        return volts

    def out_of_range(self, written: np.ndarray) -> np.ndarray:
        """Where values in the car file's unit are outside its range."""
        least, greatest = self.range or (-np.inf, np.inf)
        with np.errstate(invalid="ignore"):
            outside: np.ndarray = (written < least) | (written > greatest)
        return outside

    def standard_uncertainty(self, values: np.ndarray) -> np.ndarray:
        """One standard uncertainty of values (n,) in SI: the sensor's as stated, with the board's share of the voltage."""
        values = np.asarray(values, dtype=float)
        if self.is_flow:
            return self.uncertainty / 100 * np.abs(values)
        volts, known = self._volts, self._si([value for _, value in self.points])
        slope, at = np.abs(np.diff(known) / np.diff(volts)), self.volts_of(values)
        piece = np.clip(np.searchsorted(volts, at, side="right") - 1, 0, len(slope) - 1)
        factor = units.UNITS[self.dimension][self.unit or ""][0] if self.dimension else 1.0
        result: np.ndarray = np.where(
            np.isnan(values), np.nan, np.hypot(self.uncertainty * factor, slope[piece] * BOARD_SHARE * at)
        )
        return result


def _is_pair(pair: list[Any]) -> bool:
    return len(pair) == 2 and isinstance(pair[1], int | float) and not isinstance(pair[1], bool)


_ENDS = {"kpa": ("pressure", ""), "degc": ("temperature", ""), "l_h": ("volume flow", "")}
_ENDS |= {"percent": ("", " %"), "v": ("", " V"), "lambda": ("", ""), "afr": ("", "")}


def words_of(column: str) -> str:
    """ "second_pressure_kpa" -> "second pressure"; a lambda and an air-fuel ratio keep their names, because their numbers have no unit."""
    end = next((end for end in _ENDS if column.endswith(f"_{end}")), "")
    name = column.removesuffix(f"_{end}").replace("_", " ") if end else column
    return f"{name} {'AFR' if end == 'afr' else end}" if end in ("lambda", "afr") and name not in ("lambda", "afr") else name


def text_of(column: str, value: float, shown: units.Shown) -> str:
    """A value of such a column in the reader's units: "3.2 psi", "0.87"."""
    dimension, unit = _ENDS.get(next((end for end in _ENDS if column.endswith(f"_{end}")), ""), ("", ""))
    if dimension:
        return shown.text(value, dimension)
    return f"{value:.{2 if column.endswith(('_lambda', '_v')) else 1}f}{unit}"


def axis_of(column: str, shown: units.Shown) -> tuple[str, str, str | None]:
    """(what a chart's axis shows, its unit, dimension of hotfuel.units or None) of such a column."""
    end = next((end for end in _ENDS if column.endswith(f"_{end}")), "")
    dimension, unit = _ENDS.get(end, ("", ""))
    name = column.removesuffix(f"_{end}").replace("_", " ") if end else column
    return name, shown.unit(dimension) if dimension else unit.strip() or end.replace("afr", "AFR"), dimension or None


TAKEN = ("engine_rpm", "fuel_pressure_kpa", "battery_v", "ambient_pressure_kpa", "flow_l_h", "running", "ignition")


def _each_once(inputs: tuple[Input, ...]) -> tuple[Input, ...]:
    for what, seen in (("source", [str(one.source) for one in inputs]), ("name", [one.column for one in inputs])):
        twice = sorted({value for value in seen if seen.count(value) > 1})
        if twice:
            raise InputError(f"two inputs have the {what} {twice[0]}: each needs its own")
    flows = [one.measures for one in inputs if one.is_flow]
    if len(set(flows)) != len(flows):
        raise InputError(
            f'two flow meters measure the {flows[0]}: of two, one is in the "line" or at the "engine", the other in the "return"'
        )
    taken = [one.name for one in inputs if one.column in TAKEN]
    if taken:
        raise InputError(f"an input cannot be named {taken[0]}: the board has an input of that name; give another")
    return inputs


Inputs = Annotated[tuple[Input, ...], AfterValidator(_each_once)]


def line_flow_l_h(flows: dict[str, np.ndarray], return_l_h: float) -> np.ndarray | None:
    """Flow through the line (n,) of meters {measures: L/h}: from one in the line; else from one at the engine plus the return flow (metered or as stated)."""
    if _LINE in flows:
        return flows[_LINE]
    if _ENGINE in flows:
        return flows[_ENGINE] + flows.get(_RETURN, np.full_like(flows[_ENGINE], return_l_h))
    return None


def flow_share(inputs: Iterable[Input]) -> float:
    """Standard uncertainty of the metered flow, relative: as stated in the car file for its meters, combined where there are two; else METER_SHARE."""
    stated = [one.uncertainty / 100 for one in inputs if one.is_flow and one.uncertainty]
    return float(np.hypot.reduce(stated)) if stated else METER_SHARE
