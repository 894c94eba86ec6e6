"""What to try first, in sentences: the fixes by groups, and those whose effect is unknown."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from hotfuel.fuel import Fuel
from hotfuel.places import place_words
from hotfuel.report.unknown_words import named
from hotfuel.session import Session
from hotfuel.study.fixes.present import VENTS, Present
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.first import ICE_KG, WORTH_DEGC, Fix, Tried, Which, helps
from hotfuel.study.line.forecast import Forecast
from hotfuel.text import directed, first_upper, is_nothing, listed
from hotfuel.units import Shown

PRACTICE = "common practice, no source"


class Words(NamedTuple):
    """Of a fix: its name, the work and upkeep it takes, and what its numbers are based on."""

    name: str
    fuss: str
    basis: str = PRACTICE


WORDS = {
    Which.SLEEVE: Words("a sleeve on the line before the {before}", "no upkeep; must not lie on a hot part"),
    Which.SHIELD: Words("a heat shield beside the line before the {before}", "no upkeep; a bracket to make"),
    Which.FAN_COOLER: Words("a cooler with a fan before the {before}", "two more joints that can leak; wiring for a fan"),
    Which.WIND_COOLER: Words(
        "a cooler in the wind before the {before}", "two more joints that can leak; nothing to power; little while the car stands"
    ),
    Which.ICE_CAN: Words(
        f"an ice can with {ICE_KG:g} kg ({ICE_KG / 0.45359237:.1f} lb) of ice before the {{before}}",
        "ice to carry, meltwater to drain, before every run; two more joints that can leak",
        f"{PRACTICE}; melting heat IAPWS-06",
    ),
    Which.SPACER: Words("a spacer under the pump", "no upkeep; the pump's rod must still reach"),
    Which.TANK_PUMP: Words(
        "an electric pump in the tank", "wiring, a cut-off that stops it with the engine, the tank opened: licensed practice"
    ),
    Which.NEAR_PUMP: Words("an electric pump near the tank", "wiring, a cut-off that stops it with the engine; louder"),
    Which.RETURN: Words("a return line to the tank", "a second line to the tank and a restrictor; the tank warms"),
    Which.FUEL: Words(
        "a less volatile fuel, of class {fuel}",
        "nothing to fit; sold by season and place, and a pump seldom says its class: ask the seller; it needs the octane that the engine needs, local law "
        "decides what may be used, a cold engine starts less well on it, and what is left in the tank mixes with it",
        "the worst fuel of the class; no promise of what a pump sells",
    ),
}
# (name, work and upkeep, why nothing is known) of fixes without a number, by kind
UNKNOWN = {
    "fan": (
        "radiator fan that runs on after the stop",
        "a relay with a timer; drains the battery",
        "it depends on where its air goes",
    ),
    "spray": ("water sprayed on the bowl", "carried water, a hand on the pump", "it was not measured here"),
    VENTS: ("vents in the bonnet", "cuts sheet metal", "it depends on how air passes this car"),
}

NOTHING = Present()
NOTHING_SURE = "None of the fixes that can be forecast here surely gives more room to boiling"


@dataclass(frozen=True)
class Sorted:
    """Fixes by what is told of their room to boiling, each in the order in which they help: those that surely give more of it, those that may give more
    and may leave less, and those that give none."""

    sure: tuple[Tried, ...]
    unsure: tuple[Tried, ...]
    none: tuple[Tried, ...]

    def as_dicts(self) -> list[dict[str, Any]]:
        """Plain fields of each for JSON, with its outlook."""
        outlooks = (("more room", self.sure), ("may harm", self.unsure), ("no help", self.none))
        return [as_dict(one) | {"outlook": outlook} for outlook, ones in outlooks for one in ones]

    @property
    def best(self) -> list[Tried]:
        """What to try first: the first group of those that are sure."""
        return [one for one in self.sure if one.group == self.sure[0].group]


def name(one: Tried) -> str:
    """A fix in words. Example: "a sleeve on the line before the pump"."""
    return _named(one.fix)


def _named(fix: Fix) -> str:
    fuel = fix.change.fuel.name if fix.change.fuel is not None else ""
    return WORDS[fix.which].name.format(before=place_words(fix.before), fuel=fuel)


def unknown(there: Present) -> list[Sequence[str]]:
    """The rows of fixes of which nothing is known here, without those that are fitted."""
    return [row for kind, row in UNKNOWN.items() if kind not in there.kinds]


def fitted(there: Present) -> list[str]:
    """The fixes that are not considered because they are fitted, in words."""
    return [*map(_named, there.fixes), *(row[0] for kind, row in UNKNOWN.items() if kind in there.kinds)]


def left_out(there: Present) -> str:
    """That some are fitted already and not considered again, and what says so; "" where none is."""
    names = fitted(there)
    said = listed([f'"{text}"' for text in there.texts])
    return f"Fitted already ({said}), so not considered again: {listed(names)}." if names else ""


def forecast_of(one: Tried) -> Forecast:
    """A fix's forecast, with the change named in words."""
    return replace(one.told, change=name(one))


