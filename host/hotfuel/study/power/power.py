"""What a change did for power: pulls aligned on engine speed, gain with an interval, a band for the whole curve, and what physics would allow.

Gains are per cent of the baseline's power. Nothing here is tuned to a published gain.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import intervals, verdicts
from hotfuel.study.evidence.band import CurveDifference, curve_difference
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.order import balanced_order
from hotfuel.study.power import correction, driven, peaks
from hotfuel.study.power.curves import Bins, bins, shape_words, two_engines
from hotfuel.study.power.expectation import Expectation, expectation
from hotfuel.study.power.gain_words import (
    air_flow_sentence,
    gain_sentence,
    mixture_sentence,
    order_sentence,
    per_degree_sentence,
    said_sentence,
)
from hotfuel.study.power.pulls import Pull
from hotfuel.units import Shown

LARGEST_FACTOR_DIFFERENCE = 0.03
SEPARABLE = "separable from mixture"
NOT_SEPARABLE = "not separable from mixture"
MIXTURE_SHIFTED = "mixture shifted"
SAME_LAMBDA = 0.01  # mean lambda of the sides within 1 %


@dataclass(frozen=True)
class Gain:
    """One variant against the baseline. Per cent of power; curves over `rpm` (k,); low and high are 95 %, band_* hold for the whole curve at once."""

    variant: str
    baseline: str
    verdict: str
    gain_percent: float
    low_percent: float
    high_percent: float
    estimate: Estimate | None
    more: verdicts.MoreRuns | None
    rpm: np.ndarray
    curve_percent: np.ndarray
    band_low_percent: np.ndarray
    band_high_percent: np.ndarray
    shape: str
    order: driven.Order
    peak_gain_kw: tuple[float, float, float]
    peak_gain_nm: tuple[float, float, float]
    mixture: str
    implausible: bool
    expected: Expectation | None
    gain_per_degc: tuple[float, float, float] | None
    air_flow_percent: float
    sentences: tuple[str, ...]

    @property
    def drift_removed(self) -> bool:
        """Whether a straight drift over the order was fitted."""
        return self.order.kind == driven.FITTED

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        plain = {key: value for key, value in vars(self).items() if key not in ("estimate", "more", "expected", "order")}
        plain["order"], plain["drift_removed"] = self.order.kind, self.drift_removed
        plain["trend_percent_a_pull"] = [self.order.trend_percent, self.order.trend_half_percent]
        plain["method"] = self.estimate.method if self.estimate else None
        plain["spread_percent"] = self.estimate.spread if self.estimate else None
        plain["more_runs"] = [self.more.at_least, self.more.at_most] if self.more else None
        plain["expected"] = vars(self.expected) if self.expected else None
        return plain


@dataclass(frozen=True)
class Curve:
    """A variant's mean power over engine speed with the 95 % interval of the mean at each speed (nan for one pull), kW."""

    name: str
    pulls: int
    rpm: np.ndarray
    mean_kw: np.ndarray
    low_kw: np.ndarray
    high_kw: np.ndarray
    factor: float | None


@dataclass(frozen=True)
class PowerComparison:
    """Curves of all variants, gains of all but the baseline, and what a reader must know beside them."""

    baseline: str
    standard: str | None
    curves: tuple[Curve, ...]
    said: tuple[peaks.Said, ...]
    gains: tuple[Gain, ...]
    cautions: tuple[str, ...]
    mapping: dict[str, tuple[str, ...]]
    proposed_order: tuple[str, ...]
    absolute_figures_count: bool

    def finding(self) -> str:
        """Each variant's gain, for a customer."""
        return " ".join(gain.sentences[0] for gain in self.gains)

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            **vars(self),
            "finding": self.finding(),
            "said": [one.as_dict() for one in self.said],
            "curves": [vars(curve) for curve in self.curves],
            "gains": [gain.as_dict() for gain in self.gains],
        }


