"""One variant's gain in power as sentences a customer understands, in the reader's units."""

import numpy as np

from hotfuel.report import more_runs, shape_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.power import driven
from hotfuel.study.power.expectation import Share
from hotfuel.study.power.gain import SEPARABLE, SPREAD_PERCENT, Gain, Interval
from hotfuel.study.power.peaks import Peak, Said, are_comparable
from hotfuel.text import counted, is_nothing, signed
from hotfuel.units import Shown


def headline(gain: Gain, counts: tuple[int, int], band: tuple[float, float], delta: float, shown: Shown) -> str:
    """The answer: the gain with its interval, in the reader's unit of power and in per cent, and what it cannot be told apart from.

    counts: pulls of the variant and of the baseline; band: rpm averaged over; delta: the smallest gain worth having, per cent.
    """
    name, base, word = gain.variant, gain.baseline, gain.verdict
    pulls = f"{counted(counts[0], 'pull')} against {counts[1]}"
    average = f"on average from {round(band[0], -1):.0f} to {round(band[1], -1):.0f} rpm"
    size = f"{_amount(gain.mean_gain_kw[0], 'power', shown)} ({signed(gain.gain_percent)} %)"
    made = f"{name} made {size} over {base}"
    if gain.mean_gain_kw[0] < 0:
        made = f"{name} made {shown.text(-gain.mean_gain_kw[0], 'power', 1)} less than {base} ({signed(gain.gain_percent)} %)"
    span = f"between {signed(gain.low_percent)} and {signed(gain.high_percent)} %"
    where = f" {shape_words.where(gain.where, shown)}" if gain.where.is_placed else ""
    if word == verdicts.DESCRIBED:
        return (
            f"{made} {average} in single pulls ({pulls}), and two pulls of the same engine can differ by as much. "
            f"{needed(gain, delta)}"
        )
    if word == verdicts.NO_VERDICT:
        seen = f"{made} {average}, but that may not be its doing"
        if gain.unlike:
            return f"{seen}: {shape_words.unlike_all(gain.unlike, shown)}"
        more = "" if gain.order.kind == driven.UNKNOWN else f" {needed(gain, delta)}"
        return f"{seen}: {order(gain.order)}{more}"
    if word in (verdicts.LOWER, verdicts.HIGHER):
        more = "more" if word == verdicts.HIGHER else "less"
        return f"{name} makes {more} power than {base}: {size} {average}, {span} ({pulls}).{where}{doubts(gain)}"
    if word == verdicts.NO_DIFFERENCE:
        same = (
            f"{name} makes no difference worth having to power: {span} against {base} {average}, less than {delta:g} % either way"
        )
        return f"{same} ({pulls}).{where}"
    tail = f"; {more_runs.words(gain.more, 'pull')} should decide" if gain.more else ""
    if where:
        return f"Whether {name} changes power {average} is undecided: {span} against {base} ({pulls}){tail}.{where}"
    return f"Whether {name} changes power is undecided: {span} against {base} {average} ({pulls}){tail}."


def needed(gain: Gain, delta: float) -> str:
    """How many pulls a side would tell a gain of this size from the spread of the pulls."""
    count = "more than 50" if gain.pulls_needed is None else f"about {gain.pulls_needed}"
    size = (
        "a difference as large as that"
        if abs(gain.gain_percent) > delta
        else f"a gain of {delta:g} %, the smallest worth having,"
    )
    spread = (
        "judged by how far these pulls of one side differ"
        if gain.estimate
        else f"if pulls of one side differ by {SPREAD_PERCENT:g} % (common practice, no source)"
    )
    return f"To tell {size} from chance takes {count} pulls a side, driven in turn, {spread}."


def doubts(gain: Gain) -> str:
    """What else may have made a decided gain, as further sentences; "" for nothing."""
    return f"{_apart(gain)}{_beyond(gain)}"


def _apart(gain: Gain) -> str:
    """What the files cannot tell apart from the change."""
    if not gain.inseparable:
        return ""
    *some, last = gain.inseparable
    named = f"{', '.join(some)} or {last}" if some else last
    return f" How much of it is {named} cannot be told from these files."


def _beyond(gain: Gain) -> str:
    if gain.allowed is None or not gain.allowed.beyond_percent > 0:
        return ""
    return (
        f" At least {gain.allowed.beyond_percent:.1f} % of it is beyond what fuel of that temperature can do: something else changed, so it is implausible "
        "as an effect of the fuel."
    )


def order(found: driven.Order) -> str:
    """Why this order gives no verdict, how large the trend was, and what to do instead."""
    if found.kind == driven.UNKNOWN:
        return "the order of the pulls is not known, and a warming engine looks the same; name the order."
    trend = (
        f" (the pulls of a side changed by {signed(found.trend_percent, 2)} % from one to the next, give or take {found.trend_half_percent:.2f})"
        if np.isfinite(found.trend_percent)
        else ""
    )
    why = {
        driven.AFTER: "all pulls of one side came before all of the other",
        driven.PAUSED: "the engine stood longer before one pull than between the others, was heat-soaked when it started again, and that falls on one side",
    }.get(found.kind, "one side stood earlier in the order than the other")
    return f"{why}, and a drift from pull to pull looks the same{trend}. Drive both in turn, in a balanced order."


def speeds(one: Peak) -> str:
    """The engine speed of a peak, or the range of a flat one, to ten rpm."""
    return f"{_tens(one.rpm_low)} to {_tens(one.rpm_high)}" if one.is_flat else _tens(one.rpm)


