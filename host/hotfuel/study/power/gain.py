"""One variant's gain in power against the baseline, and everything worked out about it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.band import curve_difference
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.plan import runs_for
from hotfuel.study.power import alike, driven, peaks
from hotfuel.study.power.curves import Bins
from hotfuel.study.power.decided import Fit
from hotfuel.study.power.expectation import Expectation, Share, expectation, share
from hotfuel.study.power.peaks import Said
from hotfuel.study.power.pulls import Pull
from hotfuel.study.power.shape import Shape, shape

SEPARABLE = "separable from mixture"
NOT_SEPARABLE = "not separable from mixture"
MIXTURE_SHIFTED = "mixture shifted"
SAME_LAMBDA = 0.01  # mean lambda of the sides within 1 %
SAME_SPARK_DEG = 0.5  # common practice, no source
SPREAD_PERCENT = 0.5  # from pull to pull with starts alike, where the pulls do not tell it (common practice, no source)
LEAST_PULLS = driven.DRIFT_FROM_PULLS // 2  # a side: with fewer, a drift cannot be told from a gain
RATE_FROM_DEGC = 3.0  # a gain per degree means nothing for less

Interval = tuple[float, float, float]  # value, low, high of its 95 % interval; nan where there is none


@dataclass(frozen=True)
class Side:
    """A variant's pulls, the log of their power in the bins (pulls, k), 100 x its mean over the bins (pulls,), and the variant's numbers."""

    name: str
    pulls: Sequence[Pull]
    logs: np.ndarray
    values: np.ndarray
    said: Said


@dataclass(frozen=True)
class Gain:
    """One variant against the baseline, per cent of power over the band; curves over `rpm` (k,).

    low and high are 95 %, band_* hold for the whole curve at once; all nan where order or sides allow no verdict. gain_per_degc: only
    where the fuel alone may have made the gain. pulls_needed: a side, to find a gain as large as this one looks; None for more than any plan has.
    """

    variant: str
    baseline: str
    verdict: str
    gain_percent: float
    low_percent: float
    high_percent: float
    estimate: Estimate | None
    more: verdicts.MoreRuns | None
    pulls_needed: int | None
    rpm: np.ndarray
    curve_percent: np.ndarray
    band_low_percent: np.ndarray
    band_high_percent: np.ndarray
    where: Shape
    order: driven.Order
    unlike: tuple[alike.Unlike, ...]
    mean_gain_kw: Interval
    mean_gain_nm: Interval
    peak_gain_kw: Interval
    peak_gain_nm: Interval
    mixture: str
    inseparable: tuple[str, ...]
    expected: Expectation | None
    allowed: Share | None
    gain_per_degc: Interval | None
    air_flow_percent: float

    @property
    def implausible(self) -> bool:
        """Whether the gain is beyond what physics lets cooler fuel do."""
        return self.allowed is not None and self.allowed.beyond_percent > 0

    @property
    def rate_withheld(self) -> bool:
        """Whether a gain per degree could be worked out, and would count as the fuel's what the fuel alone cannot do."""
        if self.allowed is None or self.estimate is None or not np.isfinite(self.low_percent):
            return False
        far = abs(self.allowed.fuel_cooler_degc) >= RATE_FROM_DEGC
        return far and not self.allowed.may_explain(self.low_percent, self.high_percent)

    @property
    def drift_removed(self) -> bool:
        """Whether a straight drift over the order was fitted."""
        return self.order.kind == driven.FITTED

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON; `hotfuel.report.power_words` adds the sentences."""
        left = ("estimate", "more", "expected", "order", "where", "unlike", "allowed")
        plain = {key: value for key, value in vars(self).items() if key not in left}
        plain["implausible"] = self.implausible
        plain["thirds_over_rest_percent"] = [self.where.more_percent, self.where.low_percent, self.where.high_percent]
        plain["order"], plain["drift_removed"] = self.order.kind, self.drift_removed
        plain["trend_percent_a_pull"] = [self.order.trend_percent, self.order.trend_half_percent]
        plain["method"] = self.estimate.method if self.estimate else None
        plain["spread_percent"] = self.estimate.spread if self.estimate else None
        plain["more_runs"] = [self.more.at_least, self.more.at_most] if self.more else None
        plain["expected"] = vars(self.expected) if self.expected else None
        plain["allowed"] = vars(self.allowed) if self.allowed else None
        return plain


def gain(
    base: Side,
    variant: Side,
    grid: Bins,
    fit: Fit,
    estimate: Estimate | None,
    word: str,
    unlike: Sequence[alike.Unlike],
    *,
    delta_percent: float,
    fuel_half_degc: Mapping[str, float],
) -> Gain:
    """Everything about one variant, from the estimate of its mean gain and the verdict `word`.

    fuel_half_degc: by side, half the 95 % interval of its fuel temperature, where it is known.
    """
    logs = 100 * np.concatenate([base.logs, variant.logs])
    tested = word in verdicts.DECIDED or word == verdicts.UNDECIDED
    # where a known order or unlike sides allow no verdict there is no interval either: it would show the drift as if it were the change
    told = fit.can_test and (tested or (fit.order.kind == driven.UNKNOWN and not unlike))
    curve = curve_difference(logs, fit.design) if told and np.ptp(logs) > 0 and _has_spread(logs, fit.design) else None
    numbers = _percents(estimate, variant.values.mean() - base.values.mean())
    if not told:
        numbers = (numbers[0], np.nan, np.nan)
    centre = _percent(curve.difference if curve else 100 * (variant.logs.mean(axis=0) - base.logs.mean(axis=0)))
    unknown = np.full(len(grid.rpm), np.nan)
    fitted = fit if tested else None
    means = [
        peaks.gain(fitted, *(getattr(side.said, key) for side in (base, variant))) for key in ("mean_power_kw", "mean_torque_nm")
    ]
    tops = [_of_peaks(fitted, getattr(base.said, key), getattr(variant.said, key)) for key in ("power_kw", "torque_nm")]
    cooler = base.said.fuel_degc - variant.said.fuel_degc
    known = bool(np.isfinite(cooler)) and abs(cooler) <= 100
    mixture = mixture_of(base.said, variant.said)
    expected = expectation(float(cooler)) if known else None
    allowed = None
    if known:
        halves = [fuel_half_degc[side.name] for side in (base, variant) if side.name in fuel_half_degc]
        half = float(np.sqrt(sum(each**2 for each in halves))) if len(halves) == 2 else None
        low = numbers[1] if tested and np.isfinite(numbers[1]) else -np.inf
        allowed = share(float(cooler), low, fuel_half_degc=half, same_mixture=mixture == SEPARABLE)
    has_rate = told and allowed is not None and abs(cooler) >= RATE_FROM_DEGC and allowed.may_explain(*numbers[1:])
    air = 100 * (variant.said.air_flow / base.said.air_flow - 1)
    return Gain(
        variant=variant.name,
        baseline=base.name,
        verdict=word,
        gain_percent=numbers[0],
        low_percent=numbers[1],
        high_percent=numbers[2],
        estimate=estimate,
        more=verdicts.more_runs(estimate, delta_percent) if estimate and word == verdicts.UNDECIDED else None,
        pulls_needed=pulls_needed(numbers[0], estimate.spread if estimate else SPREAD_PERCENT, delta_percent),
        rpm=grid.rpm,
        curve_percent=centre,
        band_low_percent=_percent(curve.low) if curve else unknown,
        band_high_percent=_percent(curve.high) if curve else unknown,
        where=shape(grid.rpm, logs, fit.design, curve),
        order=fit.order,
        unlike=tuple(unlike),
        mean_gain_kw=means[0],
        mean_gain_nm=means[1],
        peak_gain_kw=tops[0],
        peak_gain_nm=tops[1],
        mixture=mixture,
        inseparable=_inseparable(base, variant, mixture),
        expected=expected,
        allowed=allowed,
        gain_per_degc=_per_degree(numbers, float(cooler)) if has_rate else None,
        air_flow_percent=float(air),
    )


def _of_peaks(fitted: Fit | None, base: peaks.Peak, variant: peaks.Peak) -> Interval:
    return peaks.gain(fitted, base.pulls, variant.pulls) if peaks.are_comparable(base, variant) else (np.nan, np.nan, np.nan)


def pulls_needed(gain_percent: float, spread_percent: float, delta_percent: float) -> int | None:
    """Pulls a side that find a gain of this size, or the smallest worth having, nine times out of ten; None for more than any plan has."""
    if not spread_percent > 0:
        return LEAST_PULLS
    try:
        return max(LEAST_PULLS, runs_for(max(abs(gain_percent), delta_percent), spread_percent))
    except InputError:
        return None


def mixture_of(base: Said, variant: Said) -> str:
    """Whether the mixture is known to have stayed the same."""
    if not np.isfinite([base.lambda_ratio, variant.lambda_ratio]).all():
        return NOT_SEPARABLE
    return SEPARABLE if abs(variant.lambda_ratio / base.lambda_ratio - 1) <= SAME_LAMBDA else MIXTURE_SHIFTED


def _inseparable(base: Side, variant: Side, mixture: str) -> tuple[str, ...]:
    """What may have changed as well without the files showing it."""
    spark = abs(variant.said.spark_deg - base.said.spark_deg) <= SAME_SPARK_DEG
    found = {"mixture": mixture != SEPARABLE, "spark": not spark, "heat soak": not alike.soak_known((base.pulls, variant.pulls))}
    return tuple(name for name, is_open in found.items() if is_open)


def _has_spread(logs: np.ndarray, design: np.ndarray) -> bool:
    """Whether the pulls differ from the fit by more than rounding."""
    fitted = design @ np.linalg.lstsq(design, logs, rcond=None)[0]
    return bool((np.abs(logs - fitted).max(axis=0) > 1e-7).all())


def _percents(estimate: Estimate | None, difference: float) -> Interval:
    value = float(_percent(estimate.difference if estimate else difference))
    low, high = (float(_percent(x)) for x in estimate.interval()) if estimate else (np.nan, np.nan)
    return value, low, high


def _percent(log_percent: np.ndarray | float) -> np.ndarray:
    return 100 * np.expm1(np.asarray(log_percent) / 100)


def _per_degree(numbers: Interval, cooler: float) -> Interval:
    ends = sorted((numbers[1] / cooler, numbers[2] / cooler))
    return numbers[0] / cooler, float(ends[0]), float(ends[1])