def compare_pulls(
    groups: Mapping[str, Sequence[Pull]],
    baseline: str | None = None,
    *,
    weather: Mapping[str, correction.Weather] | None = None,
    standard: str = "SAE J1349",
    already_corrected: bool | None = None,
    order: Sequence[str] | None = None,
    fuel_degc: Mapping[str, float] | None = None,
    delta_percent: float = verdicts.DELTA_POWER_PERCENT,
    bin_rpm: float | None = None,
    shown: Shown | None = None,
) -> PowerComparison:
    """Compare pulls of variants {name: pulls} with the baseline (default: the first name).

    weather: {name: Weather}, for all or for none; already_corrected answers what a header that says "corrected" leaves open. order: pull names in
    the order they were driven; without it the running numbers in the names tell, where each pull has its own. An order that lets a drift look like a
    gain, or that nobody knows, gives no verdict. fuel_degc: fuel temperature by variant where the files hold none. shown: the units of the sentences.

    Raises InputError, one sentence, for fewer than two variants, a pull given twice, no common engine speeds, two engines, a corrected file without
    that answer or beside one that is not, weather for some variants only, sides whose factors differ by more than 3 %.
    """
    names = list(groups)
    base = baseline if baseline is not None else (names[0] if names else "")
    if base not in groups:
        raise InputError(f'there is no variant "{base}" to compare with: there are {", ".join(names) or "none"}')
    if len(names) < 2:
        raise InputError(f'only the variant "{base}" was given: name at least two to compare')
    if not delta_percent > 0:
        raise InputError(f"a gain worth having of {delta_percent:g} % was given: it must be above 0")
    empty = [name for name in names if not groups[name]]
    if empty:
        raise InputError(f"{empty[0]} has no pull: give at least one file for each variant")
    correction.check(standard)
    factors, cautions = _factors(groups, weather, standard, already_corrected)
    two_engines(groups)
    grid = bins([pull for pulls in groups.values() for pull in pulls], bin_rpm)
    logs = {name: np.array([grid.mean_log_power(p) for p in groups[name]]) + np.log(factors.get(name, 1.0)) for name in names}
    others = [name for name in names if name != base]
    position = driven.places(groups, order)
    _each_once(groups)
    values = {name: 100 * logs[name].mean(axis=1) for name in names}
    fits: dict[str, tuple[Estimate | None, CurveDifference | None, driven.Order]] = {
        name: _fit(logs[base], logs[name], values[base], values[name], position.get(base), position.get(name)) for name in others
    }
    tested = [name for name in others if fits[name][0] is not None and fits[name][2].kind in driven.ALLOWS_VERDICT]
    numbers = {
        name: peaks.said(name, groups[name], grid.rpm[0] - grid.width / 2, grid.rpm[-1] + grid.width / 2, factors.get(name, 1.0))
        for name in names
    }
    words = dict.fromkeys(others, verdicts.DESCRIBED)
    words.update(zip(tested, verdicts.holm([e for n in tested if (e := fits[n][0])], [delta_percent] * len(tested)), strict=True))
    gains = []
    for name in others:
        if fits[name][0] is not None and fits[name][2].kind not in driven.ALLOWS_VERDICT:
            words[name] = verdicts.NO_VERDICT
        gains.append(
            _gain(
                groups,
                base,
                name,
                grid,
                logs,
                values,
                numbers,
                fits[name],
                words[name],
                delta_percent,
                fuel_degc or {},
                shown or Shown(),
            )
        )
    absolute = not factors or all(correction.is_valid(air) for air in (weather or {}).values())
    if not absolute:
        cautions.append(
            "The weather is outside the 7 % for which the correction holds: absolute figures do not count; "
            "the comparison goes on because both sides share it."
        )
    undecided = any(g.verdict not in verdicts.DECIDED for g in gains)
    return PowerComparison(
        baseline=base,
        standard=standard if factors else None,
        curves=tuple(_curve(name, logs[name], grid, factors.get(name)) for name in names),
        said=tuple(numbers.values()),
        gains=tuple(gains),
        cautions=tuple(dict.fromkeys(cautions)),
        mapping={pull.name: (*pull.mapping, *pull.notes) for pulls in groups.values() for pull in pulls},
        proposed_order=tuple(balanced_order(names, 4, seed=len(names))) if undecided else (),
        absolute_figures_count=absolute,
    )


def _each_once(groups: Mapping[str, Sequence[Pull]]) -> None:
    """Two pulls of one engine are never equal to the last digit: the same one twice would count as two."""
    seen: dict[bytes, str] = {}
    for name, pulls in groups.items():
        for pull in pulls:
            figures = pull.rpm.tobytes() + pull.power_kw.tobytes()
            if figures in seen:
                raise InputError(
                    f"{pull.name} ({name}) holds the same figures as {seen[figures]}: a pull counts once, give each file once"
                )
            seen[figures] = f"{pull.name} ({name})"


