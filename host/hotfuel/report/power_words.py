"""A comparison of power in words: each gain's sentences, notes on the weather, the order of the pulls, and all of it for JSON."""

from dataclasses import dataclass

import numpy as np

from hotfuel.report import day_words, gain_words, shape_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.plan import Plan
from hotfuel.study.fixes.day_plan import DayPlan
from hotfuel.study.fixes.day_power import DayComparison, PowerStanding
from hotfuel.study.fixes.day_verdict import Standing
from hotfuel.study.power import driven, weathers
from hotfuel.study.power.gain import Gain
from hotfuel.study.power.power import PowerComparison
from hotfuel.study.power.remarks import Kind, Remark
from hotfuel.study.power.weathers import WeatherNote
from hotfuel.text import Size, counted, directed, first_upper
from hotfuel.units import Shown

_ORDER_BY = {
    driven.BY_ORDER_GIVEN: "the order given",
    driven.BY_TIMES: "the times in the files",
    driven.BY_TIMES_AND_POSITIONS: "the times in the files and the positions in them",
    driven.BY_RUNNING_NUMBERS: "the running numbers in the files",
    driven.BY_POSITIONS: "their positions in the file",
    driven.BY_NAMES: "the numbers in the names",
    driven.NOT_KNOWN: "",
}


def headline(gain: Gain) -> str:
    """One answer about power, as large as the others on a first page."""
    name = first_upper(gain.variant)
    if gain.verdict in (verdicts.LOWER, verdicts.HIGHER):
        more = "more" if gain.gain_percent > 0 else "less"
        near, far = sorted((abs(gain.low_percent), abs(gain.high_percent)))
        beyond = "; that is more than cooler fuel can do" if gain.implausible else ""
        return f"{name} made {abs(gain.gain_percent):.1f} % {more} power than {gain.baseline}, between {near:.1f} and {far:.1f} %{beyond}."
    if gain.verdict == verdicts.NO_DIFFERENCE:
        return f"{name} made no difference to power worth having against {gain.baseline}."
    if gain.verdict == verdicts.UNDECIDED and np.isfinite(gain.low_percent):
        ends = [
            directed(Size(abs(end), 1, "%"), "more" if end > 0 else "less", "no change")
            for end in (gain.low_percent, gain.high_percent)
        ]
        return f"Whether {gain.variant} changed power is undecided: anything from {ends[0]} to {ends[1]} fits these pulls."
    return f"Whether {gain.variant} changed power cannot be told from these pulls."


def finding(result: PowerComparison, shown: Shown) -> str:
    """Each variant's gain, for a customer."""
    return " ".join(first_upper(said(result, gain, shown).headline) for gain in result.gains)


@dataclass(frozen=True)
class Said:
    """One gain in sentences."""

    headline: str
    peaks: str
    rest: tuple[str, ...]

    def lines(self) -> list[str]:
        """All of them, in order."""
        return [self.headline, self.peaks, *self.rest]


def sentences(result: PowerComparison, gain: Gain, shown: Shown) -> list[str]:
    """One gain of `result`: the headline, the peaks, then everything else."""
    return said(result, gain, shown).lines()


def said(result: PowerComparison, gain: Gain, shown: Shown) -> Said:
    """One gain of `result`, the headline and the peaks apart from everything else."""
    told = {one.name: one for one in result.said}
    base, variant = told[gain.baseline], told[gain.variant]
    counts = {curve.name: curve.pulls for curve in result.curves}
    cooler_degc = base.fuel_degc - variant.fuel_degc
    tested = gain.verdict in verdicts.DECIDED or gain.verdict == verdicts.UNDECIDED
    sight = result.sight(gain) if isinstance(result, DayComparison) else None
    if isinstance(result, DayComparison) and sight is not None:
        headline = day_words.pair(result.plan, sight, result.blocks, shown)
        headline = f"{first_upper(headline)}{gain_words.doubts(gain) if gain.verdict in verdicts.DECIDED else ''}"
    else:
        headline = gain_words.headline(
            gain, (counts[variant.name], counts[base.name]), result.band_rpm, result.delta_percent, shown
        )
    peaks, lines = gain_words.peaks(base, variant, gain.peak_gain_kw, gain.peak_gain_nm, shown), []
    by_looks = sight is not None
    if tested and not by_looks and gain.drift_removed and np.isfinite(gain.order.trend_percent):
        lines.append(gain_words.drift(gain.order))
    if not tested and not by_looks:
        lines.append("Without a verdict the curve's shape is not judged.")
    elif not gain.where.is_placed:  # a part of the curve is named in the headline
        lines.append(shape_words.where(gain.where, shown))
    lines += gain_words.beside(base, variant, gain.mixture, shown)
    if gain.allowed is not None:
        lines.append(gain_words.allowed(gain.allowed, shown))
    elif not by_looks:
        lines.append("Without fuel temperatures on both sides the gain cannot be compared with what physics allows.")
    if not by_looks and np.isfinite(gain.air_flow_percent):
        lines.append(gain_words.air_flow(gain.air_flow_percent))
    if gain.gain_per_degc is not None and tested:
        lines.append(gain_words.per_degree(gain.gain_per_degc, cooler_degc, shown))
    elif gain.rate_withheld and tested:
        lines.append(gain_words.NO_RATE)
    return Said(headline, peaks, tuple(lines))


