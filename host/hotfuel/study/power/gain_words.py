"""A gain in power as sentences a customer understands."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from hotfuel.study.evidence import verdicts
from hotfuel.study.power import driven
from hotfuel.study.power.peaks import Peak, Said
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.study.power.gain import Gain


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign; what rounds to zero has none."""
    number = round(value, decimals)
    return f"{number:+.{decimals}f}" if number else f"{0:.{decimals}f}"


def headline(gain: "Gain", counts: tuple[int, int], band: tuple[float, float], delta: float, shown: Shown) -> str:
    """The answer: gain with its interval, in the reader's unit of power and in per cent, and what cannot be told apart from it."""
    name, base, word = gain.variant, gain.baseline, gain.verdict
    counted = f"{counts[0]} pull{'s' if counts[0] > 1 else ''} against {counts[1]}"
    average = f"on average from {round(band[0], -1):.0f} to {round(band[1], -1):.0f} rpm"
    size = f"{_amount(gain.mean_gain_kw[0], 'power', shown)} ({signed(gain.gain_percent)} %)"
    span = f"between {signed(gain.low_percent)} and {signed(gain.high_percent)} %"
    where = f" {gain.shape}" if gain.where.is_placed else ""
    if word == verdicts.DESCRIBED:
        return (
            f"{name} made {size} over {base} {average} in single pulls ({counted}): "
            "single pulls prove nothing, because two pulls of the same engine differ by as much."
        )
    if word == verdicts.NO_VERDICT:
        seen = f"{name} made {size} over {base} {average}, which proves nothing here"
        return f"{seen}: {unlike_words(gain.unlike)}" if gain.unlike else f"{seen}: {order_words(gain.order)}"
    if word in (verdicts.LOWER, verdicts.HIGHER):
        more = "more" if word == verdicts.HIGHER else "less"
        return f"{name} makes {more} power than {base}: {size} {average}, {span} ({counted}).{where}{doubts(gain)}"
    if word == verdicts.NO_DIFFERENCE:
        same = (
            f"{name} makes no difference worth having to power: {span} against {base} {average}, less than {delta:g} % either way"
        )
        return f"{same} ({counted}).{where}"
    tail = f"; {gain.more.words().replace('run', 'pull')} should decide" if gain.more else ""
    if where:
        return f"Whether {name} changes power {average} is undecided: {span} against {base} ({counted}){tail}.{where}"
    return f"Whether {name} changes power is undecided: {span} against {base} {average} ({counted}){tail}."


def doubts(gain: "Gain") -> str:
    """What a decided gain may owe to something else, as further sentences; "" for nothing."""
    return f"{_apart(gain)}{_beyond(gain)}"


def _apart(gain: "Gain") -> str:
    """What else may have made the gain, as far as the files tell."""
    if not gain.inseparable:
        return ""
    *some, last = gain.inseparable
    listed = f"{', '.join(some)} or {last}" if some else last
    return f" How much of it is {listed} cannot be told from these files."


def _beyond(gain: "Gain") -> str:
    if gain.allowed is None or not gain.allowed.beyond_percent > 0:
        return ""
    return (
        f" At least {gain.allowed.beyond_percent:.1f} % of it is beyond what fuel of that temperature can do: something else changed, so it is implausible "
        "as an effect of the fuel."
    )


def unlike_words(found: Sequence[object]) -> str:
    """What differed between the sides, as the end of a sentence and what to do."""
    told = "; ".join(str(getattr(one, "words", "")) for one in found)
    return f"{told}. Pull again with these alike on both sides."


def order_words(order: driven.Order) -> str:
    """Why this order gives no verdict, how large the trend was, and what to do instead."""
    if order.kind == driven.UNKNOWN:
        return "in which order the pulls were driven is not known, and a warming engine looks the same; name the order."
    known = np.isfinite(order.trend_percent)
    trend = (
        f" (the pulls of a side changed by {signed(order.trend_percent, 2)} % from one to the next, give or take {order.trend_half_percent:.2f})"
        if known
        else ""
    )
    why = {
        driven.AFTER: "all pulls of one side came before all of the other",
        driven.PAUSED: "the engine stood longer before one pull than between the others, begins soaked there, and that falls on one side",
    }.get(order.kind, "one side stood earlier in the order than the other")
    return f"{why}, and a drift from pull to pull looks the same{trend}. Drive both in turn, in a balanced order."


def speeds(one: Peak) -> str:
    """The engine speed of a peak, or the range of a flat one, to ten rpm."""
    return f"{_tens(one.rpm_low)} to {_tens(one.rpm_high)}" if one.is_flat else _tens(one.rpm)


def drift_sentence(order: driven.Order) -> str:
    """Which drift was taken out, and of what: the gains then differ from the differences of the sides' own figures."""
    return (
        f"From pull to pull power changed by {signed(order.trend_percent, 2)} % (give or take {order.trend_half_percent:.2f}): this drift is taken out of the "
        "gains, not of each side's own figures."
    )


def said_sentence(
    base: Said, variant: Said, power: tuple[float, float, float], torque: tuple[float, float, float], shown: Shown
) -> str:
    """What is said at the stand: peaks with their engine speeds, and the gain of the peak; powers in kW, torques in Nm."""

    def top(one: Peak, dimension: str) -> str:
        return f"{shown.text(one.value, dimension)} at {speeds(one)} rpm"

    def change(numbers: tuple[float, float, float], dimension: str) -> str:
        span = f" ({_amount(numbers[1], dimension, shown, unit=False)} to {_amount(numbers[2], dimension, shown, unit=False)})"
        return f"{_amount(numbers[0], dimension, shown)}{span if np.isfinite(numbers[1]) else ''}"

    each = [f"{one.name}: {top(one.power_kw, 'power')}, {top(one.torque_nm, 'torque')}" for one in (variant, base)]
    return f"At the peak, {'; '.join(each)}. That is {change(power, 'power')} and {change(torque, 'torque')}."


def _tens(rpm: float) -> str:
    return f"{round(rpm, -1):.0f}"


def _amount(si: float, dimension: str, shown: Shown, *, unit: bool = True) -> str:
    text = signed(float(shown.value(si, dimension)))
    return f"{text} {shown.unit(dimension)}" if unit else text


def beside_sentences(base: Said, variant: Said, mixture: str, shown: Shown) -> list[str]:
    """What the fuel, the intake air and the mixture were, where it is known."""
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
            if mixture == "separable from mixture"
            else f"the mixture shifted by {signed(shift)} %, and part of any gain is its"
        )
        lines.append(
            f"Lambda was {base.lambda_ratio:.3f} with {base.name} and {variant.lambda_ratio:.3f} with {variant.name}: {moved}."
        )
    return lines


def air_flow_sentence(percent: float) -> str:
    """What the air-flow columns say: the share of a gain that is more air."""
    return f"The engine took in {signed(percent)} % air: that share of the gain is charge density, the rest is something else."


def per_degree_sentence(per_degree: tuple[float, float, float], cooler_degc: float, shown: Shown) -> str:
    """Gain per degree of fuel temperature; per_degree: per °C."""
    gain, low, high = (value / shown.value(1.0, "temperature difference") for value in per_degree)
    sense = "cooler" if cooler_degc > 0 else "hotter"
    unit, cooler = shown.unit("temperature difference"), shown.text(abs(cooler_degc), "temperature difference")
    return f"With fuel {cooler} {sense} that is {signed(gain, 3)} % per {unit} cooler, between {signed(low, 3)} and {signed(high, 3)}."
