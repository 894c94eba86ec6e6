"""A fuel as a mixture of eleven components: bubble point, V/L, temperature at a V/L, enthalpy and the flash at constant enthalpy.

Arrays in, arrays out, broadcasting; temperatures in degC, pressures absolute in kPa. Large arrays run in blocks on two threads.
Range: -40 to 200 degC, 20 to 600 kPa absolute. Enthalpy of mixing and the vapour's departure from an ideal gas are left out.
"""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from hotfuel.errors import InputError
from hotfuel.fuel import components as c
from hotfuel.fuel import flash
from hotfuel.fuel.activity import Activity
from hotfuel.fuel.components import Array
from hotfuel.fuel.grid import along, look_up
from hotfuel.fuel.volatility import require_range
from hotfuel.units import ZERO_DEGC_IN_K

TEMPERATURE_RANGE_DEGC = (-40.0, 200.0)
PRESSURE_RANGE_KPA = (20.0, 600.0)
_BLOCK = 4096  # states in one pass: the working arrays stay in the processor's cache
_MIXTURES_MOST = 32
_START_ROWS, _START_RATIO_MAX, _START_K = 49, 60.0, 325.0


def _temperature(value: ArrayLike) -> Array:
    return require_range(value, *TEMPERATURE_RANGE_DEGC, "fuel temperature", "degC") + ZERO_DEGC_IN_K


def _pressure(value: ArrayLike) -> Array:
    return require_range(value, *PRESSURE_RANGE_KPA, "absolute pressure", "kPa")


def _ratio(value: ArrayLike) -> Array:
    return require_range(value, 0, 200, "V/L", "")


def _in_blocks(function: Callable[..., Array], *arguments: ArrayLike) -> Array:
    """`function` over flat blocks of the broadcast arguments; the results in their shape."""
    arrays = np.broadcast_arrays(*arguments)
    shape, flat = arrays[0].shape, [np.ravel(array) for array in arrays]
    starts = range(0, flat[0].size, _BLOCK)
    parts = [[array[i : i + _BLOCK] for array in flat] for i in starts]
    if len(parts) > 1 and (os.cpu_count() or 1) > 1:
        with ThreadPoolExecutor(2) as pool:
            done = list(pool.map(lambda part: function(*part), parts))
    else:
        done = [function(*part) for part in parts]
    return np.concatenate(done).reshape(shape) if done else np.empty(shape)


_MIXTURES: dict[tuple[bytes, bytes, bytes, float], "Mixture"] = {}  # the most recently used few


def mixture_of(feed: flash.Feed) -> "Mixture":
    """The mixture of a feed; the same one for an equal feed, since a session gets the fuel from its car many times."""
    key = (feed.which.tobytes(), feed.moles.tobytes(), np.asarray(feed.anchor, dtype=float).tobytes(), feed.onset)
    if key not in _MIXTURES:
        while len(_MIXTURES) >= _MIXTURES_MOST:
            _MIXTURES.pop(next(iter(_MIXTURES)), None)
        _MIXTURES[key] = Mixture(feed)
    return _MIXTURES[key]


