"""Where the fuel takes up its heat, in one sentence."""

from collections.abc import Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.heat import DRIVING, MOST_DOUBT, PULLING, STANDING_STILL, STOPPED, HeatBudget, Part, is_told
from hotfuel.text import first_upper, minus
from hotfuel.units import Shown

UNTOLD = "cannot be told here"
_ALL = 0.995  # a share that rounds to 100 %


def percent(share: Interval) -> str:
    """A share as a person reads it."""
    if share.half > MOST_DOUBT * abs(share.middle):
        return f"at most {min(max(share.greatest, 0.0), 1.0):.0%}".replace("%", " %")
    if share.least > _ALL:
        return "all"
    if share.greatest > _ALL:
        return f"{max(share.least, 0.0):.0%} or more".replace("%", " %")
    return f"{share.middle:.0%} ({max(share.least, 0.0):.0%} to {share.greatest:.0%})".replace("%", " %")


def taken_up(watts: Interval) -> str:
    """Heat that the fuel takes up, least to greatest: "16 to 89 W", "takes out 1 to 34 W", "cannot be told here (between −4 and 30 W)"."""
    if watts.greatest < 0:
        return f"takes out {_watts(-watts.greatest)} to {_watts(-watts.least)} W"
    least, greatest = _watts(watts.least), _watts(watts.greatest)
    return f"{least} to {greatest} W" if is_told(watts) else f"{UNTOLD} (between {least} and {greatest} W)"


def _watts(value: float) -> str:
    """Whole watts, tenths below one."""
    return minus(f"{value:z.1f}" if 0.05 <= abs(value) < 0.95 else f"{value:z.0f}")


def _section(before: str, place: str) -> str:
    """Where a section lies."""
    return f"between {place_words(before)} and {place_words(place)}"


def _only_one(parts: Sequence[Part]) -> Part | None:
    """The only section that surely warms the fuel, where every other one rather cools it; None where there is none, or where one is not told."""
    known = [part for part in parts if np.isfinite(part.watts.middle)]
    warm, others = ([part for part in known if part.warms == warms] for warms in (True, False))
    one_answer = len(warm) == 1 and bool(others) and all(part.degc.middle < 0 for part in others)
    return warm[0] if one_answer else None


def _taken_out(parts: Sequence[Part]) -> str:
    out = [part for part in parts if part.cools and np.isfinite(part.watts.middle)]
    return "".join(
        f", and {_section(part.before, part.place)} {_watts(-part.watts.greatest)} to {_watts(-part.watts.least)} W are taken out"
        for part in out
    )


def sentence(budget: HeatBudget, shown: Shown) -> str:
    """The budget in one sentence."""
    said = []
    for phase in (STANDING_STILL, DRIVING, PULLING):
        own = [part for part in budget.parts if part.phase == phase]
        told = [part for part in own if part.share_told]
        most = max(told, key=lambda part: part.share.middle, default=None)
        only = _only_one(own)
        if only is not None:
            heat = "all of the heat that the fuel takes up" if only.share.least > _ALL else "the heat that can be told here"
            said.append(f"while {phase}, {heat} enters {_section(only.before, only.place)}{_taken_out(own)}")
        elif most is not None and most.share.middle > 1 / (len(own) + 1) and most.share.half <= MOST_DOUBT * most.share.middle:
            said.append(
                f"while {phase}, {percent(most.share)} of the heat enters {_section(most.before, most.place)}{_taken_out(own)}"
            )
        elif phase == PULLING and any(np.isfinite(part.watts.middle) for part in budget.parts):
            continue
        elif own and not np.isfinite(own[0].share.middle):
            known = [part for part in own if np.isfinite(part.degc.middle)]
            if not known:
                continue
            warmest = max(known, key=lambda part: part.degc.middle)
            said.append(
                f"while {phase}, the fuel warms most {_section(warmest.before, warmest.place)} "
                f"({shown.text(warmest.degc.middle, 'temperature difference')} ±{shown.text(warmest.degc.half, 'temperature difference')})"
            )
        elif own:
            said.append(f"while {phase}, these readings do not show where most of the heat enters")
    stopped = [part for part in budget.parts if part.phase == STOPPED and np.isfinite(part.degc.middle)]
    if stopped:
        most = max(stopped, key=lambda part: part.degc.middle)
        said.append(
            f"after the stop the {place_words(most.place)} warms most, by {shown.no_finer(most.degc.middle, 'temperature difference', most.degc.half)}"
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
    return f"{first_upper(text)}." if text else "Where the fuel takes up its heat cannot be told here."
