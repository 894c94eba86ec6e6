"""What to try first: the fixes a shop would consider, forecast for one session and put into groups that cannot be told apart.

A fix that was never fitted to this car is a range: from a source, or common practice.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.places import INLETS
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.line.change import Change
from hotfuel.study.line.draws import Own
from hotfuel.study.line.forecast import Forecast, forecast
from hotfuel.units import STANDARD_PRESSURE_KPA

ALIKE = 0.025  # two fixes are told apart where one is better in all but this share of the draws
_NOTHING_DEGC = 0.05
FAR_DEGC = 20.0  # a session that came no nearer to boiling shows little of what a fix does in a hot one (assumption)
_STOP_S = 60.0
WORTH_DEGC = 0.5  # a smaller gain is not worth the work
_ETHANOL_FUEL_VOL = 50.0  # ASTM D5798's fuels hold 51 % or more


class Which(StrEnum):
    """A fix that a shop would consider; `hotfuel.report.first_words` has its name, the work and upkeep it takes, and what its numbers are based on."""

    SLEEVE = "sleeve"
    SHIELD = "shield"
    FAN_COOLER = "cooler_with_fan"
    WIND_COOLER = "cooler_in_wind"
    ICE_CAN = "ice_can"
    SPACER = "spacer"
    TANK_PUMP = "pump_in_tank"
    NEAR_PUMP = "pump_near_tank"
    RETURN = "return_line"
    FUEL = "less_volatile_fuel"


# The kind of each; where a forecast can be too large or too small, the one by which one's own fixes are known (hotfuel.study.fixes.came.SIZED).
KIND = {
    Which.SLEEVE: "insulation", Which.SHIELD: "shield", Which.FAN_COOLER: "cooler", Which.WIND_COOLER: "cooler", Which.ICE_CAN: "ice",
    Which.SPACER: "spacer", Which.TANK_PUMP: "pump in the tank", Which.NEAR_PUMP: "pump moved", Which.RETURN: "return line",
    Which.FUEL: "fuel",
}  # fmt: skip
ICE_KG = 3.0
# The least volatile class of each standard that pumps sell, in summer (ASTM D4814-18 table 4: the schedule of classes by state and month, from memory).
LEAST_VOLATILE = {"D4814": "D4814 A-1", "EN228": "EN 228 A E10", "D5798": "D5798 1"}


@dataclass(frozen=True)
class Fix:
    """One fix to consider. before: the place that it is fitted before, "" where that is no question."""

    which: Which
    change: Change
    before: str = ""

    @property
    def kind(self) -> str:
        """Its kind among one's own fixes."""
        return KIND[self.which]


@dataclass(frozen=True)
class Tried:
    """A fix with its forecast. group: 1 for the best; fixes of one group cannot be told apart."""

    fix: Fix
    told: Forecast
    group: int

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON; `hotfuel.report.first_words.as_dict` adds the words."""
        return {
            "fix": self.fix.which, "kind": self.fix.kind, "group": self.group,
            "smallest": asdict(self.told.smallest) if self.told.smallest else None,
            "in_pull": asdict(self.told.in_pull) if self.told.in_pull else None,
        }  # fmt: skip


def candidates(course: Course, car: Car) -> list[Fix]:
    """The fixes that can be forecast for this car and session."""
    roles = {p.name: p.role for p in car.places}
    chain = [p for p in course.fuel_places if np.isfinite(course.degc[p]).any()]
    inlet = next((p for p in chain if roles.get(p) in INLETS), None)
    pump = next((p for p in chain if roles.get(p) in ("pump", "suction")), None)
    cooled = inlet if inlet is not None and chain.index(inlet) else None
    found: list[Fix] = []

    def consider(which: Which, before: str = "", **values: Any) -> None:
        found.append(Fix(which, Change(which, **values), before))

    for place in chain[1:]:
        if roles.get(place) != "bowl":
            consider(Which.SLEEVE, place, insulation_share=(0.2, 0.6), insulated_before=place)
    if cooled:
        consider(Which.SHIELD, cooled, shield_share=(0.05, 0.5), shielded_before=cooled)
        if np.isfinite(course.ambient_degc):
            consider(Which.FAN_COOLER, cooled, cooler_ua_w_k=(2.0, 10.0), cooler_before=cooled, coolant="fan")
            consider(Which.WIND_COOLER, cooled, cooler_ua_w_k=(2.0, 10.0), cooler_before=cooled, coolant="air")
        consider(Which.ICE_CAN, cooled, cooler_ua_w_k=(5.0, 18.0), cooler_before=cooled, coolant="ice", ice_kg=ICE_KG)
    if pump and car.pump.kind == "mechanical":
        consider(Which.SPACER, spacer_share=(0.3, 0.8), spacer_under="pump")
    if car.pump.kind != "electric_submerged":
        consider(Which.TANK_PUMP, submerged_pump=True)
    if car.pump.kind == "mechanical":
        consider(Which.NEAR_PUMP, pump_moved=True)
    if not car.engine.return_flow_l_h:
        consider(Which.RETURN, return_l_h=(15.0, 40.0))
    if (milder := less_volatile(car)) is not None:
        consider(Which.FUEL, fuel=milder)
    return found


def less_volatile(car: Car) -> Fuel | None:
    """The summer class of the standard that the car's fuel is sold by, D4814's where none is named; None where it would allow no more heat than the fuel in
    the tank. A class is its worst fuel, so this is the least that it gives."""
    fuel, table = car.fuel(), car.fuel_table
    named = " ".join(filter(None, (table.standard, table.class_, table.blended))).upper().replace(" ", "")
    found = [standard for standard in LEAST_VOLATILE if standard in named]
    chosen = found[0] if len(found) == 1 else "D5798" if fuel.ethanol_vol > _ETHANOL_FUEL_VOL else "D4814"
    milder = Fuel.from_class(LEAST_VOLATILE[chosen])
    more_degc = float(milder.limit_degc(STANDARD_PRESSURE_KPA) - fuel.limit_degc(STANDARD_PRESSURE_KPA))
    return milder if more_degc >= WORTH_DEGC else None


def try_first(
    course: Course,
    car: Car | None = None,
    own: Mapping[str, Own] | None = None,
    without: Collection[Fix] = (),
) -> list[Tried]:
    """All candidates, best group first, but those that are fitted already (`without`). Raises InputError without a car file, and for a session for which
    nothing can be forecast."""
    used = car or course.car
    if used is None:
        raise course.without_car("there are no limits to forecast")
    fixes = candidates(course, used)
    if not fixes:
        raise InputError(f"{course.name} has no two places along the line, so nothing shows what a fix between them would do")
    fixes = [fix for fix in fixes if fix not in without]
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
