"""What to try first: the fixes a shop would think of, forecast for one session and put into groups that cannot be told apart.

Nothing of the car's own is known of a fix that was never fitted, so each is a range: with its source, or common practice. A fix of which nothing is known
is named too, without a number.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.study.drive.course import Course
from hotfuel.study.line.change import Change, Coolant
from hotfuel.study.line.draws import Own
from hotfuel.study.line.forecast import Forecast, forecast
from hotfuel.text import directed, is_nothing
from hotfuel.units import Shown

PRACTICE = "common practice, no source"
ALIKE = 0.025  # two fixes are told apart where one is the better in all but this share of the draws
_NOTHING_DEGC = 0.05
_WORTH_DEGC = 0.5  # a gain that does not reach this in most draws is none

UNKNOWN = (
    (
        "radiator fan that runs on after the stop",
        "a relay with a timer; drains the battery",
        "nothing known: it depends on where its air goes",
    ),
    ("water sprayed on the bowl", "carried water, a hand on the pump", "nothing known: nobody measured it here"),
    ("vents in the bonnet", "cuts sheet metal", "nothing known: it depends on the car's air"),
)


@dataclass(frozen=True)
class Fix:
    """One fix to think of: what it is, its numbers' basis, and what it costs in fuss."""

    change: Change
    kind: str
    fuss: str
    basis: str


@dataclass(frozen=True)
class Tried:
    """A fix with its forecast. group: 1 for the best ones; fixes of one group cannot be told apart."""

    fix: Fix
    told: Forecast
    group: int

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return {
            "fix": self.fix.change.name, "kind": self.fix.kind, "group": self.group, "fuss": self.fix.fuss, "basis": self.fix.basis,
            "smallest": asdict(self.told.smallest) if self.told.smallest else None,
            "in_pull": asdict(self.told.in_pull) if self.told.in_pull else None,
        }  # fmt: skip


def candidates(course: Course, car: Car) -> list[Fix]:
    """The fixes that this car and session allow to forecast."""
    roles = {p.name: p.role for p in car.places}
    chain = [p for p in course.fuel_places if np.isfinite(course.degc[p]).any()]
    inlet = next((p for p in chain if roles.get(p) == "carburettor"), None)
    pump = next((p for p in chain if roles.get(p) in ("pump", "suction")), None)
    cooled = inlet if inlet is not None and chain.index(inlet) else None
    air = np.isfinite(course.ambient_degc)
    found = []
    for place in chain[1:]:
        if roles.get(place) == "bowl":
            continue
        words = place_words(place)
        found.append(
            Fix(
                Change(f"a sleeve on the line before the {words}", insulation_share=(0.2, 0.6), insulated_before=place),
                "insulation", "no upkeep; must not lie on a hot part", PRACTICE,
            )
        )  # fmt: skip
    if cooled:
        found.append(
            Fix(Change(f"a heat shield beside the line before the {place_words(cooled)}", shield_share=(0.05, 0.5), shielded_before=cooled),
                "shield", "no upkeep; a bracket to make", PRACTICE)
        )  # fmt: skip
        if air:
            ways: tuple[tuple[str, Coolant, str], ...] = (
                ("with a fan", "fan", "wiring for a fan"),
                ("in the wind", "air", "nothing to power; little while the car stands"),
            )
            for name, coolant, fuss in ways:
                found.append(
                    Fix(
                        Change(f"a cooler {name} before the {place_words(cooled)}", cooler_ua_w_k=(2.0, 10.0), cooler_before=cooled, coolant=coolant),
                        "cooler", f"two more joints that can leak; {fuss}", PRACTICE,
                    )
                )  # fmt: skip
        found.append(
            Fix(
                Change(f"an ice can with 3 kg before the {place_words(cooled)}", cooler_ua_w_k=(5.0, 18.0), cooler_before=cooled, coolant="ice", ice_kg=3.0),
                "ice", "ice to carry, meltwater to drain, before every run; two more joints that can leak", f"{PRACTICE}; melting heat IAPWS-06",
            )
        )  # fmt: skip
    if pump and car.pump.kind == "mechanical":
        found.append(
            Fix(Change("a spacer under the pump", spacer_share=(0.3, 0.8), spacer_under="pump"), "spacer",
                "no upkeep; the pump's rod must still reach", PRACTICE)
        )  # fmt: skip
    if car.pump.kind != "electric_submerged":
        found.append(
            Fix(Change("an electric pump in the tank", submerged_pump=True), "pump in the tank",
                "wiring, a cut-off that stops it with the engine, the tank opened: licensed practice", PRACTICE)
        )  # fmt: skip
    if car.pump.kind == "mechanical":
        found.append(
            Fix(Change("an electric pump near the tank", pump_moved=True), "pump moved",
                "wiring, a cut-off that stops it with the engine; louder", PRACTICE)
        )  # fmt: skip
    if not car.engine.return_flow_l_h:
        found.append(
            Fix(Change("a return line to the tank", return_l_h=(15.0, 40.0)), "return line",
                "a second line to the tank and a restrictor; the tank warms", PRACTICE)
        )  # fmt: skip
    return found


