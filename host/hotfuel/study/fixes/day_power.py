"""A test day of power pulls: where it stands, whether the pulls may be compared at all, and the comparison with the verdicts of the plan's looks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence.looks import Sight
from hotfuel.study.fixes.day_plan import DayPlan
from hotfuel.study.fixes.day_verdict import Standing, standing
from hotfuel.study.fixes.notes import Apart
from hotfuel.study.power import alike, weathers
from hotfuel.study.power.curves import mean_log_percent, two_engines
from hotfuel.study.power.expectation import share
from hotfuel.study.power.gain import SEPARABLE, Gain
from hotfuel.study.power.peaks import Said
from hotfuel.study.power.power import PowerComparison, compare_pulls, each_once
from hotfuel.study.power.pulls import Pull
from hotfuel.study.power.shape import NOT_ASKED, unknown

_STANDARD = "SAE J1349"


@dataclass(frozen=True)
class PowerStanding(Standing):
    """As Standing. unlike: what differed between the sides besides the change, refused: why the pulls cannot be compared; either rules out a verdict."""

    unlike: tuple[alike.Unlike, ...] = ()
    refused: str = ""


@dataclass(frozen=True, kw_only=True)
class DayComparison(PowerComparison):
    """A comparison whose verdicts and intervals are those of the looks of `plan`, as they stood after `blocks` complete blocks. apart: as in Standing."""

    plan: DayPlan
    sights: tuple[Sight, ...]
    blocks: int
    apart: tuple[Apart, ...]

    def sight(self, gain: Gain) -> Sight | None:
        """What the plan's looks saw of this pair; None where no verdict is possible."""
        return _sight(self.plan, self.sights, gain)

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {key: value for key, value in super().as_dict().items() if key not in ("plan", "sights", "blocks", "apart")}


def grouped(plan: DayPlan, read: Mapping[int, Pull]) -> dict[str, list[Pull]]:
    """{variant: its pulls}, from {number of the run: pull}."""
    return {name: [pull for n, pull in read.items() if plan.order[n - 1] == name] for name in plan.variants}


def power_standing(plan: DayPlan, read: Mapping[int, Pull], already_corrected: bool | None = None) -> PowerStanding:
    """Where the day stands, from {number of the run: pull} of complete blocks. Pulls are corrected where their files tell the weather and that they are not.

    Where the sides differ in more than the change (`alike.unlike`), or only some figures are corrected, there is no verdict, and the result holds why.
    Raises InputError, one sentence, for pulls that share too few engine speeds.
    """
    groups = grouped(plan, read)
    values = mean_log_percent(read)
    unlike: list[alike.Unlike] = []
    refused = ""
    try:
        each_once(groups)
        two_engines(groups)
        factors = weathers.factors(groups, None, _STANDARD, already_corrected)
        each = {name: iter(factors.of[name]) for name in groups}
        values = {n: value + 100 * float(np.log(next(each[plan.order[n - 1]]))) for n, value in values.items()}
        base = plan.variants[0]
        for name in plan.variants[1:]:
            unlike += alike.unlike(base, groups[base], name, groups[name], air_corrected=factors.corrected)
    except InputError as error:
        refused = str(error)
    found = standing(plan, values)
    if not (unlike or refused):
        return PowerStanding(**vars(found))
    return PowerStanding(found.blocks, (), False, unlike=tuple(unlike), refused=refused)


def power_answered(
    plan: DayPlan, read: Mapping[int, Pull], found: Standing, already_corrected: bool | None = None
) -> DayComparison:
    """The pulls compared, with the verdicts and intervals of the plan's looks: a fixed-sample test would overstate the evidence, because the plan looks
    after every block. Raises InputError as `compare_pulls`.
    """
    result = compare_pulls(
        grouped(plan, read), plan.variants[0], order=[read[n].name for n in sorted(read)], delta_percent=plan.difference,
        already_corrected=already_corrected,
    )  # fmt: skip
    said = {one.name: one for one in result.said}
    gains = tuple(_looked(one, _sight(plan, found.sights, one), said[one.baseline], said[one.variant]) for one in result.gains)
    given = {**vars(result), "gains": gains, "proposed_order": ()}
    return DayComparison(**given, plan=plan, sights=found.sights, blocks=found.blocks, apart=found.apart)


def _sight(plan: DayPlan, sights: Sequence[Sight], gain: Gain) -> Sight | None:
    wanted = gain.baseline, gain.variant
    return next((one for one in sights if (plan.variants[one.first], plan.variants[one.second]) == wanted), None)


def _looked(gain: Gain, one: Sight | None, base: Said, variant: Said) -> Gain:
    """The gain as the plan's looks see it."""
    if one is None:  # no verdict is possible; the comparison of the pulls itself holds why
        return gain
    value, low, high = (float(100 * np.expm1(each / 100)) for each in (one.difference, one.low, one.high))
    cooler = base.fuel_degc - variant.fuel_degc
    no_band = np.full(len(gain.rpm), np.nan)
    return replace(
        gain, verdict=one.verdict, gain_percent=value, low_percent=low, high_percent=high, estimate=None, more=None,
        band_low_percent=no_band, band_high_percent=no_band, where=unknown(NOT_ASKED),
        mean_gain_kw=_alone(gain.mean_gain_kw), mean_gain_nm=_alone(gain.mean_gain_nm), peak_gain_kw=_alone(gain.peak_gain_kw),
        peak_gain_nm=_alone(gain.peak_gain_nm), gain_per_degc=None,
        allowed=share(cooler, low, same_mixture=gain.mixture == SEPARABLE) if gain.allowed is not None else None,
    )  # fmt: skip


def _alone(numbers: tuple[float, float, float]) -> tuple[float, float, float]:
    """The value without its interval, which is valid only for a number of pulls fixed beforehand."""
    return numbers[0], float("nan"), float("nan")
