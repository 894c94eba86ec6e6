"""In words: where on the curve a gain in power lies, and what else differed between two sides of pulls."""

from collections.abc import Sequence

from hotfuel.study.power import alike, shape
from hotfuel.study.power.alike import Unlike
from hotfuel.study.power.shape import Shape
from hotfuel.text import signed
from hotfuel.units import Shown

_WHERE = ("low down", "in the middle", "up top")
_STARTED = {alike.COOLANT: "coolant", alike.OIL: "oil", alike.INTAKE: "intake air"}


def where(found: Shape, shown: Shown) -> str:
    """Where on the curve the gain lies, as one sentence."""
    word = "gain" if found.sign > 0 else "loss"
    unit = shown.unit("power")
    percent = _thirds(found.in_percent)
    if found.kind == shape.NO_BAND:
        return "A single pull on a side gives no band for the curve, so its shape is not judged."
    if found.kind == shape.NOT_ASKED:
        return "The plan asks for the mean over these engine speeds: the curve's shape is not judged."
    if found.kind == shape.CROSSING:
        words = "a gain low down and a loss up top" if found.sign > 0 else "a loss low down and a gain up top"
        return f"The curves cross near {round(found.low_rpm, -1):.0f} rpm: {words}."
    if found.kind == shape.NOTHING:
        return "No part of the curve stands out from the spread of the pulls."
    if found.kind == shape.THROUGHOUT:
        return f"The {word} is over the whole range: no part of it has more per cent than the rest by as much as the pulls could tell, or a quarter of it."
    if found.kind == shape.SPLIT:
        return f"The {word} is over the whole range: larger {percent} in per cent, {_thirds(found.in_power)} in {unit}."
    if found.kind == shape.SAME_POWER:
        return f"The {word} is about the same number of {unit} throughout, which is more per cent {percent}, where the engine makes less."
    biggest = max(found.more_by_both, key=lambda i: found.sign * found.more_percent[i])
    near, far = sorted((abs(found.low_percent[biggest]), abs(found.high_percent[biggest])))
    return (
        f"It is a {word} {_thirds(found.more_by_both)} ({found.low_rpm:.0f} to {found.high_rpm:.0f} rpm): there {abs(found.more_percent[biggest]):.1f} % "
        f"more than over the rest of the curve, between {near:.1f} and {far:.1f} %."
    )


def _thirds(which: Sequence[int]) -> str:
    return " and ".join(_WHERE[i] for i in which)


def unlike(one: Unlike, shown: Shown) -> str:
    """One thing that differed, as the end of a sentence: "the gear was 3 with before and 4 with cooler"."""
    base, name = one.base, one.variant
    if one.measured == alike.GEAR_ENGAGED:
        first, second = (" and ".join(f"{gear:g}" for gear in side) for side in one.values)
        return f"the gear was {first} with {base} and {second} with {name}"
    if one.measured == alike.SMOOTHING_STATED:
        first, second = (" and ".join(side) for side in one.stated)
        return f'the files of {base} say "{first}", those of {name} "{second}"'
    (first_value,), (second_value,) = one.values
    if one.measured == alike.RPM_PER_SPEED:
        return f"engine speed over road speed was {signed(100 * (second_value / first_value - 1), 0)} % with {name}: another gear or slip"
    if one.measured == alike.SWEEP_RATE:
        return f"the engine swept {first_value:.0f} rpm a second with {base} and {second_value:.0f} with {name}"
    if one.measured == alike.ROUGHNESS_RATIO:
        low, high = sorted((first_value, second_value))
        more = base if first_value > second_value else name
        return f"the curves of {more} are {min(high / max(low, 1e-9), 99):.0f} times rougher than the others': they were smoothed differently"
    first, second = (shown.text(value, "temperature", 0) for value in (first_value, second_value))
    return f"the {_STARTED[one.measured]} began at {first} with {base} and {second} with {name}"


def unlike_all(found: Sequence[Unlike], shown: Shown) -> str:
    """Everything that differed, as the end of a sentence, and what to do."""
    return f"{'; '.join(unlike(one, shown) for one in found)}. Pull again with these alike on both sides."
