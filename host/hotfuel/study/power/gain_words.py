"""A gain in power as sentences a customer understands."""

from collections.abc import Sequence

import numpy as np

from hotfuel.study.evidence import verdicts
from hotfuel.study.power import driven
from hotfuel.study.power.peaks import Peak, Said
from hotfuel.units import Shown


def gain_sentence(
    name: str,
    base: str,
    word: str,
    numbers: tuple[float, float, float],
    counts: tuple[int, int],
    delta: float,
    more: verdicts.MoreRuns | None,
    implausible: bool,
) -> str:
    """The finding: gain with its interval, per cent."""
    gain, low, high = numbers
    counted = f"{counts[0]} pull{'s' if counts[0] > 1 else ''} against {counts[1]}"
    span = f"between {low:+.1f} and {high:+.1f} %"
    if word == verdicts.DESCRIBED:
        return (
            f"{name} made {gain:+.1f} % power over {base} in single pulls ({counted}): "
            "single pulls prove nothing, because two pulls of the same engine differ by as much."
        )
    if word in (verdicts.LOWER, verdicts.HIGHER):
        beyond = (
            " That is more than cooler fuel can do: something else changed, so it is implausible as an effect of the fuel."
            if implausible
            else ""
        )
        return f"{name} makes {'more' if gain > 0 else 'less'} power than {base}: {gain:+.1f} %, {span} ({counted}).{beyond}"
    if word == verdicts.NO_DIFFERENCE:
        return f"{name} makes no difference worth having to power: {span} against {base}, less than {delta:g} % either way ({counted})."
    tail = f"; {more.words().replace('run', 'pull')} should decide" if more else ""
    return f"Whether {name} changes power is undecided: {span} against {base} ({counted}){tail}."


def order_sentence(name: str, base: str, numbers: tuple[float, float, float], order: driven.Order) -> str:
    """Why this order gives no verdict, how large the trend was, and what to do instead."""
    seen = f"{name} made {numbers[0]:+.1f} % power over {base}, which proves nothing here"
    if order.kind == driven.UNKNOWN:
        return f"{seen}: in which order the pulls were driven is not known, and a warming engine looks the same; name it with --order."
    known = np.isfinite(order.trend_percent)
    trend = (
        f" (the pulls of a side changed by {order.trend_percent:+.2f} % from one to the next, give or take {order.trend_half_percent:.2f})"
        if known
        else ""
    )
    why = (
        "all pulls of one side came before all of the other"
        if order.kind == driven.AFTER
        else "one side stood earlier in the order than the other"
    )
    return f"{seen}: {why}, and a drift from pull to pull looks the same{trend}. Drive both in turn, in a balanced order."


def said_sentence(
    base: Said, variant: Said, power: tuple[float, float, float], torque: tuple[float, float, float], shown: Shown
) -> str:
    """What is said at the stand: peaks with their engine speeds, and the gain of the peak; powers in kW, torques in Nm."""

    def top(one: Peak, dimension: str) -> str:
        speed = f"{one.rpm_low:.0f} to {one.rpm_high:.0f} rpm" if one.is_flat else f"{round(one.rpm, -1):.0f} rpm"
        return f"{shown.text(one.value, dimension)} at {speed}"

    def change(numbers: tuple[float, float, float], dimension: str) -> str:
        value, low, high = (shown.value(number, dimension) for number in numbers)
        span = f" ({low:+.1f} to {high:+.1f})" if np.isfinite(low) else ""
        return f"{value:+.1f} {shown.unit(dimension)}{span}"

    each = [f"{one.name}: {top(one.power_kw, 'power')}, {top(one.torque_nm, 'torque')}" for one in (base, variant)]
    return f"At the peak, {'; '.join(each)}. That is {change(power, 'power')} and {change(torque, 'torque')}."


def mixture_sentence(word: str, base: str, name: str, means: Sequence[float]) -> str:
    """What can be said of the mixture; means are the sides' lambda."""
    if word == "not separable from mixture":
        return (
            "Without lambda on both sides a gain is not separable from mixture: "
            "cooler fuel is denser, so a fixed jet runs richer, which alone can change power."
        )
    if word == "mixture shifted":
        return (
            f"Lambda was {means[0]:.3f} with {base} and {means[1]:.3f} with {name}: the mixture shifted by {100 * (means[1] / means[0] - 1):+.1f} %, "
            "and part of any gain is its."
        )
    return f"Lambda was {means[0]:.3f} with {base} and {means[1]:.3f} with {name}: the mixture stayed the same within 1 %."


def air_flow_sentence(percent: float) -> str:
    """What the air-flow columns say: the share of a gain that is more air."""
    return f"The engine took in {percent:+.1f} % air: that share of the gain is charge density, the rest is something else."


def per_degree_sentence(per_degree: tuple[float, float, float], cooler_degc: float, shown: Shown) -> str:
    """Gain per degree of fuel temperature; per_degree: per °C."""
    gain, low, high = (value / shown.value(1.0, "temperature difference") for value in per_degree)
    sense = "cooler" if cooler_degc > 0 else "hotter"
    unit, cooler = shown.unit("temperature difference"), shown.text(abs(cooler_degc), "temperature difference")
    return f"With fuel {cooler} {sense} that is {gain:+.3f} % per {unit} cooler, between {low:+.3f} and {high:+.3f}."
