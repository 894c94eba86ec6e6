"""What to try first: the fixes a shop would consider, forecast for one session and put into groups that cannot be told apart.

A fix that was never fitted to this car is a range: from a source, or common practice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.line.change import Change, Coolant
from hotfuel.study.line.draws import Own
from hotfuel.study.line.forecast import Forecast, forecast

PRACTICE = "common practice, no source"
ALIKE = 0.025  # two fixes are told apart where one is better in all but this share of the draws
_NOTHING_DEGC = 0.05
FAR_DEGC = 20.0  # a session that came no nearer to boiling shows little of what a fix does in a hot one (assumption)
_STOP_S = 60.0
WORTH_DEGC = 0.5  # a smaller gain is not worth the work


@dataclass(frozen=True)
class Fix:
    """One fix to consider: what it is, the basis of its numbers, and the work and upkeep it takes."""

    change: Change
    kind: str
    fuss: str
    basis: str


@dataclass(frozen=True)
class Tried:
    """A fix with its forecast. group: 1 for the best; fixes of one group cannot be told apart."""

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
    """The fixes that can be forecast for this car and session."""
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
    own: Mapping[str, Own] | None = None,
    more: Sequence[Fix] = (),
) -> list[Tried]:
    """All candidates (and `more`), best group first. Raises InputError without a car file, and for a session for which nothing can be forecast."""
    used = car or course.car
    if used is None:
        raise InputError(f"{course.without_car}, so there are no limits to forecast: give one")
    fixes = [*candidates(course, used), *more]
    if not fixes:
        raise InputError(f"{course.name} has no two places along the line, so nothing shows what a fix between them would do")
    told = forecast(course, [fix.change for fix in fixes], car=used, own=own)
    known = [(fix, one) for fix, one in zip(fixes, told, strict=True) if one.smallest is not None]
    known.sort(key=lambda pair: -float(np.median(pair[1].gains)))
    groups: list[int] = []
    leader: np.ndarray | None = None
    for _, one in known:
        # A group continues until its first fix is surely better than the next one, or until the next one never helps while the first may.
        nothing = leader is not None and leader.max() >= _NOTHING_DEGC > one.gains.max()
        if leader is None or nothing or float(np.mean(leader - one.gains <= _NOTHING_DEGC)) <= ALIKE:
            leader = one.gains
            groups.append(groups[-1] + 1 if groups else 1)
        else:
            groups.append(groups[-1])
    return [Tried(fix, one, group) for (fix, one), group in zip(known, groups, strict=True)]


def little_to_tell(course: Course, tried: Sequence[Tried]) -> tuple[bool, float]:
    """(Whether a session holds no hot stop of a minute or more; its smallest margin of all, degC, if it is above FAR_DEGC, else nan): a ranking made
    from such a session says little."""
    stops = any(one.kind == SOAK and one.duration_s >= _STOP_S for one in phases(course))
    least = min(
        (row.margin_before_degc for one in tried[:1] for row in one.told.rows if np.isfinite(row.margin_before_degc)),
        default=np.nan,
    )
    return not stops, float(least) if least > FAR_DEGC else np.nan


def helps(group: Sequence[Tried]) -> bool:
    """Whether a fix of a group may give enough more room to boiling to be worth the work."""
    gains = [one.told.smallest for one in group]
    return any(gain is not None and gain.degc.greatest >= WORTH_DEGC for gain in gains)