def _factors(
    groups: Mapping[str, Sequence[Pull]],
    weather: Mapping[str, correction.Weather] | None,
    standard: str,
    already_corrected: bool | None,
) -> tuple[dict[str, float], list[str]]:
    every = [pull for pulls in groups.values() for pull in pulls]
    marked = [pull.name for pull in every if pull.corrected]
    unmarked = [pull.name for pull in every if not pull.corrected]
    if marked and unmarked and already_corrected is None:
        raise InputError(
            f"the header of {marked[0]} says that its figures are corrected already, and that of {unmarked[0]} does not: say whether all are or none is, "
            "and compare like with like"
        )
    if weather is None:
        if marked or already_corrected:
            return {}, ["The files say that their figures are corrected already: they are compared as they are."]
        return {}, [
            "No weather was given: figures are compared as measured, and a change in the weather between the sides would look like the change."
        ]
    if already_corrected:
        return {}, ["The figures are corrected already, as stated: the weather given was not applied a second time."]
    if marked and already_corrected is None:
        raise InputError(
            f"the header of {marked[0]} says that its figures are corrected already: say whether they are, so that they are not corrected twice"
        )
    missing = [name for name in groups if name not in weather]
    if missing:
        raise InputError(f"weather is missing for {missing[0]}: give it for every variant, or for none to compare as measured")
    factors = {name: correction.factor(weather[name], standard) for name in groups}
    largest, smallest = max(factors.values()), min(factors.values())
    if largest / smallest - 1 > LARGEST_FACTOR_DIFFERENCE:
        raise InputError(
            f"the sides' correction factors differ by {100 * (largest / smallest - 1):.1f} %, allowed are 3 %: repeat the pulls in like weather"
        )
    return factors, []


def _fit(
    base_logs: np.ndarray,
    logs: np.ndarray,
    base_values: np.ndarray,
    values: np.ndarray,
    base_at: np.ndarray | None,
    at: np.ndarray | None,
) -> tuple[Estimate | None, CurveDifference | None, driven.Order]:
    """(estimate of the mean gain, of the curve, what the order allows); a straight drift is fitted from six pulls up in a balanced order."""
    n, m = len(base_values), len(values)
    order = driven.judged(base_at, at, base_values, values)
    if min(n, m) < 2:
        return None, None, order
    side = np.repeat([0.0, 1.0], [n, m])
    design = np.column_stack([side, np.ones(n + m)])
    both = np.concatenate([base_values, values])
    if order.kind == driven.FITTED and base_at is not None and at is not None:
        place = np.concatenate([base_at, at])
        design = np.column_stack([design, place - place.mean()])
        estimate = intervals.linear(both, side, design[:, 2:], "pooled t, drift over the order removed")
    else:
        estimate = intervals.two_sample(base_values, values)
    return estimate, curve_difference(100 * np.concatenate([base_logs, logs]), design), order


def _percent(log_percent: np.ndarray | float) -> np.ndarray:
    return 100 * np.expm1(np.asarray(log_percent) / 100)


def _curve(name: str, logs: np.ndarray, grid: Bins, factor: float | None) -> Curve:
    mean = logs.mean(axis=0)
    half = np.full(len(mean), np.nan)
    if len(logs) > 1:
        one = Estimate(0.0, 1.0, len(logs) - 1, 1.0, len(logs), len(logs), "")
        half = one.half_width() * logs.std(axis=0, ddof=1) / np.sqrt(len(logs))
    return Curve(name, len(logs), grid.rpm, np.exp(mean), np.exp(mean - half), np.exp(mean + half), factor)


