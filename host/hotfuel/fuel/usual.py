"""Typical gasolines of one vapour pressure and ethanol content: their figures, the scatter of those, and their correlation.

The most typical mixture of a vapour pressure (hotfuel.fuel.fit) is computed once; everything else is linear about it. So the other figures of a data
sheet can be checked against each other, and each one's evidence on T(V/L=20) is a plain normal update: one more figure never makes it less certain.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hotfuel.fuel import fit
from hotfuel.fuel.components import Array

# Of one measured vapour pressure: D5191's reproducibility of about 1.8 kPa (from memory) over 2.77.
VAPOUR_PRESSURE_SIGMA_KPA = 0.7


@dataclass(frozen=True)
class Expected:
    """A figure as the others predict it: value and standard deviation in its unit, and how many of those the given one is off."""

    value: float
    sigma: float
    off: float


@dataclass(frozen=True)
class Usual:
    """The ordinary gasoline of a vapour pressure: `mean` (figures,), `slope` (figures, 10) by the tilt, `covariance` (10, 10) of the tilt."""

    ethanol_vol: float
    tilt: Array
    mean: Array
    slope: Array
    covariance: Array

    def _update(self, given: Mapping[str, tuple[float, float]]) -> tuple[Array, Array, Array]:
        """(difference from the mean, inverse of its covariance, slopes) of the figures given, each (value, sigma)."""
        index = [fit.FIGURES.index(name) for name in given]
        slope = self.slope[index]
        noise = np.diag([sigma**2 for _, sigma in given.values()])
        difference = np.array([value for value, _ in given.values()]) - self.mean[index]
        return difference, np.asarray(np.linalg.inv(slope @ self.covariance @ slope.T + noise), dtype=float), slope

    def tilt_with(self, given: Mapping[str, tuple[float, float]]) -> Array:
        """The most likely tilt with these figures, (10,)."""
        if not given:
            return self.tilt
        difference, inverse, slope = self._update(given)
        return self.tilt + self.covariance @ slope.T @ inverse @ difference

    def t_vl20_degc(self, given: Mapping[str, tuple[float, float]]) -> tuple[float, float]:
        """T(V/L=20) with these figures and its standard deviation, degC, without the uncertainty of the mixture itself."""
        own = self.slope[1]
        value, variance = self.mean[1], own @ self.covariance @ own
        if given:
            difference, inverse, slope = self._update(given)
            towards = own @ self.covariance @ slope.T
            value, variance = value + towards @ inverse @ difference, variance - towards @ inverse @ towards
        return float(value), float(np.sqrt(variance))

    def held_against_each_other(self, given: Mapping[str, tuple[float, float]]) -> dict[str, Expected]:
        """Each figure as vapour pressure and the other figures predict it (leave one out of a normal distribution)."""
        if not given:
            return {}
        difference, inverse, _ = self._update(given)
        weighted, own = inverse @ difference, np.diag(inverse)
        return {
            name: Expected(float(value - w / k), float(1 / np.sqrt(k)), float(w / np.sqrt(k)))
            for (name, (value, _)), w, k in zip(given.items(), weighted, own, strict=True)
        }

    def softened(self, given: Mapping[str, tuple[float, float]], sigmas: float = 3.0) -> dict[str, tuple[float, float]]:
        """The figures, none further than `sigmas` standard deviations from the usual one: what a composition is fitted to, so that a contradictory
        figure has limited influence."""
        softened = {}
        for name, (value, sigma) in given.items():
            i = fit.FIGURES.index(name)
            mean, reach = self.mean[i], sigmas * float(np.hypot(np.sqrt(self.slope[i] @ self.covariance @ self.slope[i]), sigma))
            softened[name] = (float(mean + reach * np.tanh((value - mean) / reach)), sigma)
        return softened


@lru_cache(maxsize=256)
def usual(vapour_pressure_kpa: float, ethanol_vol: float) -> Usual:
    """The ordinary gasoline of a vapour pressure (kPa) with this much ethanol (vol-%). Raises InputError if there is none."""
    data = fit.Data(ethanol_vol, {"vapour_pressure_kpa": (vapour_pressure_kpa, 0.02)})
    tilt = fit.most_likely(data)
    mean, slope = fit.with_slopes(tilt, ethanol_vol, fit.FIGURES)
    fit.require_vapour_pressure(float(mean[0]), data)
    own = slope[0] / VAPOUR_PRESSURE_SIGMA_KPA
    covariance = np.linalg.inv(np.outer(own, own) + np.eye(fit.COUNT) / fit.SPREAD**2)
    return Usual(ethanol_vol, tilt, mean, slope, np.asarray(covariance, dtype=float))


def usual_vapour_pressure_kpa(ethanol_vol: float, given: Mapping[str, tuple[float, float]]) -> Expected:
    """The vapour pressure that gasolines with these other figures have, kPa; `off` is 0."""
    tilt = fit.most_likely(fit.Data(ethanol_vol, given))
    names = ("vapour_pressure_kpa", *given)
    mean, slope = fit.with_slopes(tilt, ethanol_vol, names)
    known = slope[1:] / np.array([sigma for _, sigma in given.values()]).reshape(-1, 1)
    covariance = np.linalg.inv(known.T @ known + np.eye(fit.COUNT) / fit.SPREAD**2)
    return Expected(float(mean[0]), float(np.sqrt(slope[0] @ covariance @ slope[0])), 0.0)
