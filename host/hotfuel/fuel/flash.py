"""The vectorised flash: how a fuel of known composition splits into liquid and vapour at a temperature and a pressure.

Every function takes moles of feed `feed` of shape (components, 1) for one fuel at many states, or (components, states) for many fuels
(the fit), and arrays of shape (states,). K = gamma P_sat / P with UNIFAC and Wagner; the vapour is an ideal gas.
V/L is vapour volume at temperature and pressure over the volume the fuel has as liquid at 0 degC, as a D5188 chamber fills it.

`anchor` and `onset` are small corrections of ln P: the first grows with V/L (`volatility_shift`), the second lives below V/L 4 only
(`onset_shift`). Both leave V/L 4, where vapour pressure is measured, as it is; 0 means the plain mixture.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import components as c
from hotfuel.fuel.activity import Activity
from hotfuel.fuel.components import Array, Indices

_ROUNDS = 60
_PRESSURE_ROUNDS = 200  # 62 were seen, of half ethanol with nearly all boiled off: a round leaves four fifths of the error
_MOST_VAPOUR, _HOT_K = 0.9, 450.0  # a V/L is refused where it would need nine tenths of the fuel as vapour at 177 degC
_TOLERANCE = 1e-4  # of the last step, moles of vapour; one V/L is about 0.004


def volatility_shift(vapour_liquid_ratio: Array) -> Array:
    """Shape of the anchor: 0 at V/L 4 (where vapour pressure is measured), 1 at V/L 20 (where T(V/L=20) is), -0.67 at the bubble point, 2 at most."""
    return 2 * (vapour_liquid_ratio - 4) / (vapour_liquid_ratio + 12)


def volatility_shift_slope(vapour_liquid_ratio: Array) -> Array:
    """d `volatility_shift` / d V/L."""
    return 32 / (vapour_liquid_ratio + 12) ** 2


def onset_shift(vapour_liquid_ratio: Array) -> Array:
    """Shape of the onset's correction: 1 at the bubble point, 0 from V/L 4 on.

    Why it is there: the eleven components hold nothing lighter than butane, so the first per cent of vapour comes a little late.
    """
    return np.square(np.maximum(1 - vapour_liquid_ratio / 4, 0))


def onset_shift_slope(vapour_liquid_ratio: Array) -> Array:
    """d `onset_shift` / d V/L."""
    return -np.maximum(1 - vapour_liquid_ratio / 4, 0) / 2


@dataclass(frozen=True)
class Feed:
    """A fuel as the flash takes it: its components, their moles and quantities derived from them."""

    which: Indices  # indices into the component table
    moles: Array  # (components, 1) or (components, states), summing to 1
    anchor: float | Array = 0.0
    onset: float = 0.0

    def log_k_shift(self, vapour_liquid_ratio: Array) -> Array:
        """What is added to ln K of every component at a V/L."""
        return self.onset * onset_shift(vapour_liquid_ratio) - self.anchor * volatility_shift(vapour_liquid_ratio)

    def log_k_shift_slope(self, vapour_liquid_ratio: Array) -> Array:
        """d `log_k_shift` / d V/L."""
        return self.onset * onset_shift_slope(vapour_liquid_ratio) - self.anchor * volatility_shift_slope(vapour_liquid_ratio)

    @property
    def liquid_volume_m3(self) -> Array:
        """Volume of one mole of feed as liquid at 0 degC."""
        return c.VOLUME_0C_M3_MOL[self.which] @ self.moles

    @property
    def molar_mass_kg_mol(self) -> Array:
        """Mass of one mole of feed."""
        return c.MOLAR_MASS_KG_MOL[self.which] @ self.moles

    @classmethod
    def of_volumes(cls, volume_fraction: Array, anchor: float | Array = 0.0, onset: float = 0.0) -> "Feed":
        """From volume fractions at 15 degC of all components, shape (11,) or (11, fuels); absent components are dropped."""
        volumes = np.asarray(volume_fraction, dtype=float).reshape(len(c.COMPONENTS), -1)
        which = np.flatnonzero(volumes.max(axis=1) > 0)
        moles = volumes[which] / c.VOLUME_15C_M3_MOL[which][:, None]
        return cls(which, moles / moles.sum(axis=0), anchor, onset)

    def volume_fraction(self) -> Array:
        """Volume fractions at 15 degC of all components, (11,) or (11, fuels)."""
        volumes = np.zeros((len(c.COMPONENTS), self.moles.shape[1]))
        volumes[self.which] = self.moles * c.VOLUME_15C_M3_MOL[self.which][:, None]
        volumes /= volumes.sum(axis=0)
        return volumes[:, 0] if volumes.shape[1] == 1 else volumes


def pressure_kpa(feed: Feed, temperature_k: Array, vapour_liquid_ratio: Array) -> Array:
    """Pressure at which the fuel has this V/L at this temperature (V/L 0: the bubble pressure). Shape (states,)."""
    activity = Activity(feed.which, temperature_k)
    saturation = np.exp(c.log_vapour_pressure(temperature_k, feed.which))
    per_kpa = 1000 * vapour_liquid_ratio * feed.liquid_volume_m3 / (c.GAS_CONSTANT * temperature_k)  # vapour moles per kPa
    liquid = feed.moles + np.zeros_like(temperature_k)
    largest = 0.999 / np.maximum(per_kpa, 1e-30)  # all of the fuel would be vapour
    pressure = np.minimum((saturation * liquid).sum(axis=0), 0.5 * largest)
    shift = np.exp(feed.log_k_shift(vapour_liquid_ratio))
    for _ in range(_PRESSURE_ROUNDS):
        volatility = saturation * np.exp(activity.log_gamma(liquid)) * shift
        before = pressure
        for _ in range(2):  # Newton on ln(sum y / sum x), gamma held
            k = volatility / pressure
            share = per_kpa * pressure
            split = feed.moles / (1 + share * (k - 1))
            total, vapour = split.sum(axis=0), (k * split).sum(axis=0)
            error = np.log(vapour / total)
            # d error / d ln P at fixed K P: both the share of vapour and 1/P move
            weight = split * split / feed.moles
            slope = -1 + share * ((k * weight).sum(axis=0) / vapour - weight.sum(axis=0) / total)
            pressure = np.minimum(pressure * np.exp(np.clip(-error / slope, -1, 1)), largest)
        liquid = split
        if np.abs(pressure / before - 1).max() < 1e-9:
            answer: Array = pressure
            return answer
    raise InputError("the flash found no pressure for this fuel and temperature: stay between -40 and 200 degC")


def liquid_at(feed: Feed, temperature_k: Array, vapour_liquid_ratio: Array) -> Array:
    """Mole fractions of the liquid, (components, states), at a temperature and V/L."""
    pressure = pressure_kpa(feed, temperature_k, vapour_liquid_ratio)
    share = 1000 * vapour_liquid_ratio * feed.liquid_volume_m3 * pressure / (c.GAS_CONSTANT * temperature_k)
    ideal = np.exp(c.log_vapour_pressure(temperature_k, feed.which)) * np.exp(feed.log_k_shift(vapour_liquid_ratio)) / pressure
    activity, liquid = Activity(feed.which, temperature_k), feed.moles + np.zeros_like(share)
    for _ in range(_ROUNDS):
        before, liquid = liquid, feed.moles / (1 + share * (ideal * np.exp(activity.log_gamma(liquid)) - 1))
        if np.abs(liquid - before).max() < 1e-9:
            break
    return liquid


def temperature_k(feed: Feed, pressure: Array, vapour_liquid_ratio: Array, start_k: Array | float = 330.0) -> Array:
    """Temperature at which the fuel has this V/L at `pressure` (kPa). V/L 0 is the bubble point. Shape (states,)."""
    temperature = np.zeros_like(pressure) + start_k
    liquid = feed.moles + np.zeros_like(pressure)
    shift = np.exp(feed.log_k_shift(vapour_liquid_ratio)) / pressure
    moles_k = 1000 * vapour_liquid_ratio * feed.liquid_volume_m3 * pressure / c.GAS_CONSTANT
    if np.any(moles_k > _MOST_VAPOUR * _HOT_K):
        worst = int(np.argmax(moles_k))
        raise InputError(
            f"V/L {vapour_liquid_ratio.flat[worst]:g} cannot be reached at {pressure.flat[worst]:.0f} kPa, nearly all fuel would have boiled off: "
            "choose a smaller V/L"
        )
    previous = np.full_like(pressure, np.inf)
    for _ in range(_ROUNDS):
        activity = Activity(feed.which, temperature)
        log_saturation, slope_k = c.log_vapour_pressure_and_slope(temperature, feed.which)
        k = np.exp(log_saturation + activity.log_gamma(liquid)) * shift
        share = np.minimum(moles_k / temperature, 0.99)
        split = feed.moles / (1 + share * (k - 1))
        total, y = split.sum(axis=0), k * split
        vapour = y.sum(axis=0)
        error = np.log(vapour / total)
        weight = split / feed.moles
        # d error / dT at fixed gamma: K grows with temperature, the moles in a given vapour volume fall
        d_split = -weight * split * (share * k * slope_k - share * (k - 1) / temperature)
        slope = (y * slope_k + k * d_split).sum(axis=0) / vapour - d_split.sum(axis=0) / total
        step = np.clip(error / slope, -15, 15)
        # gamma is one step late: steps that do not shrink are halved
        step = np.where(np.abs(step) > 0.9 * previous, 0.5 * step, step)
        previous = np.abs(step)
        temperature = temperature - step
        liquid = split
        if previous.max() < 1e-6:
            answer: Array = temperature
            return answer
    raise InputError("the flash found no temperature for this fuel and pressure: stay between 20 and 600 kPa")


def vapour_share(feed: Feed, temperature: Array, pressure: Array, start: Array, start_log_gamma: Array) -> tuple[Array, Array]:
    """Moles of vapour in one mole of feed, and the liquid's mole fractions (components, states), at temperature (K) and pressure (kPa).

    `start` and `start_log_gamma` are first guesses of the vapour's moles and of the activity coefficients. The share is 0 for all liquid and
    1 for all vapour.
    """
    activity = Activity(feed.which, temperature)
    ratio_per_share = c.GAS_CONSTANT * temperature / (1000 * pressure * feed.liquid_volume_m3)
    ideal = c.log_vapour_pressure(temperature, feed.which) - np.log(pressure)
    share = np.clip(start, 0, 1)
    log_k = ideal + start_log_gamma
    shifted = bool(np.any(feed.anchor)) or feed.onset != 0
    if shifted:
        log_k += feed.log_k_shift(share * ratio_per_share)
    # work arrays for the loop, because new arrays of this size cost more than the arithmetic
    excess, term, weighted, delta, delta_before = (np.zeros_like(log_k) for _ in range(5))
    for turn in range(_ROUNDS):
        np.exp(log_k, out=excess)
        excess -= 1
        before = share
        np.multiply(share, excess, out=term)
        term += 1
        np.divide(excess, term, out=term)
        np.multiply(feed.moles, term, out=weighted)
        error = weighted.sum(axis=0)
        weighted *= term
        slope = weighted.sum(axis=0)
        if shifted:  # K falls with the share too; its weight in the sum is 1 at the bubble point, where this matters
            slope += np.maximum(-feed.log_k_shift_slope(share * ratio_per_share) * ratio_per_share, 0)
        share = np.clip(share + error / slope, 0, 1)  # Newton on the Rachford-Rice sum
        liquid = np.multiply(share, excess, out=term)
        liquid += 1
        np.divide(feed.moles, liquid, out=liquid)
        following = ideal + activity.log_gamma(liquid)
        if shifted:
            following += feed.log_k_shift(share * ratio_per_share)
        delta_before, delta = delta, np.subtract(following, log_k, out=delta_before)
        if max(np.abs(share - before).max(), 0.2 * np.abs(delta).max()) < _TOLERANCE:
            return share, liquid
        # dominant eigenvalue method: successive K approach each other by a nearly constant factor, which is summed up at once
        log_k = following
        if turn % 2:
            gain = (delta * delta_before).sum(axis=0) / np.maximum((delta_before * delta_before).sum(axis=0), 1e-30)
            gain = np.clip(gain, -0.5, 0.9)
            log_k = following + delta * (gain / (1 - gain))
    raise InputError("the flash did not converge for this fuel: stay between -40 and 200 degC and 20 and 600 kPa")


def bubble_k(feed: Feed, pressure: float, start_k: Array) -> tuple[Array, Array]:
    """Bubble point in K at one pressure for many fuels, and the vapour's mole fractions; to about 0.0002 K, for the steps of a distillation."""
    temperature = start_k
    for _ in range(_ROUNDS):
        activity = Activity(feed.which, temperature)
        log_saturation, log_slope = c.log_vapour_pressure_and_slope(temperature, feed.which)
        partial = feed.moles * np.exp(log_saturation + activity.log_gamma(feed.moles))
        total = partial.sum(axis=0)
        slope = (partial * log_slope).sum(axis=0) / total
        step = np.clip(np.log(total / pressure) / slope, -20, 20)
        temperature = temperature - step
        if np.abs(step).max() < 0.1:  # Newton at fixed liquid: the error left is about the step's square times 0.02
            return temperature, partial / total
    raise InputError("the distillation of this fuel could not be computed: check the measurements")
