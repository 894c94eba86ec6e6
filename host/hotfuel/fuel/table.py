"""A limit table prepared once for a fuel: boiling limits, V/L and the needle for long records by interpolation instead of a flash.

The flash is solved on a coarse grid of ln P and V/L and refined by bicubic splines: to a fine grid, read by linear interpolation, and, for a single
V/L, which is what each place has, to a curve over evenly spaced pressures, which needs no logarithm and no second axis.
Range 25 to 500 kPa absolute and V/L 0 to 40; outside it, and where data is missing (nan), the answer is nan, never a value at the edge.
Above V/L 40 the V/L estimate stays at 40, which reads "40 or more": no pump's criterion lies there, and at 500 kPa little fuel is left.
"""

from collections.abc import Callable
from functools import cached_property, lru_cache, partial

import numpy as np
from numpy.typing import ArrayLike

from hotfuel.errors import InputError
from hotfuel.fuel.components import Array
from hotfuel.fuel.grid import along, along_each, look_up
from hotfuel.fuel.mixture import Mixture

PRESSURE_RANGE_KPA = (25.0, 500.0)
RATIO_MAX = 40.0
_BEND = 5.0  # the V/L axis is ln(1 + V/L / bend): fine near the bubble point
_COARSE, _FINE, _DENSE = (34, 26), (391, 201), 801
STEP_KPA = 0.25  # of a curve: between its points a straight line is off by less than 1e-4 degC
_BLOCK = 8192
_Spline = Callable[[Array, Array], Array]