def as_dict(one: Tried) -> dict[str, Any]:
    """Plain fields for JSON, with the fix, its work and its basis in words."""
    words, plain = WORDS[one.fix.which], one.as_dict()
    first = {"fix": name(one), "kind": plain["kind"], "group": plain["group"], "fuss": words.fuss, "basis": words.basis}
    return first | {key: value for key, value in plain.items() if key not in first}


def by_outlook(tried: Sequence[Tried], shown: Shown) -> Sorted:
    """Fixes told apart by whether they would help, at the precision at which the reader is told."""
    useful = helping(tried, shown)
    unsure = [one for one in useful if may_harm(one, shown)]
    return Sorted(
        tuple(one for one in useful if one not in unsure), tuple(unsure), tuple(one for one in tried if one not in useful)
    )


def may_harm(one: Tried, shown: Shown) -> bool:
    """Whether a fix may leave less room to boiling: the lower end of its interval, as it is printed, is less room."""
    gain = one.told.smallest
    return (
        gain is not None
        and gain.degc.least < 0
        and not is_nothing(shown.no_finer(-gain.degc.least, "temperature difference", gain.degc.half))
    )


def sentences(tried: Sequence[Tried], shown: Shown, there: Present = NOTHING) -> list[str]:
    """What to try first, one line a fix by groups, the fixes whose effect is unknown, and what is left out because it is fitted."""
    lines, last = [], 0
    found = by_outlook(tried, shown)
    if not found.sure and not found.unsure:
        lines.append("None of the fixes that can be forecast here gives more room to boiling:")
    elif not found.sure:
        lines.append(f"{NOTHING_SURE}.")
    left = beyond_still([*found.sure, *found.unsure], shown) if found.sure or found.unsure else ""
    for one in found.sure:
        if one.group != last:
            lines.append(_heading([other for other in found.sure if other.group == one.group], first=not last))
            if not last and left:
                lines.append(f"{left}.")
            last = one.group
        lines.append(f"  {line(one, shown)}")
    if found.unsure:
        lines += [f"{left}."] if left and not found.sure else []
        lines.append(f"{'This' if len(found.unsure) == 1 else 'These'} may help, and may make it worse:")
    lines += [f"  {line(one, shown)}" for one in found.unsure]
    if found.none and (found.sure or found.unsure):
        lines.append("These would not help here; as far as can be told they give no more room to boiling:")
    lines += [f"  {line(one, shown)}" for one in found.none]
    lines += ["Nothing is known here about these:"] if unknown(there) else []
    lines += [f"  {what} ({fuss}): {why}" for what, fuss, why in unknown(there)]
    return lines + ([left_out(there)] if left_out(there) else [])


def caution(no_stop: bool, far_degc: float, shown: Shown) -> str:
    """Why a ranking made from this session says little (`study.line.first.little_to_tell`); "" where it came near boiling in a hot stop."""
    why = ["holds no hot stop"] if no_stop else []
    if far_degc == far_degc:
        why.append(f"came no nearer to boiling than {shown.text(far_degc, 'temperature difference', 0)}")
    return (
        f"This session {' and '.join(why)}, so the order of the fixes says little: record a hot drive with a stop" if why else ""
    )


def assumed_fuel(session: Session, asked: Sequence[Fuel] = ()) -> str:
    """That a forecast rests on a fuel of which something is assumed, the session's or one that was asked for; "" where both were measured."""
    own = session.car.fuel().rests_on if session.car is not None else ""
    said = [f"these numbers rest on {own}"] if own else []
    said += [f"{fuel.name} is {fuel.rests_on}" for fuel in asked if fuel.rests_on]
    return f"{first_upper('; '.join(said))}." if said else ""