def standing(found: Standing, plan: DayPlan, shown: Shown) -> list[str]:
    """Where a test day of power stands: the verdict so far, or why there is none."""
    if not isinstance(found, PowerStanding) or not (found.unlike or found.refused):
        return day_words.standing(plan, found, shown)
    why = shape_words.unlike_all(found.unlike, shown) if found.unlike else f"{found.refused}."
    return [
        f"{found.blocks} of {counted(plan.last_block, 'block')} {'is' if found.blocks == 1 else 'are'} complete, and there is no verdict: {why}"
    ]


def order_by(result: PowerComparison) -> str:
    """What tells the order of the pulls; "" where it is not known."""
    if isinstance(result, DayComparison):
        plan = result.plan
        most = counted(plan.last_block, "block")
        return (
            f"the plan: {plan.difference:g} % asked beforehand, a look after every block, at most {most}, {result.blocks} driven"
        )
    return _ORDER_BY[result.order_by]


def read_from(result: PowerComparison, pull: str) -> tuple[str, ...]:
    """What was read from where in a pull's file, and what was left out or found."""
    return (*result.mapping[pull], *map(remark, result.remarks[pull]))


def remark(found: Remark) -> str:
    """One remark on a file of pulls."""
    if found.kind is Kind.NO_NUMBERS:
        return f"{counted(found.count, 'row')} without numbers left out"
    if found.kind is Kind.SHORT_RUNS:
        return f"{counted(found.count, 'run')} of fewer than {found.least} rows left out"
    if found.kind is Kind.DOWNWARD:
        return f"{counted(found.count, 'row')} of downward sweep left out"
    if found.kind is Kind.UNITS_FOUND:
        return f"units found from power = torque × speed: {found.words[0]} and {found.words[1]}"
    if found.kind is Kind.NO_UNIT:
        return f'"{found.words[0]}" not used, it has no unit (--unit {found.words[1]}=UNIT)'
    if found.kind is Kind.LONE_READING:
        where = ", ".join(f"{rpm:.0f}" for rpm in found.rpm)
        return f"a reading that stands alone above its neighbours left out at {where} rpm: no engine makes it"
    if found.kind is Kind.NO_PULL:
        return f"left out: {found.words[0]}"
    return "repeated header rows left out" if found.kind is Kind.HEADERS_AGAIN else "rows with a repeated engine speed averaged"


def method(gain: Gain) -> str | None:
    """How a gain's interval was worked out; None where there is none."""
    if gain.estimate is None:
        return None
    return f"{gain.estimate.method}{', drift over the order removed' if gain.drift_removed else ''}"


def cautions(result: PowerComparison) -> list[str]:
    """How the weather was dealt with, and what that weakens."""
    return [weather(one) for one in result.cautions]


def conditions(result: PowerComparison) -> list[str]:
    """Of the cautions those that only state a condition."""
    return [weather(one) for one in result.cautions if one.is_condition]


def weakens(result: PowerComparison) -> list[str]:
    """Of the cautions those that weaken the result; of a planned day first that runs of one variant differ far more than was assumed."""
    lines = [weather(one) for one in result.cautions if not one.is_condition]
    if isinstance(result, DayComparison) and result.apart:
        lines.insert(0, day_words.apart(result.apart, result.plan.spread, None))
    return lines


def weather(note: WeatherNote) -> str:
    """One note on the weather and the correction."""
    if note.kind == weathers.CORRECTED:
        return f"Power is corrected to {note.standard} by the weather {'given' if note.weather_given else 'in the files, pull by pull'}."
    if note.kind in (weathers.STATED, weathers.MARKED):
        twice = " The weather given was not applied a second time." if note.weather_given else ""
        who = "as stated" if note.kind == weathers.STATED else "as the files say"
        return f"The figures are corrected already, {who}: they are compared as they are.{twice}"
    if note.kind == weathers.SAME:
        return "The weather in the files was the same for all pulls, within 0.1 % of power: figures are compared as they are."
    if note.kind == weathers.OUTSIDE:
        return (
            "The weather is outside the 7 % for which the correction holds: absolute figures do not count; "
            "the comparison still holds, because both sides share it."
        )
    what = "The weather is known of some pulls only" if note.kind == weathers.PARTLY else "No weather was given"
    return f"{what}: figures are compared as measured, and a change in the weather between the sides would look like the change."


def plan(made: Plan, unit: str = "%") -> list[str]:
    """A plan of pulls: how many, in which order, and what to keep constant."""
    found = f"{made.runs_each} runs a side find a difference of {made.difference:g} {unit}"
    return [
        f"{found} nine times out of ten at this spread of {made.spread:g} {unit} from run to run."
        if made.chance == 0.9
        else f"{found} at a spread of {made.spread:g} {unit}, with a chance of {100 * made.chance:.0f} %.",
        f"Drive them in this order: {', '.join(made.order)}.",
        "Keep to the order whatever the first results look like, and let every run start at the same coolant and oil temperature.",
    ]


def as_dict(result: PowerComparison, shown: Shown) -> dict[str, object]:
    """Plain fields for JSON, with the sentences; units: those of the sentences."""
    gains = [
        {
            **gain.as_dict(),
            "method": method(gain),
            "shape": shape_words.where(gain.where, shown),
            "unlike": [{"what": one.what, "words": shape_words.unlike(one, shown)} for one in gain.unlike],
            "sentences": sentences(result, gain, shown),
        }
        for gain in result.gains
    ]
    return {
        **result.as_dict(),
        "mapping": {pull: read_from(result, pull) for pull in result.mapping},
        "gains": gains,
        "finding": finding(result, shown),
        "cautions": cautions(result),
        "order_by": order_by(result),
        "units": shown.system,
    }
