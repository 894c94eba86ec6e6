"""The limit of one criterion of one fuel at every pressure, with the parts of its uncertainty: computed once, read at each sample's own pressure, so
that a single sample and the same sample in a whole session get the same numbers.
"""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from hotfuel.fuel import Fuel
from hotfuel.fuel.grid import along_each, look_up_each
from hotfuel.fuel.table import PRESSURE_RANGE_KPA, STEP_KPA, LimitTable
from hotfuel.risk.criterion import Criterion
from hotfuel.units import STANDARD_PRESSURE_KPA

# Uncertainty of the limit as a share of its change from sea level: the published altitude rule is 4.4 degC per 1000 m (ASTM D4814-18, 5.2.1), mixtures 4.7.
EXTRAPOLATION_SHARE = 0.06
_NEEDLE_STEP_KPA = 5.0  # the needle's uncertainty is a table of two pressures; it needs no more than a tenth of a degree


class Limit(ABC):
    """The limit at a place. Pressures: kPa absolute, (n,) each; one, or line and bowl behind the needle."""

    def __init__(self) -> None:
        self._at_one = lru_cache(maxsize=256)(lambda *kpa: self._at(*(np.array([value]) for value in kpa)))

    def at(self, *pressure_kpa: np.ndarray) -> Sequence[np.ndarray]:
        """Four arrays (n,): limit, boiling onset (both degC), variance of the limit (degC^2) without the pressure's share, slope against pressure
        (degC/kPa).

        Do not write to them: those of a single reading are cached, because live the pressure often stays the same.
        """
        if pressure_kpa[0].size == 1:
            return self._at_one(*(kpa.item() for kpa in pressure_kpa))
        return self._at(*pressure_kpa)

    @abstractmethod
    def _at(self, *pressure_kpa: np.ndarray) -> Sequence[np.ndarray]: ...

    @abstractmethod
    def vapour_liquid_ratio(self, temperature_degc: np.ndarray, *pressure_kpa: np.ndarray) -> np.ndarray:
        """V/L (n,) at these temperatures."""


def limit_at(fuel: Fuel, ratio: Criterion, needle: bool = False) -> Limit:
    """The limit of a criterion at one pressure, or behind the needle at two. The table is kept for the next time."""
    return _prepared(fuel.limit_table, fuel.uncertainty_degc(ratio.vapour_liquid_ratio), ratio, needle)


@lru_cache(maxsize=16)
def _prepared(table: LimitTable, own_uncertainty_degc: float, ratio: Criterion, needle: bool) -> Limit:
    return _BehindNeedle(table, own_uncertainty_degc, ratio) if needle else _InLine(table, own_uncertainty_degc, ratio)


def _variance(own_degc: float, from_sea_level_degc: np.ndarray, span_degc: np.ndarray) -> np.ndarray:
    """The fuel's own, its extrapolation from sea level, the criterion's range (rectangular, so that its variance is the span squared over 12)."""
    return own_degc**2 + (EXTRAPOLATION_SHARE * from_sea_level_degc) ** 2 + span_degc**2 / 12


class _InLine(Limit):
    def __init__(self, table: LimitTable, own_degc: float, ratio: Criterion) -> None:
        super().__init__()
        self._table = table
        limit, span = table.curve(ratio.vapour_liquid_ratio), table.curve(ratio.greatest) - table.curve(ratio.least)
        from_sea_level = limit - table.limit_degc(STANDARD_PRESSURE_KPA, ratio.vapour_liquid_ratio)
        slope = np.gradient(limit, table.pressures_kpa)
        self._curves = limit, table.curve(0.0), _variance(own_degc, from_sea_level, span), slope

    def _at(self, *pressure_kpa: np.ndarray) -> Sequence[np.ndarray]:
        (kpa,) = pressure_kpa
        return along_each(self._curves, self._table.place(kpa))

    def vapour_liquid_ratio(self, temperature_degc: np.ndarray, *pressure_kpa: np.ndarray) -> np.ndarray:
        return self._table.vapour_liquid_ratio(temperature_degc, *pressure_kpa)


class _BehindNeedle(Limit):
    """Fuel that passes the needle drops to the bowl's pressure without taking heat: a flash at constant enthalpy, not temperature.

    Line and bowl pressure both rest on the air's, so for the slope and the distance from sea level they change together.
    """

    def __init__(self, table: LimitTable, own_degc: float, ratio: Criterion) -> None:
        super().__init__()
        self._table, self._ratio = table, ratio.vapour_liquid_ratio
        least, greatest = PRESSURE_RANGE_KPA
        pressures = np.arange(least, greatest + _NEEDLE_STEP_KPA / 2, _NEEDLE_STEP_KPA)
        line, bowl = pressures[:, None], pressures

        def limit(up_kpa: np.ndarray | float = 0.0, share: float = self._ratio) -> np.ndarray:
            line_kpa, bowl_kpa = (np.clip(kpa + up_kpa, least, greatest) for kpa in (line, bowl))
            return table.needle_limit_degc(line_kpa, bowl_kpa, share)

        from_sea_level = limit() - limit(STANDARD_PRESSURE_KPA - bowl)
        span = limit(share=ratio.greatest) - limit(share=ratio.least)
        up_and_down_kpa = np.clip(bowl + 1, least, greatest) - np.clip(bowl - 1, least, greatest)
        self._per_place = STEP_KPA / _NEEDLE_STEP_KPA
        self._tables = _variance(own_degc, from_sea_level, span), (limit(1.0) - limit(-1.0)) / up_and_down_kpa

    def _at(self, *pressure_kpa: np.ndarray) -> Sequence[np.ndarray]:
        line, bowl = pressure_kpa
        row, column = (self._table.place(kpa) * self._per_place for kpa in (line, bowl))
        limit = self._table.needle_limit_degc(line, bowl, self._ratio)
        # below the bubble point at the lower of the two pressures nothing boils at either
        onset = self._table.limit_degc(np.minimum(line, bowl), 0.0)
        return limit, onset, *look_up_each(self._tables, row, column)

    def vapour_liquid_ratio(self, temperature_degc: np.ndarray, *pressure_kpa: np.ndarray) -> np.ndarray:
        return self._table.isenthalpic_vapour_liquid_ratio(temperature_degc, *pressure_kpa)
