"""What was measured on a fuel, checked: impossible values are refused with the allowed range before anything is fitted to them."""

from dataclasses import dataclass
from itertools import pairwise

from hotfuel.errors import InputError
from hotfuel.fuel import volatility
from hotfuel.fuel.fit import Data

# field -> (name, least, most, unit)
_RANGES = {
    "vapour_pressure_kpa": ("vapour pressure", 10, 115, "kPa"),
    "t10_degc": ("T10", 25, 100, "degC"),
    "t50_degc": ("T50", 55, 140, "degC"),
    "t90_degc": ("T90", 70, 220, "degC"),
    "ethanol_vol": ("ethanol", 0, 90, "vol-%"),
    "e70_vol": ("E70", 1, 70, "vol-%"),
    "e100_vol": ("E100", 10, 99, "vol-%"),
    "density_kg_m3": ("density at 15 degC", 653, 830, "kg/m3"),
    "t_vl20_degc": ("T(V/L=20)", 30, 90, "degC"),
}


@dataclass(frozen=True)
class Measurements:
    """A fuel's data sheet. Temperatures are D86 per cent evaporated; `density_kg_m3` is at 15 degC."""

    vapour_pressure_kpa: float
    t10_degc: float | None = None
    t50_degc: float | None = None
    t90_degc: float | None = None
    ethanol_vol: float = 0.0
    e70_vol: float | None = None
    e100_vol: float | None = None
    density_kg_m3: float | None = None
    t_vl20_degc: float | None = None

    def check(self) -> None:
        """InputError for a value beyond its range or a distillation that cannot be."""
        for field, (name, low, high, unit) in _RANGES.items():
            value = getattr(self, field)
            if value is not None:
                volatility.require_range(value, low, high, name, unit)
        self._rising([("T10", self.t10_degc), ("T50", self.t50_degc), ("T90", self.t90_degc)], "degC")
        self._rising([("E70", self.e70_vol), ("E100", self.e100_vol)], "vol-%")

    @staticmethod
    def _rising(points: list[tuple[str, float | None]], unit: str) -> None:
        known = [(name, value) for name, value in points if value is not None]
        for (low_name, low), (high_name, high) in pairwise(known):
            if high <= low:
                raise InputError(
                    f"{high_name} {high:g} {unit} is not above {low_name} {low:g} {unit}: a distillation rises, check whether two values "
                    "were exchanged"
                )

    def beside_vapour_pressure(self) -> str:
        """The other figures given, in words, e.g. "T10 55 degC and T50 100 degC"."""
        fields = (field for field in list(_RANGES)[1:] if field != "density_kg_m3" and getattr(self, field))
        words = [f"{_RANGES[field][0]} {getattr(self, field):g} {_RANGES[field][3]}" for field in fields]
        return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))

    def linear_degc(self) -> float | None:
        """The D4814 linear value, or None if it has no T10 or T50 or they are outside its range."""
        if self.t10_degc is None or self.t50_degc is None or self.vapour_pressure_kpa < 35 or self.t10_degc > 80:
            return None
        return float(volatility.t_vl20_linear_degc(self.vapour_pressure_kpa, self.t10_degc, self.t50_degc))

    def blend_degc(self) -> float | None:
        """The linear value with T50 counted up to ethanol's plateau."""
        if self.t10_degc is None or self.t50_degc is None:
            return None
        return float(volatility.t_vl20_blend_degc(self.vapour_pressure_kpa, self.t10_degc, self.t50_degc, self.ethanol_vol))

    def for_fit(self, t_vl20_degc: float | None) -> Data:
        """The data the composition is fitted to; on an ethanol blend T(V/L=20) weighs as much as the mixture's own idea of it."""
        points = ((10, self.t10_degc), (50, self.t50_degc), (90, self.t90_degc))
        shares = ((70.0, self.e70_vol), (100.0, self.e100_vol))
        return Data(
            self.vapour_pressure_kpa,
            self.ethanol_vol,
            tuple((percent, value) for percent, value in points if value is not None),
            tuple((degc, value) for degc, value in shares if value is not None),
            t_vl20_degc,
            0.5 if self.ethanol_vol else 1.0,
        )
