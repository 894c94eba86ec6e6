"""What came of a forecast, and what one's own history of fixes says, in sentences."""

from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.study.fixes.came import SAID_LOG_U, SIZED, Came
from hotfuel.study.line.draws import Own
from hotfuel.text import directed
from hotfuel.units import COVERAGE_95, Shown


def sentences(one: Came, shown: Shown) -> list[str]:
    """What the forecast had wrong, and how much of the fix came."""
    missed = sorted((o for o in one.outcomes if o.miss_degc), key=lambda o: -abs(o.miss_degc))
    count = f"{len(one.outcomes) - len(missed)} of {len(one.outcomes)} ranges"
    lines = []
    if not missed:
        lines.append(f"What came with {one.change} lies within the forecast of {one.made}, at every place and phase ({count}).")
    else:
        worst = missed[0]
        told = worst.told
        way = "hotter" if worst.miss_degc > 0 else "cooler"
        off = shown.text(abs(worst.miss_degc), "temperature difference", 0)
        least, greatest = (shown.text(x, "temperature", 0) for x in (told.told.least, told.told.greatest))
        lines.append(
            f"The forecast of {one.made} for {one.change} held in {count}. It was wrong most at the {place_words(told.place)} ({told.phase}): "
            f"{shown.text(worst.came_degc, 'temperature', 0)} came, {least.split()[0]} to {greatest} were forecast, "
            f"{directed(off, way, f'a little {way}')} than its range and the doubt of what came allow."
        )
    if one.log_u <= SAID_LOG_U:
        size, low, high = (float(np.exp(one.log_factor + k * one.log_u)) for k in (0.0, -COVERAGE_95, COVERAGE_95))
        lines.append(
            f"Of the {one.kinds[0]} that the forecast reckoned with, {size:.1f} times as much came ({low:.1f} to {high:.1f})."
        )
    elif len(one.kinds) == 1 and one.kinds[0] in SIZED:
        lines.append(f"How much of the {one.kinds[0]} came cannot be told from these two sessions.")
    return lines


def history(own: Mapping[str, Own], kinds: Sequence[str]) -> list[str]:
    """A sentence for each kind that has a history and is asked for: "Insulation: from 4 of your own fixes, weight 0.6: ..."."""
    return [
        f"{kind[0].upper()}{kind[1:]}: from {one.fixes} of your own {'fixes' if one.fixes > 1 else 'fix'}, weight {one.weight:.1f}: "
        f"{one.middle:.1f} times what is usual."
        for kind, one in own.items()
        if kind in kinds
    ]