def beyond_still(useful: Sequence[Tried], shown: Shown) -> str:
    """That the best fix by itself leaves fuel beyond its limit, or may; "" where no fuel is beyond it now, or the best surely brings it back."""
    best = max(useful, key=lambda one: one.told.smallest.degc.middle if one.told.smallest else -np.inf)
    gain, rows = best.told.smallest, [row for row in best.told.rows if np.isfinite(row.margin_before_degc)]
    if gain is None or not rows:
        return ""
    was = min(rows, key=lambda row: row.margin_before_degc)
    if was.margin_before_degc >= 0 or was.margin_before_degc + gain.degc.least >= 0:
        return ""
    now = (
        f"{shown.text(-was.margin_before_degc, 'temperature difference', 0)} beyond its limit at the {place_words(was.place)} now"
    )
    left_degc = was.margin_before_degc + gain.degc.middle
    left = shown.no_finer(abs(left_degc), "temperature difference", gain.degc.half)
    if left_degc >= 0 or is_nothing(left):
        return f"Fuel is {now}; whether the best fix by itself brings it back below cannot be told"
    return (
        f"No fix is enough by itself: fuel is {now}, and the best would leave it {left} beyond, at the {place_words(gain.place)}"
    )


def helping(tried: Sequence[Tried], shown: Shown) -> list[Tried]:
    """Those that would give more room to boiling, as far as it is told: its middle, at the precision of its doubt, is more than nothing."""
    found = []
    for one in tried:
        gain = one.told.smallest
        if gain is None or gain.degc.middle <= 0 or not helps([one]):
            continue
        if not is_nothing(shown.no_finer(gain.degc.middle, "temperature difference", gain.degc.half)):
            found.append(one)
    return found


def _heading(group: Sequence[Tried], first: bool) -> str:
    """The heading of a group: whether to try it first, and whether its fixes can be told apart."""
    several = len(group) > 1
    if first:
        names = ", ".join(name(one) for one in group)
        return f"{try_one(group)}: {names}." if several else f"Try first: {names}."
    which = f"Group {group[0].group}, after those"
    return f"{which}: these cannot be told apart here" if several else which


def try_one(group: Sequence[Tried]) -> str:
    """The answer where several fixes are the best."""
    return f"Try first one of these {_number(len(group))}; they cannot be told apart here"


def _number(count: int) -> str:
    return ("two", "three", "four", "five", "six", "seven", "eight", "nine")[count - 2] if 2 <= count <= 9 else str(count)


def line(one: Tried, shown: Shown) -> str:
    """A fix in one line."""
    gain = one.told.smallest
    assert gain is not None
    where = f"; the smallest margin is at the {place_words(gain.place)} then ({gain.phase})"
    carried = (
        f"; most of the uncertainty is {named(gain.degc.carried_by)}" if gain.degc.carried_by and gain.degc.half >= 0.5 else ""
    )
    pull = ""
    if one.told.in_pull is not None:
        pull = f"; carburettor in a pull {interval(one.told.in_pull.degc, shown, ('cooler', 'hotter'))}"
    words = WORDS[one.fix.which]
    return f"{name(one)}: {interval(gain.degc, shown, ('more room', 'less room'))}{where}{pull}{carried}. {words.fuss} ({words.basis})"


def interval(degc: Interval, shown: Shown, words: tuple[str, str]) -> str:
    """A gain with its interval, at the precision of its doubt, with words for its sign. Example: "4 °C more room (1 to 7 °C)"."""
    if abs(degc.middle) < 0.05 and degc.half < WORTH_DEGC:
        return f"no {words[0]}"
    flip = -1 if degc.middle < 0 else 1
    least, greatest = sorted((flip * degc.least, flip * degc.greatest))
    text = [shown.no_finer(x, "temperature difference", degc.half) for x in (abs(degc.middle), least, greatest)]
    ways = [word if is_nothing(text[0]) else word.split()[0] for word in words]
    sizes = [shown.no_finer(abs(x), "temperature difference", degc.half) for x in (degc.least, degc.greatest)]
    ends = [
        directed(size, ways[0 if x > 0 else 1], "no change") for size, x in zip(sizes, (degc.least, degc.greatest), strict=True)
    ]
    if is_nothing(text[0]):  # what rounds to 0 has no direction, but its ends have
        return f"no change ({ends[0]} to {ends[1]})"
    if least < 0 < greatest and not any(map(is_nothing, sizes)):  # a minus would not say which way
        return f"{text[0]} {words[0 if flip > 0 else 1]} ({ends[0]} to {ends[1]})"
    return f"{text[0]} {words[0 if flip > 0 else 1]} ({text[1].digits} to {text[2]})"
