"""A test day of power pulls: each run's number, whether the pulls may be held against each other, and the comparison that says what the plan's looks say."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence.verdicts import DECIDED
from hotfuel.study.fixes.day_plan import DayPlan
from hotfuel.study.fixes.day_verdict import Standing, pair_sentence, standing
from hotfuel.study.power import alike, gain_words, weathers
from hotfuel.study.power.curves import mean_log_percent, two_engines
from hotfuel.study.power.expectation import share
from hotfuel.study.power.gain import SEPARABLE, Gain
from hotfuel.study.power.peaks import Said
from hotfuel.study.power.power import PowerComparison, compare_pulls
from hotfuel.study.power.pulls import Pull
from hotfuel.study.power.shape import Shape
from hotfuel.units import Shown

_STANDARD = "SAE J1349"
_NO_SHAPE = "The plan asks of the mean over these engine speeds: nothing is said of the curve's shape."


def grouped(plan: DayPlan, read: Mapping[int, Pull]) -> dict[str, list[Pull]]:
    """{variant: its pulls}, from {number of the run: pull}."""
    return {name: [pull for n, pull in read.items() if plan.order[n - 1] == name] for name in plan.variants}


def power_standing(plan: DayPlan, read: Mapping[int, Pull], shown: Shown, already_corrected: bool | None = None) -> Standing:
    """Where the day stands, from {number of the run: pull} of complete blocks. Pulls are corrected where their files tell the weather and that they are not.

    Where the sides differ by more than the change (`alike.unlike`), or corrected and measured figures stand side by side, there is no verdict, and why.
    Raises InputError, one sentence, for pulls that share too few engine speeds.
    """
    groups = grouped(plan, read)
    values = mean_log_percent(read)
    why = ""
    try:
        two_engines(groups)
        factors = weathers.factors(groups, None, _STANDARD, already_corrected)
        each = {name: iter(factors.of[name]) for name in groups}
        values = {n: value + 100 * float(np.log(next(each[plan.order[n - 1]]))) for n, value in values.items()}
        base = plan.variants[0]
        unlike = [
            one
            for name in plan.variants[1:]
            for one in alike.unlike(base, groups[base], name, groups[name], shown, air_corrected=factors.corrected)
        ]
        why = gain_words.unlike_words(unlike) if unlike else ""
    except InputError as error:
        why = f"{error}."
    found = standing(plan, values, shown)
    if not why:
        return found
    said = f"{found.blocks} of {plan.last_block} blocks are complete, and there is no verdict: {why}"
    return replace(found, sights=(), decided=False, sentences=(said,))


def power_answered(
    plan: DayPlan, read: Mapping[int, Pull], found: Standing, shown: Shown, already_corrected: bool | None = None
) -> PowerComparison:
    """The pulls compared, with the verdicts and intervals of the plan's looks and no others: a test of as many pulls as if their number had been fixed
    would claim more than the looks allow. Raises InputError as `compare_pulls`.
    """
    result = compare_pulls(
        grouped(plan, read), plan.variants[0], order=[read[n].name for n in sorted(read)], delta_percent=plan.difference,
        already_corrected=already_corrected, shown=shown,
    )  # fmt: skip
    said = {one.name: one for one in result.said}
    gains = tuple(_looked(plan, one, said[one.baseline], said[one.variant], found, shown) for one in result.gains)
    by = f"the plan: {plan.difference:g} % asked beforehand, a look after every block, at most {plan.last_block} blocks, {found.blocks} driven"
    return replace(result, gains=gains, order_by=by, proposed_order=())


def _looked(plan: DayPlan, gain: Gain, base: Said, variant: Said, found: Standing, shown: Shown) -> Gain:
    one = next(
        (s for s in found.sights if (plan.variants[s.first], plan.variants[s.second]) == (gain.baseline, gain.variant)), None
    )
    if one is None:  # no verdict is possible, which the comparison says itself
        return gain
    value, low, high = (float(100 * np.expm1(each / 100)) for each in (one.difference, one.low, one.high))
    cooler = base.fuel_degc - variant.fuel_degc
    unknown, nothing = np.full(len(gain.rpm), np.nan), np.full(3, np.nan)
    made = replace(
        gain, verdict=one.verdict, gain_percent=value, low_percent=low, high_percent=high, estimate=None, more=None,
        band_low_percent=unknown, band_high_percent=unknown, where=Shape(nothing, nothing, nothing, _NO_SHAPE),
        mean_gain_kw=_alone(gain.mean_gain_kw), mean_gain_nm=_alone(gain.mean_gain_nm), peak_gain_kw=_alone(gain.peak_gain_kw),
        peak_gain_nm=_alone(gain.peak_gain_nm), gain_per_degc=None,
        allowed=share(cooler, low, same_mixture=gain.mixture == SEPARABLE) if gain.allowed is not None else None,
    )  # fmt: skip
    first = pair_sentence(plan, one, found.blocks, shown) + (gain_words.doubts(made) if one.verdict in DECIDED else "")
    lines = [
        first[:1].upper() + first[1:],
        gain_words.said_sentence(base, variant, made.peak_gain_kw, made.peak_gain_nm, shown),
        _NO_SHAPE,
        *gain_words.beside_sentences(base, variant, made.mixture, shown),
        *([made.allowed.words(shown)] if made.allowed is not None else []),
    ]
    return replace(made, sentences=tuple(lines))


def _alone(numbers: tuple[float, float, float]) -> tuple[float, float, float]:
    """A value without the interval of a number of pulls fixed beforehand."""
    return numbers[0], float("nan"), float("nan")
