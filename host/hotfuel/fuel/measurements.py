"""A fuel's measured figures, checked: impossible values are rejected, with the allowed range, before anything is fitted to them."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from numbers import Real

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import volatility
from hotfuel.fuel.fit import sigma_of
from hotfuel.units import Shown

# field -> (name, least, most, unit). Below 12.5 kPa two quite different compositions fit equally well (T(V/L=20) 98 and 117 degC), and no gasoline is that low.
_RANGES = {
    "vapour_pressure_kpa": ("vapour pressure", 13, 115, "kPa"),
    "t10_degc": ("T10", 25, 100, "degC"),
    "t50_degc": ("T50", 55, 140, "degC"),
    "t90_degc": ("T90", 70, 220, "degC"),
    "ethanol_vol": ("ethanol", 0, 90, "vol-%"),
    "e70_vol": ("E70", 1, 70, "vol-%"),
    "e100_vol": ("E100", 10, 99, "vol-%"),
    "density_kg_m3": ("density at 15 degC", 653, 830, "kg/m3"),
    "t_vl20_degc": ("T(V/L=20)", 30, 90, "degC"),
}
_DIMENSIONS = {"degC": "temperature", "kPa": "pressure"}
FITTED = ("t10_degc", "t50_degc", "t90_degc", "e70_vol", "e100_vol")
ASSUMED_T10_DEGC = (
    4.0  # standard uncertainty of a T10 assumed from the vapour pressure, as a fuel laboratory states it for its own
)


@dataclass(frozen=True)
class Measurements:
    """A fuel's data sheet. Temperatures are D86 per cent evaporated; `density_kg_m3` is at 15 degC.

    t10_assumed: T10 was not measured but assumed. ethanol_given: False where it is not stated and 0 is assumed.
    as_printed: the figures kept although they contradict the others.
    """

    vapour_pressure_kpa: float
    t10_degc: float | None = None
    t50_degc: float | None = None
    t90_degc: float | None = None
    ethanol_vol: float = 0.0
    e70_vol: float | None = None
    e100_vol: float | None = None
    density_kg_m3: float | None = None
    t_vl20_degc: float | None = None
    t10_assumed: bool = False
    as_printed: tuple[str, ...] = ()
    ethanol_given: bool = True

    @classmethod
    def of(cls, as_printed: Iterable[str] = (), **figures: object) -> "Measurements":
        """From a caller's arguments: numbers of any kind become floats, ethanol that is None counts as 0 and as not given.

        Raises InputError, one sentence, for a value that is not a number.
        """
        ethanol_given = figures.get("ethanol_vol") is not None
        if not ethanol_given:
            figures["ethanol_vol"] = 0.0
        for field, (name, low, high, unit) in _RANGES.items():
            value = figures.get(field)
            missing = value is None and field != "vapour_pressure_kpa"
            if missing or (isinstance(value, Real | np.number) and not isinstance(value, bool | np.bool_)):
                figures[field] = None if missing else float(value)  # type: ignore[arg-type]
                continue
            seen = "missing" if value is None else f"{value!r}, which is not a number"
            raise InputError(f"{name} is {seen}: give it as a number of {low:g} to {high:g} {unit}, without quotes")
        chosen = (as_printed,) if isinstance(as_printed, str) else tuple(as_printed)
        known = {short(field): field for field in _RANGES}
        for name in chosen:
            if name not in known and name not in _RANGES:
                raise InputError(f'as_printed names "{name}", which is not a figure of a data sheet: use {", ".join(known)}')
        names = tuple(known.get(name, name) for name in chosen)
        return cls(**figures, as_printed=names, ethanol_given=ethanol_given)  # type: ignore[arg-type]

    def check(self, shown: Shown | None = None) -> None:
        """InputError, in the units of `shown`, for an impossible distillation or a value out of range."""
        shown = shown or Shown()
        # the order first: of two exchanged values one is often out of range too, and that message helps less
        self._rising(("t10_degc", "t50_degc", "t90_degc"), shown)
        self._rising(("e70_vol", "e100_vol"), shown)
        for field, (name, low, high, unit) in _RANGES.items():
            value = getattr(self, field)
            if value is None:
                continue
            if field == "vapour_pressure_kpa" and 5 <= value < low:
                raise InputError(
                    f"{name} {value:.4g} {unit} is outside {low:g} to {high:g} {unit}: is it in psi? Then write "
                    f"{value * volatility.KPA_PER_PSI:.1f} kPa ({value:.4g} psi)"
                )
            if not low <= value <= high:
                ends, unit = [number(field, end, shown, 3) for end in (low, high)], unit_of(field, shown)
                raise InputError(
                    f"{name} {number(field, value, shown)} {unit} is outside {ends[0]} to {ends[1]} {unit}: check the value and its unit"
                )

    def _rising(self, fields: tuple[str, ...], shown: Shown) -> None:
        known = [(field, getattr(self, field)) for field in fields if getattr(self, field) is not None]
        for low, high in pairwise(known):
            if high[1] <= low[1]:
                raise InputError(
                    f"{in_words(*high, shown)} is not above {in_words(*low, shown)}: a distillation rises, check whether two values "
                    "were exchanged"
                )

    def words(self, *leaving_out: str, shown: Shown | None = None) -> str:
        """The figures given, in words and the units of `shown`, e.g. "T10 55 degC and T50 100 degC", without those left out and without density."""
        fields = (field for field in _RANGES if field not in ("density_kg_m3", *leaving_out) and getattr(self, field))
        words = [in_words(field, getattr(self, field), shown) for field in fields]
        return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))

    def blend_degc(self) -> float | None:
        """The linear value with T50 counted up to ethanol's plateau; None without T10 or T50."""
        if self.t10_degc is None or self.t50_degc is None:
            return None
        return float(volatility.t_vl20_blend_degc(self.vapour_pressure_kpa, self.t10_degc, self.t50_degc, self.ethanol_vol))

    def for_fit(self) -> dict[str, tuple[float, float]]:
        """The distillation given: figure -> (value, standard uncertainty against the mixture's distillation)."""
        given = {
            name: (getattr(self, name), sigma_of(name, self.ethanol_vol)) for name in FITTED if getattr(self, name) is not None
        }
        if self.t10_assumed and "t10_degc" in given:
            value, sigma = given["t10_degc"]
            given["t10_degc"] = value, float(np.hypot(sigma, ASSUMED_T10_DEGC))
        return given