def drift(found: driven.Order) -> str:
    """Which drift was taken out: the gains then differ from the differences of the sides' own figures."""
    return (
        f"From pull to pull power changed by {signed(found.trend_percent, 2)} % (give or take {found.trend_half_percent:.2f}): this drift is taken out of the "
        "gains, not of each side's own figures."
    )


def peaks(base: Said, variant: Said, power_kw: Interval, torque_nm: Interval, shown: Shown) -> str:
    """The peaks with their engine speeds, and the gains of the peaks."""

    def top(one: Peak, dimension: str) -> str:
        return f"{shown.text(one.value, dimension)} at {speeds(one)} rpm"

    def change(numbers: Interval, dimension: str) -> str:
        span = f" ({_amount(numbers[1], dimension, shown, unit=False)} to {_amount(numbers[2], dimension, shown, unit=False)})"
        return f"{_amount(numbers[0], dimension, shown)}{span if np.isfinite(numbers[1]) else ''}"

    each = [f"{one.name}: {top(one.power_kw, 'power')}, {top(one.torque_nm, 'torque')}" for one in (variant, base)]
    known = [
        change(numbers, dimension)
        for numbers, dimension in ((power_kw, "power"), (torque_nm, "torque"))
        if np.isfinite(numbers[0])
    ]
    said = f"At the peak, {'; '.join(each)}."
    if known:
        said += f" That is {' and '.join(known)}."
    for word, key in (("power", "power_kw"), ("torque", "torque_nm")):
        one, other = (getattr(side, key) for side in (variant, base))
        if not are_comparable(one, other):
            cut = " and ".join(side.name for side in (variant, base) if getattr(side, key).is_cut_off)
            said += (
                f" The peaks of {word} are not compared: pulls of {cut} end or begin where {word} is highest, and others cover more speeds. "
                "Compare the means over the speeds that all cover."
            )
    return said


def _tens(rpm: float) -> str:
    return f"{round(rpm, -1):.0f}"


def _amount(si: float, dimension: str, shown: Shown, *, unit: bool = True) -> str:
    text = signed(float(shown.value(si, dimension)))
    return f"{text} {shown.unit(dimension)}" if unit else text


def beside(base: Said, variant: Said, mixture: str, shown: Shown) -> list[str]:
    """The fuel, the intake air and the mixture of both sides, where they are known."""
    lines = []
    both = [
        f"{label} {shown.text(getattr(variant, key), 'temperature')} against {shown.text(getattr(base, key), 'temperature')}"
        for label, key in (("fuel", "fuel_degc"), ("intake air", "intake_degc"))
        if np.isfinite([getattr(variant, key), getattr(base, key)]).all()
    ]
    if both:
        lines.append(f"With {variant.name}: {', '.join(both)}.")
    if np.isfinite([base.margin_degc, variant.margin_degc]).all():
        room = [signed(float(shown.value(one.margin_degc, "temperature difference"))) for one in (variant, base)]
        unit = shown.unit("temperature difference")
        lines.append(
            f"The smallest margin to boiling there was {room[0]} {unit} with {variant.name} and {room[1]} {unit} with {base.name}."
        )
    if np.isfinite([base.lambda_ratio, variant.lambda_ratio]).all():
        shift = 100 * (variant.lambda_ratio / base.lambda_ratio - 1)
        moved = (
            "the mixture stayed the same within 1 %"
            if mixture == SEPARABLE
            else f"the mixture shifted by {signed(shift)} %, and part of any gain comes from that"
        )
        lines.append(
            f"Lambda was {base.lambda_ratio:.3f} with {base.name} and {variant.lambda_ratio:.3f} with {variant.name}: {moved}."
        )
    return lines


def allowed(found: Share, shown: Shown) -> str:
    """What physics allows of a gain, and by which parts."""
    fuel = shown.text(abs(found.fuel_cooler_degc), "temperature difference")
    half = shown.text(found.fuel_half_degc, "temperature difference")
    sense = "cooler" if found.fuel_cooler_degc > 0 else "hotter"
    low, high = found.allowed_percent
    parts = f"charge cooling {found.charge_percent[0]:+.1f} to {found.charge_percent[1]:+.1f} %"
    if found.jet_percent != (0.0, 0.0):
        parts += f", denser fuel through a fixed jet {found.jet_percent[0]:+.1f} to {found.jet_percent[1]:+.1f} % by the mixture before"
    else:
        parts += "; the mixture was measured and stayed the same, so denser fuel adds nothing"
    told = f"{fuel} ({half} either way) {sense}" if not is_nothing(fuel) else f"as hot ({half} either way)"
    return f"Fuel {told} can do between {low:+.1f} and {high:+.1f} % by physics ({parts})."


def air_flow(percent: float) -> str:
    """The share of a gain that is more air, by the air-flow columns."""
    return f"The engine took in {signed(percent)} % air: that share of the gain is charge density, the rest is something else."


def per_degree(per_degc: Interval, cooler_degc: float, shown: Shown) -> str:
    """The gain per degree of fuel temperature; per_degc: per cent per °C."""
    gain, low, high = (value / shown.value(1.0, "temperature difference") for value in per_degc)
    sense = "cooler" if cooler_degc > 0 else "hotter"
    unit, cooler = shown.unit("temperature difference"), shown.text(abs(cooler_degc), "temperature difference")
    return (
        f"With fuel {cooler} {sense} that is {signed(gain, 3)} % per {unit} cooler, between {signed(low, 3)} and {signed(high, 3)}, "
        "provided that nothing but the fuel changed."
    )


NO_RATE = (
    "No gain per degree is given: the fuel alone cannot have done this, and a rate would count all of it as the fuel's. Find what else changed (mixture, "
    "spark, the engine's temperature at the start), make it alike on both sides, and pull again."
)
