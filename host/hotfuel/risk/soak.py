"""Forecasts after a stop and while idling, each with a band that should hold the truth 95 times in 100.

The model is small on purpose: fuel at a place follows its surroundings, T' = (E + d - T) / tau, above boiling onset 0.36 times as fast; the
surroundings warm up once the air stands still, then cool towards the outside air with tau_c; d, an autocorrelated disturbance, represents what the
model leaves out (wind, a fan that runs on, vapour that leaves, a second source of heat). For many sets of these numbers drawn from the prior a Kalman
filter gives the likelihood of what was measured; paths drawn from the best give peak and times. How often the bands hold is measured against a
fuller physical model: tests/bench/bench_soak.py.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
import numpy.typing as npt
from scipy import special

from hotfuel.errors import InputError

BAND = (0.025, 0.5, 0.975)
REAL_SOAKS_NEEDED = 10  # until then a forecast is marked "model only"
_STEP_S = 10.0
_PARTICLES, _PATHS = 2048, 600
_SOAK_S = 3600.0
_BOILING_SLOPE = 0.36  # between boiling onset and V/L 20 a degree takes 1/0.36 of the heat it takes below (own calculation on a summer gasoline)


@dataclass(frozen=True)
class Prior:
    """The assumptions before a stop: medians and spreads (standard deviation of the logarithm) of the model's numbers.

    heat_degc: how much hotter the surroundings are than the outside air; tau_s: how fast the fuel follows; cooling_s: how fast they cool;
    early_share, early_s: at most this share of that heat has not arrived at the stop, and how fast it comes; disturbance_share: standard deviation
    of d as a share of heat_degc; disturbance_s: its correlation time. soaks: number of real soaks it was learned from.
    """

    heat_degc: float = 54.0
    heat_spread: float = 0.35
    tau_s: float = 1000.0
    tau_spread: float = 0.6
    cooling_s: float = 3000.0
    cooling_spread: float = 0.45
    early_share: float = 0.9
    early_s: float = 200.0
    disturbance_share: float = 0.14
    disturbance_s: float = 420.0
    noise_degc: float = 0.15
    air_degc: float = 25.0
    air_spread_degc: float = 8.0
    soaks: int = 0


# Orders of magnitude: under-bonnet fuel tends towards coolant temperature, the peak comes 10 to 30 min after stop (common practice, no source).
AFTER_STOP = Prior()
IDLING = Prior(
    heat_degc=35.0, heat_spread=0.5, tau_s=420.0, tau_spread=0.7, cooling_s=1e6, cooling_spread=0.01, disturbance_share=0.17
)


@dataclass(frozen=True)
class Band:
    """A forecast number with its 95 % band; nan where there is none."""

    least: float
    middle: float
    greatest: float


class Chance(Enum):
    """How likely a temperature is passed: the share of the paths that pass it, in four steps."""

    VERY_LIKELY = 0.9
    LIKELY = 0.5
    POSSIBLE = 0.1
    NOT_EXPECTED = 0.0


@dataclass(frozen=True)
class SoakForecast:
    """After a stop. Minutes count from the stop. onset_min, limit_min: when they are passed, nan bands where fewer than half the paths pass them;
    onset, limit: how likely that is. time_s and path_degc (3, n): the band over time, for a figure."""

    peak_degc: Band
    peak_min: Band
    onset_min: Band
    limit_min: Band
    below_onset_min: Band
    onset: Chance
    limit: Chance
    model_only: bool
    time_s: np.ndarray
    path_degc: np.ndarray


@dataclass(frozen=True)
class IdleForecast:
    """While idling: temperature and margin `ahead_min` minutes from the last reading, and the smallest margin on the way."""

    ahead_min: float
    temperature_degc: Band
    margin_degc: Band
    smallest_margin_degc: Band
    model_only: bool


def forecast_soak(
    time_s: npt.ArrayLike,
    temperature_degc: npt.ArrayLike,
    air_degc: float = np.nan,
    *,
    onset_degc: float,
    limit_degc: float,
    prior: Prior = AFTER_STOP,
    widening: float = 1.0,
) -> SoakForecast:
    """Forecast of one place from its readings since the stop.

    time_s (n,): seconds since the stop, rising; temperature_degc (n,), nan skipped; air_degc: outside air, nan if not known. onset_degc, limit_degc:
    boiling onset and limit at the standing car's pressure. widening: from `widening_of` earlier soaks. Raises InputError with fewer than three steps
    of 10 s of readings. Example: forecast_soak(t, degc, 28.0, onset_degc=52.0, limit_degc=58.0).peak_degc.
    """
    steps, values = _steps(time_s, temperature_degc)
    cloud = _filtered(values, air_degc, prior, onset_degc)
    ahead = _drawn(cloud, prior, int(_SOAK_S / _STEP_S) - len(values), onset_degc)
    known = np.flatnonzero(np.isfinite(values))
    measured = np.broadcast_to(np.interp(np.arange(len(values)), known, values[known]), (len(ahead), len(values)))
    paths = np.concatenate([measured.T, ahead.T]).T
    times = steps[0] + _STEP_S * np.arange(paths.shape[1])
    middle = np.quantile(paths.T, 0.5, axis=1)
    paths = middle + widening * (paths - middle)
    peak = np.max(paths, axis=1)
    below = _last_above(paths, times, onset_degc)
    onset, onset_share = _first_above(paths, times, onset_degc)
    limit, limit_share = _first_above(paths, times, limit_degc)
    return SoakForecast(
        _band(peak), _band(times[np.argmax(paths, axis=1)] / 60), _passed(onset, onset_share), _passed(limit, limit_share),
        _passed(below, onset_share), _chance(onset_share), _chance(limit_share),
        prior.soaks < REAL_SOAKS_NEEDED, times, np.quantile(paths.T, BAND, axis=1),
    )  # fmt: skip


def forecast_idle(
    time_s: npt.ArrayLike,
    temperature_degc: npt.ArrayLike,
    air_degc: float = np.nan,
    *,
    onset_degc: float,
    limit_degc: float,
    ahead_s: float = 600.0,
    prior: Prior = IDLING,
    widening: float = 1.0,
) -> IdleForecast:
    """Margin after `ahead_s` more seconds at this idle. time_s (n,): seconds since idling began. Errors as forecast_soak."""
    _, values = _steps(time_s, temperature_degc)
    cloud = _filtered(values, air_degc, prior, onset_degc)
    paths = _drawn(cloud, prior, max(round(ahead_s / _STEP_S), 1), onset_degc)
    middle = np.median(paths.T, axis=1)
    paths = middle + widening * (paths - middle)
    margin = limit_degc - paths
    return IdleForecast(
        ahead_s / 60, _band(paths[:, -1]), _band(margin[:, -1]), _band(margin.min(axis=1)), prior.soaks < REAL_SOAKS_NEEDED
    )


def learned(prior: Prior, soaks: Sequence[tuple[npt.ArrayLike, npt.ArrayLike, float, float]]) -> Prior:
    """The car's own prior, learned from earlier soaks, each (time_s, temperature_degc, air_degc, onset_degc); `prior` keeps the weight of three soaks."""
    weight = 3.0
    names = ("heat", "tau", "cooling")
    centres = {"heat": np.log(prior.heat_degc), "tau": np.log(prior.tau_s), "cooling": np.log(prior.cooling_s)}
    spreads = {"heat": prior.heat_spread, "tau": prior.tau_spread, "cooling": prior.cooling_spread}
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in names}
    for time_s, temperature_degc, air_degc, onset_degc in soaks:
        _, values = _steps(time_s, temperature_degc)
        cloud = _filtered(values, air_degc, prior, onset_degc)
        for name, column in zip(names, (cloud.heat, cloud.tau, cloud.cooling), strict=True):
            logs = np.log(column)
            centre = float(cloud.weights @ logs)
            found[name].append((centre, float(cloud.weights @ (logs - centre) ** 2)))
    new_centres, new_spreads = {}, {}
    for name in names:
        means, within = np.array([m for m, _ in found[name]]), np.array([v for _, v in found[name]])
        total = weight + len(means)
        new_centres[name] = (weight * centres[name] + means.sum()) / total
        between = (
            weight * (spreads[name] ** 2 + (centres[name] - new_centres[name]) ** 2)
            + (within + (means - new_centres[name]) ** 2).sum()
        )
        new_spreads[name] = float(np.sqrt(between / total))
    return replace(
        prior, heat_degc=float(np.exp(new_centres["heat"])), heat_spread=new_spreads["heat"], tau_s=float(np.exp(new_centres["tau"])),
        tau_spread=new_spreads["tau"], cooling_s=float(np.exp(new_centres["cooling"])), cooling_spread=new_spreads["cooling"],
        soaks=prior.soaks + len(soaks),
    )  # fmt: skip


