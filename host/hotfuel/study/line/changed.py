"""A recorded drive as a change would leave it: temperatures with their doubt, sample by sample, and the pressure the line would hold.

The recorded curves are changed by the least that physics allows to say. A share known only to lie between two bounds is taken as their middle, with
the standard uncertainty of a rectangle, their distance by the square root of 12.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import fired
from hotfuel.units import Shown

RECTANGLE = 1 / np.sqrt(12)
KEPT, KEPT_U = 0.8, 0.12  # share of a drop that is still there at the next place (assumption; a short hose keeps more)
STANDING_SHARE = 0.2  # of a drop made by flow, that may still be there when standing fuel is hottest (assumption)
COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC = 3.0, 3.0  # air that reaches a cooler's core (assumption)
ENGINE_DEGC = 90.0  # where thermostats hold an engine (common practice, no source)
DAY_U = 0.03  # of a hotter day's degrees: sun, wind and road are never quite the same (assumption)
WALL_U = 0.3  # of what insulation saves (assumption)
UNSEEN_RISE_DEGC = 22.8  # fuel at the pump's outlet above ambient, mean of 27 cars (SAE 310017): where no probes tell the rise
# Share of the degrees past boiling's onset that boiling takes away: most of them from fuel that flows past a heat, few from fuel that stands.
BOILED_FLOWING, BOILED_FLOWING_U = 0.7, 0.2
BOILED_STANDING, BOILED_STANDING_U = 0.25, 0.25
_DEGC = np.arange(-40.0, 201.0, 2.0)


@dataclass
class Changed:
    """degc and its standard uncertainty by place, arrays (n,) on the course's times; assumptions: a sentence for each step."""

    course: Course
    degc: dict[str, np.ndarray]
    u_degc: dict[str, np.ndarray]
    assumptions: list[str]
    shown: Shown

    @classmethod
    def of(cls, course: Course, names: Sequence[str], shown: Shown) -> "Changed":
        """The drive as it was recorded, at the places of that name."""
        degc = {p: values.copy() for p, values in course.degc.items() if p in names}
        return cls(course, degc, {p: np.zeros_like(values) for p, values in degc.items()}, [], shown)

    def doubt(self, place: str, u_degc: np.ndarray) -> None:
        """One more independent uncertainty at a place."""
        self.u_degc[place] = np.hypot(self.u_degc[place], u_degc)

    def lower_from(self, place: str, drop: np.ndarray, u_degc: np.ndarray) -> None:
        """Lower a place and, by what is kept, those after it; both (n,)."""
        places = self.course.fuel_places
        drop = np.where(np.isfinite(drop), drop, _median(drop))  # where one probe is lost the places behind still have readings
        u_degc = np.where(np.isfinite(u_degc), u_degc, _median(u_degc))
        kept, lost = 1.0, 0.0
        for name in places[places.index(place) :]:
            self.degc[name] = self.degc[name] - kept * drop
            self.doubt(name, np.hypot(kept * u_degc, lost * drop))
            kept, lost = kept * KEPT, KEPT_U

    def _differences(self, degc: float) -> str:
        return self.shown.text(degc, "temperature difference")

    def only_flowing(self, drop: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """A drop that flow makes: itself and no doubt while the engine runs; standing nothing, and the doubt of what may be left."""
        on = fired(self.course)
        left = STANDING_SHARE * abs(_median(drop[on]))
        return np.where(on, drop, 0.0), np.where(on, 0.0, left)

    def hotter(self, degc: float) -> None:
        """Outside air hotter by degc."""
        air, on_way = self.course.ambient_degc, None
        for place in self.course.fuel_places:
            if np.isfinite(air):
                on_way = np.clip((self.degc[place] - air) / max(ENGINE_DEGC - air, 1.0), 0.0, 1.0)
            share = np.full_like(self.degc[place], 0.5) if on_way is None else on_way
            self.degc[place] = self.degc[place] + degc * (1 - share / 2)
            self.doubt(place, abs(degc) * np.hypot(RECTANGLE * share, DAY_U))
        self.assumptions.append(
            "What stands in outside air rises with it degree for degree; what the engine heats rises less, because a thermostat holds the "
            f"engine: by none to all of the share it stands on the way from the air to the engine's {self.shown.text(ENGINE_DEGC, 'temperature')}."
            if on_way is not None
            else "Fuel rises by a half to all of the outside air's degrees: the session does not say how hot the air was."
        )

    def cool(self, place: str, effectiveness: float, coolant_degc: float | None, hotter_degc: float) -> None:
        """A cooler somewhere between the place before and this one takes its share of the way to its coolant."""
        places, coolant, coolant_u = self.course.fuel_places, coolant_degc, 0.0
        if coolant is None:
            if not np.isfinite(self.course.ambient_degc):
                raise InputError(
                    f"the outside temperature of {self.course.name} is not known: give it, or the coolant's temperature, for the cooler"
                )
            coolant = self.course.ambient_degc + hotter_degc + COOLANT_OVER_AMBIENT_DEGC
            coolant_u = COOLANT_U_DEGC
            self.assumptions.append(
                f"The cooler sees air {self._differences(COOLANT_OVER_AMBIENT_DEGC)} ± {self._differences(COOLANT_U_DEGC)} above outside air."
            )
        here = self.degc[place]
        rise = np.clip(here - self.degc[places[places.index(place) - 1]], 0.0, None)
        rise = np.where(here > coolant, np.minimum(rise, here - coolant), 0.0)
        drop, left = self.only_flowing(effectiveness * np.maximum(here - coolant - rise / 2, 0.0))
        self.lower_from(
            place, drop, np.hypot(left, np.where(drop > 0, effectiveness * np.hypot(RECTANGLE * rise, coolant_u), 0.0))
        )
        if not fired(self.course).any():
            self.assumptions.append("The engine never ran in this session, and without flow a cooler in the line does nothing.")
        self.assumptions.append(
            f"An effectiveness of {effectiveness:g} at every flow, only while fuel flows; none to all of the rise before {place} comes after "
            f"the cooler; {KEPT:.0%} of the drop is left at each further place."
        )

    def insulate(self, place: str, share: float, car: Car) -> None:
        """Heat through the wall of the section before a place cut by that share."""
        places, on = self.course.fuel_places, fired(self.course)
        before = places[places.index(place) - 1]
        # A pump on the engine, at either end of the section, heats the fuel from inside, where no insulation helps.
        pumped = car.pump.kind == "mechanical" and any(p.role == "pump" for p in car.places if p.name in (before, place))
        wall, wall_u = (0.5, RECTANGLE) if pumped else (1.0, WALL_U)
        way = share * (self.degc[place] - self.degc[before])
        # Standing fuel warms on towards the same temperature, only later: half the effect, with an uncertainty as large.
        self.lower_from(place, np.where(on, wall * way, 0.5 * wall * np.maximum(way, 0.0)), wall_u * np.abs(way))
        part = "None to all of the rise" if pumped else f"The rise (±{WALL_U:.0%})"
        rest = ", the rest is the pump's own heat" if pumped else ""
        self.assumptions.append(
            f"{part} from {before} to {place} is heat through that section's wall{rest}; insulation cuts it by its share while fuel flows and by half of "
            "that standing, where it delays more than it lowers."
        )

    def without_engine_pump(self, car: Car) -> None:
        """A pump in the tank instead: fuel no longer passes a pump on the engine."""
        roles = {p.name: p.role for p in car.places}
        names = {
            role: next((p for p in self.course.fuel_places if roles.get(p) == role), "") for role in ("tank", "pump", "suction")
        }
        pump = names["pump"] or names["suction"]
        seen = bool(pump and names["tank"]) and bool(np.isfinite(self.degc[pump] - self.degc[names["tank"]]).any())
        rise = np.full_like(self.course.time_s, UNSEEN_RISE_DEGC)
        if seen:
            rise = np.clip(self.degc[pump] - self.degc[names["tank"]], 0.0, None)
        half = rise / 2 if seen and car.pump.kind == "mechanical" else np.zeros_like(rise)
        drop, left = self.only_flowing(half)
        first = pump or next((p for p in self.course.fuel_places if roles.get(p) in ("line", "carburettor")), "")
        if first:
            self.lower_from(first, drop, np.hypot(left, np.where(fired(self.course), RECTANGLE * rise, 0.0)))
        if seen and car.pump.kind == "mechanical":
            said = f"none to all of the rise from {names['tank']} to {pump} is the old pump's heat and goes while fuel flows"
        elif seen:
            said = f"the temperatures are left as recorded, to within the rise from {names['tank']} to {pump}"
        else:
            said = "no probes at tank and pump tell what the old pump's heat does, so the temperatures are left as recorded"
        self.assumptions.append(
            f"With a pump in the tank the line to the engine stands under its pressure while it runs, and under the air's as soon as it stops; {said}."
        )

    def boil(self, place: str, onset_before_degc: np.ndarray, onset_degc: np.ndarray) -> bool:
        """Degrees further past (or less far past) boiling's onset than recorded, in part taken by the boiling itself. Whether there are any."""
        past = np.maximum(self.degc[place] - onset_degc, 0.0) - np.maximum(self.course.degc[place] - onset_before_degc, 0.0)
        past = np.nan_to_num(past)
        on = fired(self.course)
        taken, u_degc = (
            np.where(on, BOILED_FLOWING, BOILED_STANDING) * past,
            np.where(on, BOILED_FLOWING_U, BOILED_STANDING_U) * np.abs(past),
        )
        # What flow carries on to the next places is cooler too; what stands is not carried.
        self.degc[place] = self.degc[place] - np.where(on, 0.0, taken)
        self.doubt(place, np.where(on, 0.0, u_degc))
        self.lower_from(place, np.where(on, taken, 0.0), np.where(on, u_degc, 0.0))
        return bool((np.abs(past) >= 0.5).any())


def held_gauge_kpa(
    course: Course, car: Car, fuels: tuple[Fuel, Fuel], degc: dict[str, np.ndarray], air_kpa: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Gauge pressure of the line after the change, (n,): the recorded one, and standing what other vapour would hold there.

    After the stop fuel boiling in the line holds up a share of what its vapour pressure is over the air's; the recording tells that share, and it is
    kept. degc: temperatures after the change; fuels and air_kpa: before and after it. nan where no line pressure was measured.
    """
    gauge = course.inputs["fuel_pressure_kpa"]
    hot = [p.name for p in car.places if p.role in ("line", "carburettor") and p.name in degc]
    if not hot or not np.isfinite(gauge).any():
        return gauge
    over = [
        np.interp(np.max([temperatures[p] for p in hot], axis=0), _DEGC, fuel.true_vapour_pressure_kpa(_DEGC)) - air
        for fuel, temperatures, air in ((fuels[0], course.degc, air_kpa[0]), (fuels[1], degc, air_kpa[1]))
    ]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(~fired(course) & (gauge > 0) & (over[0] > gauge), gauge / over[0], 0.0)
    changed: np.ndarray = np.maximum(gauge + np.nan_to_num(share * (over[1] - over[0])), np.minimum(gauge, 0.0))
    return changed


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else 0.0