def _gain(
    groups: Mapping[str, Sequence[Pull]],
    base: str,
    name: str,
    grid: Bins,
    logs: Mapping[str, np.ndarray],
    values: Mapping[str, np.ndarray],
    numbers: Mapping[str, peaks.Said],
    fit: tuple[Estimate | None, CurveDifference | None, driven.Order],
    word: str,
    delta: float,
    fuel_degc: Mapping[str, float],
    shown: Shown,
) -> Gain:
    estimate, curve, order = fit
    gain = float(_percent(estimate.difference if estimate else values[name].mean() - values[base].mean()))
    low, high = (float(_percent(x)) for x in estimate.interval()) if estimate else (np.nan, np.nan)
    more = verdicts.more_runs(estimate, delta) if estimate and word == verdicts.UNDECIDED else None
    unknown = np.full(len(grid.rpm), np.nan)
    centre = _percent(curve.difference if curve else logs[name].mean(axis=0) - logs[base].mean(axis=0))
    band = (_percent(curve.low), _percent(curve.high)) if curve else (unknown, unknown)
    fuels = [_fuel(groups[side], grid, fuel_degc.get(side)) for side in (base, name)]
    cooler = fuels[0] - fuels[1]
    expected = expectation(float(cooler)) if np.isfinite(cooler) and abs(cooler) <= 100 else None
    # Cooler fuel may gain up to the ceiling, hotter fuel may lose as much: beyond it something else changed.
    implausible = bool(expected and estimate and low > max(expected.ceiling_with_friction_percent, 0.0))
    per_degree = None
    if expected and estimate and abs(cooler) >= 3.0:
        ends = sorted((low / cooler, high / cooler))
        per_degree = (gain / float(cooler), float(ends[0]), float(ends[1]))
    air = [grid.side_mean(groups[side], "air_flow") for side in (base, name)]
    air_percent = 100 * (air[1] / air[0] - 1)
    mixture, mixture_line = _mixture(groups[base], groups[name], grid, base, name)
    tops = [
        peaks.gain(getattr(numbers[base], column).pulls, getattr(numbers[name], column).pulls)
        for column in ("power_kw", "torque_nm")
    ]
    first = (
        order_sentence(name, base, (gain, low, high), order)
        if word == verdicts.NO_VERDICT
        else gain_sentence(name, base, word, (gain, low, high), (len(values[name]), len(values[base])), delta, more, implausible)
    )
    if mixture != SEPARABLE and word in (verdicts.LOWER, verdicts.HIGHER):
        first = f"{first} {mixture_line}"
    tested = word in verdicts.DECIDED or word == verdicts.UNDECIDED
    shape = shape_words(grid.rpm, band[0], band[1]) if tested else "Without a verdict nothing is said of the curve's shape."
    sentences = [first, said_sentence(numbers[base], numbers[name], tops[0], tops[1], shown)]
    sentences += [] if mixture_line in first else [mixture_line]
    sentences += [shape]
    sentences += (
        [expected.words(shown)]
        if expected
        else ["Without fuel temperatures on both sides no physical expectation can be set beside the gain."]
    )
    sentences += [air_flow_sentence(air_percent)] if np.isfinite(air_percent) else []
    sentences += [per_degree_sentence(per_degree, float(cooler), shown)] if per_degree else []
    return Gain(
        variant=name,
        baseline=base,
        verdict=word,
        gain_percent=gain,
        low_percent=low,
        high_percent=high,
        estimate=estimate,
        more=more,
        rpm=grid.rpm,
        curve_percent=centre,
        band_low_percent=band[0],
        band_high_percent=band[1],
        shape=shape,
        order=order,
        peak_gain_kw=tops[0],
        peak_gain_nm=tops[1],
        mixture=mixture,
        implausible=implausible,
        expected=expected,
        gain_per_degc=per_degree,
        air_flow_percent=air_percent,
        sentences=tuple(sentences),
    )


def _fuel(pulls: Sequence[Pull], grid: Bins, stated: float | None) -> float:
    measured = grid.side_mean(pulls, "fuel_degc")
    return stated if np.isnan(measured) and stated is not None else measured


def _mixture(a: Sequence[Pull], b: Sequence[Pull], grid: Bins, base: str, name: str) -> tuple[str, str]:
    """(verdict, sentence) on whether the mixture stayed the same."""
    means = [grid.side_mean(side, "lambda_ratio") for side in (a, b)]
    if not np.isfinite(means).all():
        return NOT_SEPARABLE, mixture_sentence(NOT_SEPARABLE, base, name, means)
    same = abs(means[1] / means[0] - 1) <= SAME_LAMBDA
    word = SEPARABLE if same else MIXTURE_SHIFTED
    return word, mixture_sentence(word, base, name, means)