def widening_of(peaks: Sequence[tuple[Band, float]]) -> float:
    """The factor that widens bands so that they would have held 95 % of earlier soaks, each (forecast peak, peak that came); split conformal
    prediction (Vovk et al., Algorithmic Learning in a Random World, 2005). 1 while there are fewer than ten, and never below 1 with fewer than 19:
    so few cannot show an event of one in twenty."""
    if len(peaks) < REAL_SOAKS_NEEDED:
        return 1.0
    misses = []
    for band, came in peaks:
        half = band.greatest - band.middle if came > band.middle else band.middle - band.least
        misses.append(abs(came - band.middle) / max(half, 1e-6))
    misses.sort()
    rank = int(np.ceil(0.95 * (len(misses) + 1)))
    if rank > len(misses):
        return float(np.clip(misses[-1], 1.0, 4.0))
    return float(np.clip(misses[rank - 1], 0.5, 4.0))


@dataclass(frozen=True)
class _Cloud:
    """Weighted particles after the last reading: parameters, and mean and covariance of (temperature, disturbance) from the Kalman filter."""

    air: np.ndarray
    heat: np.ndarray
    tau: np.ndarray
    cooling: np.ndarray
    missing: np.ndarray
    weights: np.ndarray
    mean: np.ndarray  # (2, particles)
    covariance: np.ndarray  # (3, particles): TT, TD, DD
    elapsed_s: float

    def surroundings_degc(self, chosen: np.ndarray | slice, after_s: np.ndarray | float, early_s: float) -> np.ndarray:
        """Temperature of the surroundings some seconds after the first reading: (chosen,), or (n, chosen) for times of (n, 1)."""
        there = 1 - self.missing[chosen] * np.exp(-after_s / early_s)
        answer: np.ndarray = self.air[chosen] + self.heat[chosen] * there * np.exp(-after_s / self.cooling[chosen])
        return answer


