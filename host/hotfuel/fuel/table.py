"""A limit table prepared once for a fuel: boiling limits, V/L and the needle for long records by interpolation instead of a flash.

The flash is solved on a coarse grid of ln P and V/L, refined by bicubic splines to a fine one, and read by linear interpolation.
Range 50 to 500 kPa absolute and V/L 0 to 40; outside it, and where data is missing (nan), the answer is nan, never a value at the edge.
Above V/L 40 the V/L estimate stays at 40, which reads "40 or more": no pump's criterion lies there, and at 500 kPa little fuel is left.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator, RectBivariateSpline

from hotfuel.errors import InputError
from hotfuel.fuel.components import Array
from hotfuel.fuel.grid import along, look_up
from hotfuel.fuel.mixture import Mixture

PRESSURE_RANGE_KPA = (50.0, 500.0)
RATIO_MAX = 40.0
_BEND = 5.0  # the V/L axis is ln(1 + V/L / bend): fine near the bubble point
_COARSE, _FINE = (26, 26), (301, 201)
_BLOCK = 8192


class LimitTable:
    """Table of one mixture. Example: LimitTable(fuel.mixture).limit_degc(95.0, 20.0)."""

    def __init__(self, mixture: Mixture) -> None:
        low, high = np.log(PRESSURE_RANGE_KPA[0] * 0.98), np.log(PRESSURE_RANGE_KPA[1] * 1.02)
        top = np.log1p(RATIO_MAX / _BEND)
        coarse_p, coarse_w = np.linspace(low, high, _COARSE[0]), np.linspace(0, top, _COARSE[1])
        ratio = _BEND * np.expm1(coarse_w)
        pressure = np.exp(coarse_p)[:, None]
        temperature = mixture.temperature_degc(pressure, ratio)
        enthalpy = mixture.enthalpy_kj_per_kg(temperature, pressure)
        self._low, self._per_p, self._per_w = low, (_FINE[0] - 1) / (high - low), (_FINE[1] - 1) / top
        self._log_p = np.linspace(low, high, _FINE[0])
        fine_w = np.linspace(0, top, _FINE[1])
        self._limits: Array = RectBivariateSpline(coarse_p, coarse_w, temperature)(self._log_p, fine_w)
        self._enthalpies: Array = RectBivariateSpline(coarse_p, coarse_w, enthalpy)(self._log_p, fine_w)
        self._ratio_at_temperature = self._inverse(self._limits, fine_w)
        self._ratio_at_enthalpy = self._inverse(self._enthalpies, fine_w)
        self._mixture = mixture

    @staticmethod
    def _inverse(values: Array, bent_ratio: Array) -> Array:
        """V/L against the place of a value between its edges (bubble point to V/L 40), for every pressure."""
        ratio, place = _BEND * np.expm1(bent_ratio), np.linspace(0, 1, _FINE[1])
        return np.stack([PchipInterpolator((row - row[0]) / (row[-1] - row[0]), ratio)(place) for row in values])

    def _pressure_index(self, pressure_kpa: ArrayLike) -> Array:
        """Place on the pressure axis, nan outside the table."""
        pressure = np.asarray(pressure_kpa, dtype=float)
        inside = (pressure >= PRESSURE_RANGE_KPA[0]) & (pressure <= PRESSURE_RANGE_KPA[1])
        row = np.log(pressure if inside.all() else np.where(inside, pressure, np.nan))
        row -= self._low
        row *= self._per_p
        return row

    def _ratio_index(self, vapour_liquid_ratio: ArrayLike) -> Array:
        ratio = np.asarray(vapour_liquid_ratio, dtype=float)
        if not np.all((ratio >= 0) & (ratio <= RATIO_MAX)):
            raise InputError(f"V/L outside 0 to {RATIO_MAX:g} is not in the limit table: choose a criterion in that range")
        return np.log1p(ratio / _BEND) * self._per_w

    def limit_degc(self, pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike = 20.0) -> Array:
        """Temperature at which V/L is reached at an absolute pressure. Shapes broadcast."""
        row = self._pressure_index(pressure_kpa)
        column = self._ratio_index(vapour_liquid_ratio)
        if column.size == 1:  # one criterion for all: a single curve
            place = float(column.ravel()[0])
            j = min(int(place), self._limits.shape[1] - 2)
            curve = self._limits[:, j] + (place - j) * (self._limits[:, j + 1] - self._limits[:, j])
            return along(curve, row) if column.ndim == 0 else along(curve, row) + 0 * column
        return look_up(self._limits, row, column)

    def _ratio(self, values: Array, inverse: Array, value: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L of fuel whose temperature or enthalpy is `value`, in blocks that stay in the processor's cache."""
        value, pressure = np.broadcast_arrays(np.asarray(value, dtype=float), np.asarray(pressure_kpa, dtype=float))
        found = np.empty(value.size)
        flat_value, flat_pressure = value.ravel(), pressure.ravel()
        for start in range(0, value.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            row = self._pressure_index(flat_pressure[part])
            bubble = along(values[:, 0], row)
            place = (flat_value[part] - bubble) / (along(values[:, -1], row) - bubble)
            found[part] = look_up(inverse, row, np.clip(place, 0, 1) * (inverse.shape[1] - 1))
        return found.reshape(value.shape)

    def vapour_liquid_ratio(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L at temperature and absolute pressure, 0 below the bubble point, 40 for 40 or more."""
        return self._ratio(self._limits, self._ratio_at_temperature, temperature_degc, pressure_kpa)

    def isenthalpic_vapour_liquid_ratio(self, temperature_degc: ArrayLike, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike) -> Array:
        """V/L behind the needle of fuel that enters at `temperature_degc` and line pressure and falls to bowl pressure without heat."""
        temperature = np.asarray(temperature_degc, dtype=float)
        ratio = self.vapour_liquid_ratio(temperature, line_pressure_kpa)
        boiling = ratio > 0
        row, column = self._pressure_index(line_pressure_kpa), np.log1p(np.where(boiling, ratio, 0) / _BEND) * self._per_w
        enthalpy = np.where(boiling, look_up(self._enthalpies, row, column), self._mixture.liquid_enthalpy_kj_per_kg(temperature))
        return self._ratio(self._enthalpies, self._ratio_at_enthalpy, enthalpy, bowl_pressure_kpa)

    def needle_limit_degc(self, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike = 20.0) -> Array:
        """Temperature in the line at which the fuel has this V/L behind the needle (inverse of `isenthalpic_vapour_liquid_ratio`)."""
        enthalpy = look_up(self._enthalpies, self._pressure_index(bowl_pressure_kpa), self._ratio_index(vapour_liquid_ratio))
        liquid = self._mixture.liquid_temperature_degc(enthalpy)
        row = self._pressure_index(line_pressure_kpa)
        boiling = liquid > along(self._limits[:, 0], row)
        ratio = self._ratio(self._enthalpies, self._ratio_at_enthalpy, enthalpy, line_pressure_kpa)
        in_line = look_up(self._limits, row, np.log1p(ratio / _BEND) * self._per_w)
        return np.where(boiling, in_line, liquid + 0 * row)