class LimitTable:
    """Table of one mixture. Example: LimitTable(fuel.mixture).limit_degc(95.0, 20.0).

    pressures_kpa: the evenly spaced pressures of its curves.
    """

    def __init__(self, mixture: Mixture) -> None:
        from scipy.interpolate import RectBivariateSpline  # slow to import, and most commands need no fuel

        low, high = np.log(PRESSURE_RANGE_KPA[0] * 0.98), np.log(PRESSURE_RANGE_KPA[1] * 1.02)
        top = np.log1p(RATIO_MAX / _BEND)
        coarse_p, coarse_w = np.linspace(low, high, _COARSE[0]), np.linspace(0, top, _COARSE[1])
        self._pressure = np.exp(coarse_p)[:, None]
        self._temperature = mixture.temperature_degc(self._pressure, _BEND * np.expm1(coarse_w))
        self._low, self._per_p, self._per_w = low, (_FINE[0] - 1) / (high - low), (_FINE[1] - 1) / top
        self._spline_of: Callable[[Array], _Spline] = partial(RectBivariateSpline, coarse_p, coarse_w)
        self._log_p, self._fine_w = np.linspace(low, high, _FINE[0]), np.linspace(0, top, _FINE[1])
        self._mixture = mixture
        self.pressures_kpa: Array = np.arange(PRESSURE_RANGE_KPA[0], PRESSURE_RANGE_KPA[1] + STEP_KPA / 2, STEP_KPA)
        self._curves: dict[tuple[float, bool], Array] = {}

    # A limits card needs a curve or two: the rest is computed when first needed.

    @cached_property
    def _limit_spline(self) -> _Spline:
        return self._spline_of(self._temperature)

    @cached_property
    def _enthalpy_spline(self) -> _Spline:
        return self._spline_of(self._mixture.enthalpy_kj_per_kg(self._temperature, self._pressure))

    @cached_property
    def _limits(self) -> Array:
        return self._limit_spline(self._log_p, self._fine_w)

    @cached_property
    def _enthalpies(self) -> Array:
        return self._enthalpy_spline(self._log_p, self._fine_w)

    @cached_property
    def _at_temperature(self) -> "_Inverse":
        return _Inverse(self._limit_spline, self._log_p, float(self._fine_w[-1]))

    @cached_property
    def _at_enthalpy(self) -> "_Inverse":
        return _Inverse(self._enthalpy_spline, self._log_p, float(self._fine_w[-1]))

    def curve(self, vapour_liquid_ratio: float, needle: bool = False) -> Array:
        """Limit of one V/L at each of `pressures_kpa`. needle: of fuel that is all liquid in the line and has this V/L at the bowl's pressure."""
        key = (float(vapour_liquid_ratio), needle)
        if key not in self._curves:
            _require_in_table(vapour_liquid_ratio)
            spline = self._enthalpy_spline if needle else self._limit_spline
            values = spline(np.log(self.pressures_kpa), _bent(key[0]))[:, 0]
            self._curves[key] = self._mixture.liquid_temperature_degc(values) if needle else values
        return self._curves[key]

    def place(self, pressure_kpa: ArrayLike) -> Array:
        """Fractional index of a pressure in `pressures_kpa`, nan outside: for hotfuel.fuel.grid.along."""
        pressure = np.asarray(pressure_kpa, dtype=float)
        inside = (pressure >= PRESSURE_RANGE_KPA[0]) & (pressure <= PRESSURE_RANGE_KPA[1])
        return np.where(inside, pressure - PRESSURE_RANGE_KPA[0], np.nan) / STEP_KPA

    def _log_place(self, pressure_kpa: ArrayLike) -> Array:
        """Fractional row of the fine grid, nan outside the table."""
        pressure = np.asarray(pressure_kpa, dtype=float)
        inside = (pressure >= PRESSURE_RANGE_KPA[0]) & (pressure <= PRESSURE_RANGE_KPA[1])
        answer: Array = (np.log(np.where(inside, pressure, np.nan)) - self._low) * self._per_p
        return answer

    def limit_degc(self, pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike = 20.0) -> Array:
        """Temperature at which V/L is reached at an absolute pressure. Shapes broadcast."""
        if np.ndim(vapour_liquid_ratio) == 0:  # one criterion for all: a single curve
            return along(self.curve(float(np.asarray(vapour_liquid_ratio))), self.place(pressure_kpa))
        _require_in_table(vapour_liquid_ratio)
        return look_up(self._limits, self._log_place(pressure_kpa), _bent(vapour_liquid_ratio) * self._per_w)

    def _ratio(self, inverse: "_Inverse", value: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L of fuel whose temperature or enthalpy is `value`, in blocks that stay in the processor's cache."""
        pressure = np.asarray(pressure_kpa, dtype=float)
        row = self._log_place(pressure.reshape(1)) if pressure.size == 1 else None  # of one pressure for all, sought once
        value = np.asarray(value, dtype=float)
        if row is None:
            value, pressure = np.broadcast_arrays(value, pressure)
        found = np.empty(value.size)
        flat_value, flat_pressure = value.ravel(), pressure.ravel()
        for start in range(0, value.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            found[part] = inverse.ratio(flat_value[part], self._log_place(flat_pressure[part]) if row is None else row)
        return found.reshape(value.shape)

    def vapour_liquid_ratio(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L at temperature and absolute pressure, 0 below the bubble point, 40 for 40 or more."""
        return self._ratio(self._at_temperature, temperature_degc, pressure_kpa)

    def isenthalpic_vapour_liquid_ratio(
        self, temperature_degc: ArrayLike, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike
    ) -> Array:
        """V/L behind the needle of fuel that enters at `temperature_degc` and line pressure and falls to bowl pressure without heat."""
        temperature, line = np.asarray(temperature_degc, dtype=float), np.asarray(line_pressure_kpa, dtype=float)
        boiling = temperature > self.limit_degc(line, 0.0)
        enthalpy = np.asarray(self._mixture.liquid_enthalpy_kj_per_kg(temperature))
        if boiling.any():
            temperature, enthalpy = np.broadcast_to(temperature, boiling.shape), np.broadcast_to(enthalpy, boiling.shape).copy()
            line = line.reshape(1) if line.size == 1 else np.broadcast_to(line, boiling.shape)[boiling]
            ratio = self.vapour_liquid_ratio(temperature[boiling], line)
            enthalpy[boiling] = look_up(self._enthalpies, self._log_place(line), _bent(ratio) * self._per_w)
        return self._ratio(self._at_enthalpy, enthalpy, bowl_pressure_kpa)

    def needle_limit_degc(
        self, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike, vapour_liquid_ratio: float = 20.0
    ) -> Array:
        """Temperature in the line at which the fuel has this V/L behind the needle (inverse of `isenthalpic_vapour_liquid_ratio`). Shapes broadcast."""
        place = self.place(line_pressure_kpa)
        limit = np.asarray(along(self.curve(vapour_liquid_ratio, needle=True), self.place(bowl_pressure_kpa)) + 0 * place)
        boiling = limit > along(self.curve(0.0), place)
        if boiling.any():
            line = np.broadcast_to(np.asarray(line_pressure_kpa, dtype=float), limit.shape)
            enthalpy = self._mixture.liquid_enthalpy_kj_per_kg(limit[boiling])
            ratio = self._ratio(self._at_enthalpy, enthalpy, line[boiling])
            limit[boiling] = look_up(self._limits, self._log_place(line[boiling]), _bent(ratio) * self._per_w)
        return limit


class _Inverse:
    """V/L of a value of a table: against the value's place between its edges (bubble point to V/L 40), for every pressure."""

    def __init__(self, spline: _Spline, log_p: Array, top: float) -> None:
        bent = np.linspace(0, top, _DENSE)  # so fine that a straight line between its points is off by less than 1e-4 in V/L
        values, ratio, place = spline(log_p, bent), _BEND * np.expm1(bent), np.linspace(0, 1, _FINE[1])
        self._edges = values[:, 0].copy(), values[:, -1].copy()
        self._ratios = np.stack([np.interp(place, (row - row[0]) / (row[-1] - row[0]), ratio) for row in values])

    def ratio(self, value: Array, row: Array) -> Array:
        bubble, last = along_each(self._edges, row)
        place = np.minimum(np.maximum((value - bubble) / (last - bubble), 0), 1)
        return look_up(self._ratios, row, place * (_FINE[1] - 1))


def _bent(vapour_liquid_ratio: ArrayLike) -> Array:
    """Place on the V/L axis."""
    return np.log1p(np.asarray(vapour_liquid_ratio, dtype=float) / _BEND)


def _require_in_table(vapour_liquid_ratio: ArrayLike) -> None:
    ratio = np.asarray(vapour_liquid_ratio)
    if not np.all((ratio >= 0) & (ratio <= RATIO_MAX)):
        raise InputError(f"V/L outside 0 to {RATIO_MAX:g} is not in the limit table: choose a criterion in that range")


@lru_cache(maxsize=8)  # each holds 3 MB
def limit_table_of(mixture: Mixture) -> LimitTable:
    """The table of a mixture, made once: many drives are made on one fuel (hotfuel.fuel.mixture.mixture_of)."""
    return LimitTable(mixture)