def _steps(time_s: npt.ArrayLike, temperature_degc: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Means over steps of 10 s; nan for an empty step between others."""
    times, values = np.asarray(time_s, dtype=float), np.asarray(temperature_degc, dtype=float)
    good = np.isfinite(times) & np.isfinite(values)
    index = np.floor(times[good] / _STEP_S).astype(int)
    if index.size == 0 or len(np.unique(index)) < 3:
        raise InputError(
            f"a forecast needs readings in at least three steps of {_STEP_S:g} s, there are {len(np.unique(index))}: wait a little"
        )
    first, last = int(index.min()), int(index.max())
    if (last - first + 1) * _STEP_S >= _SOAK_S:
        raise InputError(f"the readings span more than {_SOAK_S / 60:g} min: there is nothing left to forecast")
    count = np.bincount(index - first)
    total = np.bincount(index - first, weights=values[good])
    means = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return (first + 0.5 + np.arange(len(means))) * _STEP_S, means


@functools.cache
def _normals() -> np.ndarray:
    """(5, particles) standard normal numbers, evenly spread: the same for every forecast, so that a page does not flicker."""
    from scipy.stats import qmc  # slow to import, and a page without a stop does not need it

    return np.asarray(special.ndtri(qmc.Sobol(5, seed=11).random(_PARTICLES).clip(1e-6, 1 - 1e-6))).T


def _filtered(values: np.ndarray, air_degc: float, prior: Prior, onset_degc: float) -> _Cloud:
    z = _normals()
    air = np.full(_PARTICLES, air_degc) if np.isfinite(air_degc) else prior.air_degc + prior.air_spread_degc * z[3]
    heat = prior.heat_degc * np.exp(prior.heat_spread * z[0])
    tau = prior.tau_s * np.exp(prior.tau_spread * z[1])
    cooling = prior.cooling_s * np.exp(prior.cooling_spread * z[2])
    missing = prior.early_share * special.ndtr(z[4])
    cloud = _Cloud(air, heat, tau, cooling, missing, np.empty(0), np.empty(0), np.empty(0), 0.0)
    stays = np.exp(-_STEP_S / prior.disturbance_s)
    below = 1 - np.exp(-_STEP_S / tau)
    sd = prior.disturbance_share * heat
    kick = sd**2 * (1 - stays**2)
    noise = prior.noise_degc**2
    temperature, disturbance = np.full(_PARTICLES, values[0]), np.zeros(_PARTICLES)
    tt, td, dd = np.full(_PARTICLES, noise), np.zeros(_PARTICLES), sd**2
    log_weight = np.zeros(_PARTICLES)
    for step, value in enumerate(values[1:]):
        around = cloud.surroundings_degc(slice(None), (step + 0.5) * _STEP_S, prior.early_s)
        follows = np.where(temperature > onset_degc, _BOILING_SLOPE, 1.0) * below
        temperature, disturbance = temperature + follows * (around + disturbance - temperature), stays * disturbance
        keep = 1 - follows
        tt, td, dd = (
            keep**2 * tt + 2 * keep * follows * td + follows**2 * dd,
            stays * (keep * td + follows * dd),
            stays**2 * dd + kick,
        )
        if np.isnan(value):
            continue
        spread = tt + noise
        miss = value - temperature
        log_weight -= 0.5 * (miss**2 / spread + np.log(spread))
        temperature, disturbance = temperature + tt / spread * miss, disturbance + td / spread * miss
        tt, td, dd = tt - tt**2 / spread, td - tt * td / spread, dd - td**2 / spread
    weights = np.exp(log_weight - log_weight.max())
    mean, covariance = np.stack([temperature, disturbance]), np.stack([tt, td, dd])
    return replace(
        cloud, weights=weights / weights.sum(), mean=mean, covariance=covariance, elapsed_s=(len(values) - 1) * _STEP_S
    )


def _drawn(cloud: _Cloud, prior: Prior, steps: int, onset_degc: float) -> np.ndarray:
    """(paths, steps): temperatures after the last reading, drawn from the particles by their weights."""
    generator = np.random.default_rng(5)
    # systematic resampling: the least scatter of the ways to draw by weight
    chosen = np.searchsorted(np.cumsum(cloud.weights), (np.arange(_PATHS) + generator.random()) / _PATHS).clip(0, _PARTICLES - 1)
    heat, tau = cloud.heat[chosen], cloud.tau[chosen]
    tt, td, dd = (row[chosen] for row in cloud.covariance)
    first, second = generator.standard_normal((2, _PATHS))
    temperature = cloud.mean[0, chosen] + np.sqrt(tt) * first
    given = np.maximum(dd - td**2 / np.maximum(tt, 1e-12), 0.0)
    disturbance = cloud.mean[1, chosen] + td / np.sqrt(np.maximum(tt, 1e-12)) * first + np.sqrt(given) * second
    stays, below = np.exp(-_STEP_S / prior.disturbance_s), 1 - np.exp(-_STEP_S / tau)
    kick = prior.disturbance_share * heat * np.sqrt(1 - stays**2)
    after_s = cloud.elapsed_s + (np.arange(steps)[:, None] + 0.5) * _STEP_S
    paths = np.empty((steps, _PATHS))
    for around, kicked, row in zip(
        cloud.surroundings_degc(chosen, after_s, prior.early_s),
        kick * generator.standard_normal((steps, _PATHS)),
        paths,
        strict=True,
    ):
        follows = np.where(temperature > onset_degc, _BOILING_SLOPE, 1.0) * below
        temperature = temperature + follows * (around + disturbance - temperature)
        disturbance = stays * disturbance + kicked
        row[:] = temperature
    return paths.T  # the paths' values at one time lie side by side, which the quantiles of each time are quicker with


def _band(values: np.ndarray) -> Band:
    return Band(*(float(value) for value in np.quantile(values, BAND)))


def _first_above(paths: np.ndarray, times: np.ndarray, level_degc: float) -> tuple[np.ndarray, float]:
    above = paths > level_degc
    passes = above.any(axis=1)
    return times[np.argmax(above, axis=1)][passes] / 60, float(passes.mean())


def _last_above(paths: np.ndarray, times: np.ndarray, level_degc: float) -> np.ndarray:
    """Minutes at which paths that passed the level are below it for good; those still above at the end count with the last minute."""
    above = paths > level_degc
    passes = above.any(axis=1)
    last = above.shape[1] - 1 - np.argmax(above[passes, ::-1], axis=1)
    answer: np.ndarray = times[np.minimum(last + 1, len(times) - 1)] / 60
    return answer


def _passed(minutes: np.ndarray, share: float) -> Band:
    return _band(minutes) if share >= 0.5 else Band(np.nan, np.nan, np.nan)


def _chance(share: float) -> Chance:
    return next(chance for chance in Chance if share >= chance.value)