def short(field: str) -> str:
    """A figure's key in the car file. Example: short("t10_degc") -> "t10"."""
    return field.rsplit("_", 2)[0] if field == "density_kg_m3" else field.rsplit("_", 1)[0]


def in_words(field: str, value: float, shown: Shown | None = None) -> str:
    """A figure with its name and unit. Example: in_words("t10_degc", 55.0) -> "T10 55 degC"."""
    article = "a vapour pressure of " if field == "vapour_pressure_kpa" else f"{_RANGES[field][0]} "
    return f"{article}{number(field, value, shown)} {unit_of(field, shown)}"


def number(field: str, value: float, shown: Shown | None = None, digits: int = 4) -> str:
    """A figure in the unit of `unit_of`, as short as that many digits allow."""
    return f"{_converted(field, value, shown):.{digits}g}"


def span(field: str, low: float, high: float, shown: Shown | None = None) -> str:
    """What a figure usually is, rounded. Example: span("t10_degc", 51.8, 64.2) -> "52 to 64 degC"."""
    unit = unit_of(field, shown)
    ends = [f"{_converted(field, end, shown):.{1 if unit == 'psi' else 0}f}" for end in (low, high)]
    return f"{ends[0]} to {ends[1]} {unit}"


def unit_of(field: str, shown: Shown | None = None) -> str:
    """The unit a figure is written in for a reader of `shown` units (default SI)."""
    unit = _RANGES[field][3]
    return shown.unit(_DIMENSIONS[unit]) if _is_us(field, shown) and shown else unit


def _converted(field: str, value: float, shown: Shown | None) -> float:
    return float(shown.value(value, _DIMENSIONS[_RANGES[field][3]])) if _is_us(field, shown) and shown else value


def _is_us(field: str, shown: Shown | None) -> bool:
    return shown is not None and shown.system == "us" and _RANGES[field][3] in _DIMENSIONS
