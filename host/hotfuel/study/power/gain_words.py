"""A gain in power as sentences a customer understands."""

from collections.abc import Sequence

from hotfuel.study.evidence import verdicts
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
