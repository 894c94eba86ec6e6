"""Where the fuel takes up its heat, in one sentence."""

import numpy as np

from hotfuel.places import place_words
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.heat import DRIVING, MOST_DOUBT, PULLING, STANDING_STILL, STOPPED, HeatBudget
from hotfuel.units import Shown


def percent(share: Interval) -> str:
    """A share as a person reads it."""
    if share.half > MOST_DOUBT * abs(share.middle):
        return f"at most {max(share.greatest, 0.0):.0%}".replace("%", " %")
    return f"{share.middle:.0%} ({max(share.least, 0.0):.0%} to {share.greatest:.0%})".replace("%", " %")


def _section(before: str, place: str) -> str:
    """Where a section lies."""
    return f"between {place_words(before)} and {place_words(place)}"


def sentence(budget: HeatBudget, shown: Shown) -> str:
    """The budget in one sentence."""
    said = []
    for phase in (STANDING_STILL, DRIVING, PULLING):
        own = [part for part in budget.parts if part.phase == phase]
        told = [part for part in own if part.share_told]
        most = max(told, key=lambda part: part.share.middle, default=None)
        if most is not None and most.share.middle > 1 / (len(own) + 1) and most.share.half <= MOST_DOUBT * most.share.middle:
            said.append(f"while {phase} {percent(most.share)} of the heat enters {_section(most.before, most.place)}")
        elif phase == PULLING and any(np.isfinite(part.watts.middle) for part in budget.parts):
            continue
        elif own and not np.isfinite(own[0].share.middle):
            warmest = max(own, key=lambda part: part.degc.middle)
            said.append(
                f"while {phase} the fuel warms most {_section(warmest.before, warmest.place)} "
                f"({shown.text(warmest.degc.middle, 'temperature difference')} ±{shown.text(warmest.degc.half, 'temperature difference')})"
            )
        elif own:
            said.append(f"while {phase} it cannot be told here where most of the heat enters")
    stopped = [part for part in budget.parts if part.phase == STOPPED]
    if stopped:
        most = max(stopped, key=lambda part: part.degc.middle)
        said.append(
            f"after the stop {place_words(most.place)} warms most, by {shown.no_finer(most.degc.middle, 'temperature difference', most.degc.half)}"
        )
    for way in budget.ways:
        if way.told:
            said.append(
                f"{percent(way.metal)} of what enters {_section(way.before, way.place)} comes from hot metal, the rest from the air"
            )
            break
    if np.isfinite(budget.back_share.middle):
        said.append(f"the return brings {percent(budget.back_share)} of all of it back into the tank")
    text = "; ".join(said)
    return f"{text[0].upper()}{text[1:]}." if text else "Where the fuel takes up its heat cannot be told here."