def try_first(
    course: Course,
    car: Car | None = None,
    shown: Shown | None = None,
    own: Mapping[str, Own] | None = None,
    more: Sequence[Fix] = (),
) -> list[Tried]:
    """All candidates (and `more`), best group first. Raises InputError without a car file, and for a session that leaves nothing to forecast."""
    used = car or course.car
    if used is None:
        raise InputError(f"{course.name} has no usable car file, so there are no limits to forecast: give one")
    fixes = [*candidates(course, used), *more]
    if not fixes:
        raise InputError(f"{course.name} has no two places along the line, so nothing tells what a fix between them would do")
    told = forecast(course, [fix.change for fix in fixes], car=used, shown=shown, own=own)
    known = [(fix, one) for fix, one in zip(fixes, told, strict=True) if one.smallest is not None]
    known.sort(key=lambda pair: -float(np.median(pair[1].gains)))
    groups: list[int] = []
    leader: np.ndarray | None = None
    for _, one in known:
        # a group goes on as long as its first one is not surely the better
        # or there is nothing left to gain: what never helps is no choice beside what may
        nothing = leader is not None and leader.max() >= _NOTHING_DEGC > one.gains.max()
        if leader is None or nothing or float(np.mean(leader - one.gains <= _NOTHING_DEGC)) <= ALIKE:
            leader = one.gains
            groups.append(groups[-1] + 1 if groups else 1)
        else:
            groups.append(groups[-1])
    return [Tried(fix, one, group) for (fix, one), group in zip(known, groups, strict=True)]


def sentences(tried: Sequence[Tried], shown: Shown) -> list[str]:
    """What to try first, one line a fix by groups, and what nothing is known of."""
    lines, last = [], 0
    for one in tried:
        if one.group != last:
            lines.append(_heading([other for other in tried if other.group == one.group]))
            last = one.group
        lines.append(f"  {line(one, shown)}")
    lines.append("Of these nothing is known here:")
    lines += [f"  {name} ({fuss}): {why}" for name, fuss, why in UNKNOWN]
    return lines


def helps(group: Sequence[Tried]) -> bool:
    """Whether one of a group may give room to boiling that is worth the fuss."""
    gains = [one.told.smallest for one in group]
    return any(gain is not None and gain.degc.greatest >= _WORTH_DEGC for gain in gains)


def _heading(group: Sequence[Tried]) -> str:
    """What the fixes of a group are to somebody who asks what to try."""
    several, best = len(group) > 1, group[0].group == 1
    if best and not helps(group):
        return "None of the fixes that can be forecast here gives more room to boiling:"
    if best:
        names = ", ".join(one.fix.change.name for one in group)
        return f"{try_one(group)}: {names}." if several else f"Try first: {names}."
    which = f"Group {group[0].group}, {'after those' if helps(group) else 'which gives no more room'}"
    return f"{which}: these cannot be told apart here" if several else which


def try_one(group: Sequence[Tried]) -> str:
    """The answer where several are the best."""
    return f"Try first one of these {_number(len(group))}; they cannot be told apart here"


def _number(count: int) -> str:
    return ("two", "three", "four", "five", "six", "seven", "eight", "nine")[count - 2] if 2 <= count <= 9 else str(count)


def line(one: Tried, shown: Shown) -> str:
    """A fix in one line."""
    gain = one.told.smallest
    assert gain is not None
    where = f"; the smallest margin is at the {place_words(gain.place)} then ({gain.phase})"
    carried = f"; most of it hangs on {gain.degc.carried_by}" if gain.degc.carried_by and gain.degc.half >= 0.5 else ""
    pull = ""
    if one.told.in_pull is not None:
        pull = f"; carburettor in a pull {interval(one.told.in_pull.degc, shown, ('cooler', 'hotter'))}"
    return f"{one.fix.change.name}: {interval(gain.degc, shown, ('more room', 'less room'))}{where}{pull}{carried}. {one.fix.fuss} ({one.fix.basis})"


def interval(degc: Any, shown: Shown, words: tuple[str, str]) -> str:
    """A gain with its interval, no finer than its doubt, in words for its sign. Example: "4 °C more room (1 to 7 °C)"."""
    if abs(degc.middle) < 0.05 and degc.half < _WORTH_DEGC:
        return f"no {words[0]}"
    flip = -1 if degc.middle < 0 else 1
    least, greatest = sorted((flip * degc.least, flip * degc.greatest))
    text = [shown.no_finer(x, "temperature difference", degc.half) for x in (abs(degc.middle), least, greatest)]
    if is_nothing(text[0]):  # a nothing has no direction, its ends have
        ends = [
            directed(shown.no_finer(abs(x), "temperature difference", degc.half), words[0 if x > 0 else 1], "no change")
            for x in (degc.least, degc.greatest)
        ]
        return f"no change ({ends[0]} to {ends[1]})"
    return f"{text[0]} {words[0 if flip > 0 else 1]} ({text[1].split()[0]} to {text[2]})"