class Mixture:
    """One fuel of known composition. `feed` comes from `hotfuel.fuel.fit` or from volume fractions (`Feed.of_volumes`)."""

    def __init__(self, feed: flash.Feed) -> None:
        self.feed = feed

    @cached_property
    def _starts(self) -> tuple[Array, Array, Array, Array]:
        """Start values for the flash by temperature: ln P at V/L 0 and at the largest V/L, V/L against where ln P lies between the two; and
        T ln(gamma) against V/L."""
        kelvin = np.linspace(*TEMPERATURE_RANGE_DEGC, _START_ROWS) + ZERO_DEGC_IN_K
        ratios = np.concatenate([np.linspace(0, 8, 9), np.geomspace(10, _START_RATIO_MAX, 12)])
        states = np.broadcast_arrays(kelvin[:, None], ratios)
        log_p = np.log(flash.pressure_kpa(self.feed, *(state.ravel() for state in states))).reshape(states[0].shape)
        depth = (log_p[:, :1] - log_p) / (log_p[:, :1] - log_p[:, -1:])
        # hot fuel is all vapour before the largest V/L: there the depth is constant, and a start value need only keep the order
        depth = np.maximum.accumulate(depth, axis=1) + 1e-9 * np.arange(len(ratios))
        even = np.linspace(0, 1, 101)
        share_ratio = np.linspace(0, _START_RATIO_MAX, 61)
        liquid = flash.liquid_at(self.feed, np.full_like(share_ratio, _START_K), share_ratio)
        log_gamma = Activity(self.feed.which, np.full_like(share_ratio, _START_K)).log_gamma(liquid)
        return log_p[:, 0], log_p[:, -1], np.stack([np.interp(even, row, ratios) for row in depth]), log_gamma * _START_K

    def _split(self, kelvin: Array, pressure: Array) -> tuple[Array, Array]:
        """Vapour share and mole fractions of the liquid, of flat arrays."""
        top, bottom, ratios, log_gamma = self._starts
        row = (
            (kelvin - ZERO_DEGC_IN_K - TEMPERATURE_RANGE_DEGC[0])
            / (TEMPERATURE_RANGE_DEGC[1] - TEMPERATURE_RANGE_DEGC[0])
            * (_START_ROWS - 1)
        )
        bubble = along(top, row)
        depth = np.clip((bubble - np.log(pressure)) / (bubble - along(bottom, row)), 0, 1)
        ratio = look_up(ratios, row, depth * (ratios.shape[1] - 1))
        start = ratio * 1000 * pressure * self.feed.liquid_volume_m3 / (c.GAS_CONSTANT * kelvin)
        i = np.minimum(ratio / _START_RATIO_MAX * 60, 59).astype(np.intp)
        return flash.vapour_share(self.feed, kelvin, pressure, start, log_gamma.take(i, axis=1) / kelvin)

    def pressure_kpa(self, temperature_degc: ArrayLike, vapour_liquid_ratio: ArrayLike) -> Array:
        """Absolute pressure at which V/L is reached; V/L 0 gives the true vapour pressure."""

        def block(kelvin: Array, ratio: Array) -> Array:
            pressure = flash.pressure_kpa(self.feed, kelvin, ratio)
            if np.any(1000 * pressure * ratio * self.feed.liquid_volume_m3 > 0.99 * c.GAS_CONSTANT * kelvin):
                raise InputError("at this temperature all of the fuel boils off before this V/L: choose a smaller V/L")
            return pressure

        return _in_blocks(block, _temperature(temperature_degc), _ratio(vapour_liquid_ratio))

    def temperature_degc(self, pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike) -> Array:
        """Temperature at which V/L is reached; V/L 0 gives the bubble point."""
        top, bottom, _, _ = self._starts
        grid = np.linspace(*TEMPERATURE_RANGE_DEGC, _START_ROWS) + ZERO_DEGC_IN_K

        def block(pressure: Array, ratio: Array) -> Array:
            low, high = np.interp(np.log(pressure), top, grid), np.interp(np.log(pressure), bottom, grid)
            start = low + (high - low) * np.minimum(ratio / _START_RATIO_MAX, 1) ** 0.7
            return flash.temperature_k(self.feed, pressure, ratio, start) - ZERO_DEGC_IN_K

        return _in_blocks(block, _pressure(pressure_kpa), _ratio(vapour_liquid_ratio))

    def vapour_liquid_ratio(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L; 0 below the bubble point."""

        def block(kelvin: Array, pressure: Array) -> Array:
            share, _ = self._split(kelvin, pressure)
            return share * c.GAS_CONSTANT * kelvin / (1000 * pressure * self.feed.liquid_volume_m3)

        return _in_blocks(block, _temperature(temperature_degc), _pressure(pressure_kpa))

    def enthalpy_kj_per_kg(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """Enthalpy of liquid and vapour together against liquid at 25 degC, kJ per kg of fuel."""

        def block(kelvin: Array, pressure: Array) -> Array:
            share, mole_fraction = self._split(kelvin, pressure)
            vapour = np.maximum(self.feed.moles - mole_fraction * (1 - share), 0)
            heat = (vapour * c.latent_heat_j_mol(kelvin, self.feed.which)).sum(axis=0)
            answer: Array = self._liquid_enthalpy(kelvin) + heat / self.feed.molar_mass_kg_mol / 1000
            return answer

        return _in_blocks(block, _temperature(temperature_degc), _pressure(pressure_kpa))

    def _liquid_enthalpy(self, kelvin: Array) -> Array:
        answer: Array = (
            self.feed.moles[:, 0] @ c.liquid_enthalpy_j_mol(kelvin, self.feed.which) / self.feed.molar_mass_kg_mol[0] / 1000
        )
        return answer

    @cached_property
    def _liquid_heat(self) -> tuple[float, float]:
        """The liquid's enthalpy about 25 degC: linear (kJ/(kg K)) and quadratic coefficient."""
        low, middle, high = self._liquid_enthalpy(np.array([298.15, 299.15, 300.15])).tolist()
        curvature = (high - 2 * middle + low) / 2
        return middle - low - curvature, curvature

    def liquid_enthalpy_kj_per_kg(self, temperature_degc: ArrayLike) -> Array:
        """Enthalpy of the liquid, none of it boiled, against 25 degC; quadratic in temperature, no range check (for long records with nan)."""
        linear, curvature = self._liquid_heat
        warm = np.asarray(temperature_degc, dtype=float) - 25
        return warm * (linear + curvature * warm)

    def liquid_temperature_degc(self, enthalpy_kj_per_kg: ArrayLike) -> Array:
        """Inverse of `liquid_enthalpy_kj_per_kg`."""
        linear, curvature = self._liquid_heat
        enthalpy = np.asarray(enthalpy_kj_per_kg, dtype=float)
        return 25 + 2 * enthalpy / (linear + np.sqrt(linear**2 + 4 * curvature * enthalpy))

    def heat_capacity_kj_per_kg_k(self, temperature_degc: ArrayLike) -> Array:
        """Heat capacity of the liquid, kJ/(kg K)."""
        capacity = c.liquid_heat_capacity_j_mol_k(_temperature(temperature_degc), self.feed.which)
        answer: Array = np.tensordot(self.feed.moles[:, 0], capacity, axes=1) / self.feed.molar_mass_kg_mol[0] / 1000
        return answer

    def latent_heat_kj_per_kg(self, temperature_degc: ArrayLike) -> Array:
        """Latent heat of the whole fuel boiled off, kJ/kg."""
        heat = c.latent_heat_j_mol(_temperature(temperature_degc), self.feed.which)
        answer: Array = np.tensordot(self.feed.moles[:, 0], heat, axes=1) / self.feed.molar_mass_kg_mol[0] / 1000
        return answer

    def temperature_at_enthalpy_degc(self, enthalpy_kj_per_kg: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """Temperature at which the fuel at this pressure has this enthalpy (inverse of `enthalpy_kj_per_kg`), by bracketing, to 1e-4 degC.

        The first tries are the temperature it would have as a liquid, which is the answer where nothing boils, and the onset of boiling, where the
        enthalpy has its bend.
        """
        onset_log_kpa, _, _, _ = self._starts
        grid = np.linspace(*TEMPERATURE_RANGE_DEGC, _START_ROWS) + ZERO_DEGC_IN_K

        def block(enthalpy: Array, pressure: Array) -> Array:
            low, high = (np.full(enthalpy.shape, edge + ZERO_DEGC_IN_K) for edge in TEMPERATURE_RANGE_DEGC)
            f_low, f_high = (self.enthalpy_kj_per_kg(t - ZERO_DEGC_IN_K, pressure) - enthalpy for t in (low, high))
            require_range(f_low, -np.inf, 0, "enthalpy below the coldest fuel by", "kJ/kg")
            require_range(f_high, 0, np.inf, "enthalpy above the hottest fuel by", "kJ/kg")
            tries = [self.liquid_temperature_degc(enthalpy) + ZERO_DEGC_IN_K, np.interp(np.log(pressure), onset_log_kpa, grid)]
            middle, right = low, np.zeros(enthalpy.shape, dtype=bool)
            for turn in range(60):  # then regula falsi with the Illinois rule
                before = right
                if turn < len(tries):
                    middle = np.clip(tries[turn], low, high)
                else:
                    middle = np.where(f_high > f_low, (low * f_high - high * f_low) / np.maximum(f_high - f_low, 1e-300), low)
                f_middle = self.enthalpy_kj_per_kg(middle - ZERO_DEGC_IN_K, pressure) - enthalpy
                right = f_middle > 0
                same = 0.5 if turn > len(tries) else 1.0  # the end that has stayed twice counts half
                f_low, f_high = (
                    np.where(right, np.where(before, f_low * same, f_low), f_middle),
                    np.where(right, f_middle, np.where(before, f_high, f_high * same)),
                )
                low, high = np.where(right, low, middle), np.where(right, middle, high)
                if np.abs(f_middle).max(initial=0) < 2e-4:
                    break
            return middle - ZERO_DEGC_IN_K

        return _in_blocks(block, np.asarray(enthalpy_kj_per_kg, dtype=float), _pressure(pressure_kpa))
