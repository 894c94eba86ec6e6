"""What came of a forecast, and what one's own history of fixes says, in sentences."""

from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.session.folder import FORECASTS
from hotfuel.study.fixes.came import HELD, MISSED, OTHER_FLOW, OTHER_PULLS, SAID_LOG_U, SIZED, UNMOVED, UNTOLD, Came
from hotfuel.study.line.draws import Interval, Own
from hotfuel.study.line.heat import PULLING, STANDING_STILL, STOPPED
from hotfuel.text import directed, first_upper, minus
from hotfuel.units import COVERAGE_95, Shown, expanded

_MISSING = {STOPPED: "no hot stop as long as the one forecast", PULLING: "no full throttle", STANDING_STILL: "no idling"}


DAMAGED = f"{FORECASTS} is damaged and was left out; the recording itself does not depend on it."


def sentences(one: Came, shown: Shown) -> list[str]:
    """Whether the room to boiling came, what the forecast had wrong, what the comparison cannot show, and how much of the fix came."""
    return [*first(one, shown), *_size(one)]


def first(one: Came, shown: Shown) -> list[str]:
    """The sentences that belong on a first page: the room, the verdict, and what makes it weak."""
    return [*_room(one, shown), _verdict(one, shown), *_cautions(one)]


def _room(one: Came, shown: Shown) -> list[str]:
    if one.room is None:
        return []
    told, room = one.room.told, "least room to boiling"
    forecast = (
        f"The {room} with {one.change} was forecast at {margins(told.told, shown)} ({place_words(told.place)}{_in(told.phase)})"
    )
    if not np.isfinite(one.room.came_degc):
        return [f"{forecast}; what came cannot be told from this drive."]
    half = shown.text(expanded(one.room.came_u_degc), "temperature difference", 0)
    beyond = {
        MISSED: f", {'more' if one.room.miss_degc > 0 else 'less'} than forecast",
        UNTOLD: ", too uncertain to tell whether it came true",
        UNMOVED: ", where no change was forecast",
    }
    return [
        f"{forecast} and came at {margin(one.room.came_degc, shown)} ±{half} ({place_words(one.room_place)}){beyond.get(one.room.held, '')}."
    ]


def margin(degc: float, shown: Shown) -> str:
    """A margin in whole degrees: "+12 °F", "−4 °F"."""
    return f"{_whole(degc, shown)} {shown.unit('temperature difference')}"


def margins(told: Interval, shown: Shown) -> str:
    """A forecast of a margin: "−4 to +12 °F"."""
    least, greatest = _whole(told.least, shown), margin(told.greatest, shown)
    return greatest if least == _whole(told.greatest, shown) else f"{least} to {greatest}"


def _whole(degc: float, shown: Shown) -> str:
    size = shown.text(degc, "temperature difference", 0)
    return f"+{size.digits}" if size.value > 0 else minus(size.digits)


def _in(phase: str) -> str:
    return f", {phase}" if phase else ""


def _verdict(one: Came, shown: Shown) -> str:
    missed = sorted((o for o in one.outcomes if o.held == MISSED), key=lambda o: -abs(o.miss_degc))
    held, untold = one.counted(HELD), one.counted(UNTOLD)
    of_all = held + len(missed)
    count = f"{held} of {of_all} range{'s' * (of_all != 1)} that the fix moves"
    more = f"; in {untold} more it cannot be told" if untold else ""
    if not of_all:
        return (
            f"Whether the forecast of {one.made} for {one.change} came true cannot be told: at every place and phase the uncertainty of what came is as large "
            "as the change that was forecast."
        )
    if not missed:
        way = {1: ", but the change was larger than it expected", -1: ", but the change was smaller than it expected", 0: ""}[
            _off(one)
        ]
        wide = "the wide range of " if way else ""
        return f"What came with {one.change} lies within {wide}the forecast of {one.made} in {count}{more}{way}."
    worst = missed[0]
    told = worst.told
    way = "hotter" if worst.miss_degc > 0 else "cooler"
    off = shown.text(abs(worst.miss_degc), "temperature difference", 0)
    least, greatest = (shown.text(x, "temperature", 0) for x in (told.told.least, told.told.greatest))
    return (
        f"The forecast of {one.made} for {one.change} held in {count}{more}. It was wrong most at the {place_words(told.place)} ({told.phase}): "
        f"{shown.text(worst.came_degc, 'temperature', 0)} came, {least.digits} to {greatest} were forecast, "
        f"{directed(off, way, f'a little {way}')} than its range and the uncertainty of what came allow."
    )


def _cautions(one: Came) -> list[str]:
    said = []
    if one.missing:
        named = " and ".join(_MISSING.get(phase, f"no {phase}") for phase in one.missing)
        said.append(f"The drive with the fix has {named}: what was forecast of that is not tested.")
    if one.other_drive:
        flow = (
            f"{one.flow_ratio:.1f} times the fuel flow while driving" if abs(np.log(one.flow_ratio)) > np.log(OTHER_FLOW) else ""
        )
        pulls = f"{abs(one.pulls_more):.0%} {'more' if one.pulls_more > 0 else 'less'} of its time at full throttle".replace(
            "%", " %"
        )
        what = " and ".join(part for part in (flow, pulls if abs(one.pulls_more) > OTHER_PULLS else "") if part)
        said.append(
            f"The two drives are not of one kind ({what} in the drive with the fix): part of what came is the drive, not the fix."
        )
    return said


def _off(one: Came) -> int:
    """Whether surely more (1) or less (-1) of the fix came than was reckoned with."""
    if not one.log_u <= SAID_LOG_U:
        return 0
    return int(np.sign(one.log_factor)) if abs(one.log_factor) > COVERAGE_95 * one.log_u else 0


def _size(one: Came) -> list[str]:
    if one.log_u <= SAID_LOG_U:
        size, low, high = (float(np.exp(one.log_factor + k * one.log_u)) for k in (0.0, -COVERAGE_95, COVERAGE_95))
        return [f"Of the {one.kinds[0]} that the forecast expected, {size:.1f} times as much came ({low:.1f} to {high:.1f})."]
    if len(one.kinds) == 1 and one.kinds[0] in SIZED:
        return [f"How much of the {one.kinds[0]} came cannot be told from these two sessions."]
    return []


def history(own: Mapping[str, Own], kinds: Sequence[str]) -> list[str]:
    """A sentence for each kind that has a history and is asked for: "Insulation: from 4 of your own fixes, weight 0.6: ..."."""
    return [
        f"{first_upper(kind)}: from {one.fixes} of your own {'fixes' if one.fixes > 1 else 'fix'}, weight {one.weight:.1f}: "
        f"{one.middle:.1f} times what is usual."
        for kind, one in own.items()
        if kind in kinds
    ]
