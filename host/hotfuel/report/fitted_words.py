"""What was fitted, and what it did not cure: where the fuel is beyond its limit all the same."""

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.study.fixes.answers import Comparison, StillBeyond
from hotfuel.text import first_upper, is_nothing, listed
from hotfuel.units import Shown

_TOLD = 3  # places of a variant, the furthest beyond first


def still(result: Comparison, shown: Shown, plain: bool = False, boiling: Collection[str] = ()) -> list[str]:
    """Of each variant that helped where its fuel was beyond the limit all the same, a sentence each. plain: as in `words.quantity`. boiling: places of
    which that was said already."""
    said = []
    for variant, found in _by_variant(result.still_beyond).items():
        left = [one for one in found if one.place not in boiling][:_TOLD]
        if left:
            told = listed(
                [f"at the {place_words(one.place)} ({words.phase(one.phase, plain)}, {_by(one, shown)})" for one in left]
            )
            said.append(f"But with {variant}, the fuel was still beyond its limit {told}.")
    return said


def next_step(found: Sequence[StillBeyond]) -> str:
    """What to do about it."""
    places = list(dict.fromkeys(one.place for one in found))[:_TOLD]
    return f"What helped is not enough: the fuel was still beyond its limit {listed([f'at the {place_words(place)}' for place in places])}; treat that next."


def together(fitted: Mapping[str, Sequence[str]]) -> list[str]:
    """Of each variant with several parts that they were measured together."""
    return [f"{first_upper(name)} is {listed(parts)}, measured together." for name, parts in fitted.items() if len(parts) > 1]


def _by(one: StillBeyond, shown: Shown) -> str:
    if np.isnan(one.margin_degc):
        return "the pressure there left no limit"
    size = words.rough(shown, abs(one.margin_degc), 1.0)
    return "by a little" if is_nothing(size) else f"by up to {size}"


def _by_variant(found: Sequence[StillBeyond]) -> dict[str, list[StillBeyond]]:
    groups: dict[str, list[StillBeyond]] = {}
    for one in found:
        groups.setdefault(one.variant, []).append(one)
    return groups
