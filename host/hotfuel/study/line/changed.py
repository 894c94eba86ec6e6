"""A recorded drive with a change: temperatures in 200 draws of what was not measured, and the pressure the line would hold.

Fuel is followed from the tank. A temperature difference made by a change moves with the fuel to the next places, and shrinks as the fuel approaches the
temperature of what heats it; a return carries it back into the tank. Where fuel stands, the difference decays, while what keeps heat out goes on acting.
"""

from dataclasses import dataclass, field

import numpy as np

from hotfuel.car import Car
from hotfuel.places import HOSES
from hotfuel.study.line import ranges
from hotfuel.study.line.assumed import Assumption, HotterAir, NeverRan, along_the_line
from hotfuel.study.line.change import Change, Share, bounds
from hotfuel.study.line.draws import DRAWS, OWN_U, Draws, Own
from hotfuel.study.line.following import Following
from hotfuel.study.line.grid import STEP_S, Grid
from hotfuel.study.line.tank import Tank
from hotfuel.study.line.unknown import Unknown, What

ENGINE_DEGC = 90.0  # where thermostats hold an engine (common practice, no source)
DAY_U = 0.03  # relative, of a hotter day's degrees: sun, wind and road differ between days (assumption)


@dataclass
class Changed:
    """grid: the drive as recorded. fresh: what it would be on the changed day without any fix, degc: with the change, (DRAWS, m) by place.

    assumptions: of each step. own: how much of a fix this car gets, by kind.
    """

    grid: Grid
    car: Car
    draws: Draws
    own: dict[str, Own] = field(default_factory=dict)
    degc: dict[str, np.ndarray] = field(default_factory=dict)
    fresh: dict[str, np.ndarray] = field(default_factory=dict)
    assumptions: list[Assumption] = field(default_factory=list)
    more_l_h: np.ndarray | float = 0.0  # through the line while the engine runs, with the change

    def __post_init__(self) -> None:
        self.fresh = {p: np.broadcast_to(x, (DRAWS, len(x))) for p, x in self.grid.degc.items()}
        self.degc = dict(self.fresh)
        flow = np.where(self.grid.on, np.fmax(self.grid.litres_h, 0.05), 0.05)
        self.known_flow = self.grid.flow_known
        back = np.where(self.grid.on, np.fmin(self.car.engine.return_flow_l_h, flow - 0.05), 0.0)
        if np.isfinite(self.grid.course.inputs.get("flow_l_h", np.array(np.nan))).any():  # a meter reads the whole flow
            back = np.zeros_like(flow)
        own = self.draws.times(Unknown(What.RETURN_STATED), ranges.RETURN_U) if back.any() else 1.0
        self.litres_h = (flow - back) * self.draws.times(Unknown(What.FLOW), self.grid.flow_u) + back * own

    def share(self, what: What, value: Share) -> np.ndarray:
        """A share as drawn, times the share of such a fix that this car gets, at most 1."""
        own = self.own.get(what, Own(1.0, OWN_U))
        factor = own.middle * self.draws.times(Unknown(What.THIS_CAR, what), own.spread)
        return np.minimum(self.draws.between(Unknown(what), *own.narrowed(*bounds(value))) * factor, 1.0)

    def hotter(self, degc: float) -> None:
        """Outside air hotter by degc."""
        air = self.grid.course.ambient_degc
        follows = self.draws.between(Unknown(What.FOLLOWS), *ranges.FOLLOWS)
        day = self.draws.normal(Unknown(What.DAY), 0.0, DAY_U)
        tanks = {p.name for p in self.car.places if p.role == "tank"}  # the engine does not heat them
        for place, values in self.grid.degc.items():
            way = np.clip((values - air) / max(ENGINE_DEGC - air, 1.0), 0.0, 1.0) if np.isfinite(air) else np.ones_like(values)
            way = np.zeros_like(values) if place in tanks else way
            self.fresh[place] = values + degc * (1 - way * follows * (1.0 if np.isfinite(air) else ranges.AIR_UNKNOWN) + day)
        self.degc = dict(self.fresh)
        self.assumptions.append(HotterAir(ENGINE_DEGC if np.isfinite(air) else None))

    def fix(self, change: Change) -> None:
        """Apply everything in the change that acts on the fuel's heat, along the line and back into the tank."""
        following = Following(self, change)
        source = Tank(self, change).cooled_by(following.at_return)
        self.degc = {p: self.fresh[p] + d for p, d in following.along(source).items()}
        self.assumptions += along_the_line(self, change)
        self.assumptions += following.cooling.assumptions if following.cooling else ()
        if not self.grid.on.any():
            self.assumptions.append(NeverRan())

    def boil(self, place: str, onset_before_degc: np.ndarray, onset_degc: np.ndarray, u_degc: float, other_u_degc: float) -> bool:
        """Take off the part of the degrees past boiling onset, more (or fewer) than recorded, that boiling itself absorbs. Returns whether there are any.

        u_degc: of that onset; other_u_degc: of another fuel's onset against it, 0 with the same fuel.
        """
        begins = self.draws.normal(Unknown(What.ONSET), 0.0, 1.0) * u_degc
        other = self.draws.normal(Unknown(What.FUELS), 0.0, 1.0) * other_u_degc if other_u_degc else 0.0
        now = np.nan_to_num(np.maximum(self.degc[place] - onset_degc - begins - other, 0.0))
        past = now - np.nan_to_num(np.maximum(self.grid.degc[place] - onset_before_degc - begins, 0.0))
        flowing = self.draws.between(Unknown(What.BOILED), *ranges.BOILED_FLOWING)
        hose = self.car.place(place).role in HOSES
        boiled = Unknown(What.BOILED_STANDING, str(hose))
        standing = self.draws.between(boiled, *(ranges.BOILED_HOSE if hose else ranges.BOILED_METAL))
        taken = self.started(np.where(self.grid.on, flowing, standing) * past, place)
        self.degc[place] = self.degc[place] - taken
        kept = taken * self.grid.on + self.passing(taken)
        for after in self.grid.chain[self.grid.chain.index(place) + 1 :] if place in self.grid.chain else ():
            kept = kept * self.kept(after)
            self.degc[after] = self.degc[after] - kept
        return bool((np.median(np.abs(past), axis=0) >= 0.5).any())

    def started(self, made: np.ndarray, place: str) -> np.ndarray:
        """Differences (DRAWS, m) at a place with a gradual change after each start from those of standing fuel to those of flowing fuel.

        At the end of a hose, what stood in the hose passes first.
        """
        made = np.array(made)
        started_s = self.draws.between(Unknown(What.STARTED), *ranges.STARTED_S)
        for end, rows in self.grid.starts(2 * ranges.FLUSH_S):
            since = np.maximum(STEP_S * (1 + np.arange(rows.stop - rows.start)) - self._own_fuel_s(place, rows), 0.0)
            gone = np.exp(-since / started_s)
            made[:, rows] += (made[:, end - 1 : end] - made[:, rows]) * gone
        return made

    def _own_fuel_s(self, place: str, rows: slice) -> np.ndarray | float:
        """For how long after a start what stood in the hose before a place passes it, (DRAWS, 1)."""
        own = self.car.place(place)
        if own.role not in HOSES:
            return 0.0
        if not self.known_flow:
            return self.draws.between(Unknown(What.OWN_FUEL), *ranges.OWN_FUEL_S)
        held = (0.0, own.volume_from_previous_l) if own.volume_from_previous_l else ranges.OWN_FUEL_L
        litres = self.draws.between(Unknown(What.OWN_FUEL), *held)
        flow = np.broadcast_to(self.litres_h, (DRAWS, len(self.grid.on)))[:, rows].mean(axis=1, keepdims=True) + self.more_l_h
        return np.asarray(3600 * litres / flow)

    def passing(self, stood: np.ndarray) -> np.ndarray:
        """The part of a difference in standing fuel (DRAWS, m) that passes the next place after each start, (DRAWS, m); 0 at other times."""
        made = np.zeros((DRAWS, len(self.grid.on)))
        share = self.draws.between(Unknown(What.PASSED), *ranges.PASSED)
        for end, rows in self.grid.starts(2 * ranges.FLUSH_S):
            when = STEP_S * (0.5 + np.arange(rows.stop - rows.start)) / ranges.PASSING_S
            made[:, rows] = share * stood[:, end - 1 : end] * (when * np.exp(1 - when)) ** 2  # rises to a peak and falls off
        return made

    def pump_in(self, place: str, before: str) -> bool:
        """Whether a pump on the engine is at either end of a section."""
        roles = {p.name: p.role for p in self.car.places}
        return self.car.pump.kind == "mechanical" and "pump" in (roles.get(place), roles.get(before))

    def kept(self, place: str) -> np.ndarray:
        """Share of a difference at the place before that remains at this one, (DRAWS, m): by how far the fuel approached the temperature of what heats it."""
        before = self.grid.before(place)
        if before is None:
            return np.zeros((DRAWS, 1))
        on = self.grid.on if self.grid.on.any() else np.ones_like(self.grid.on)
        here, there = self.grid.degc[place], self.grid.degc[before]
        above = self.draws.between(Unknown(What.AROUND, place), *ranges.SURROUNDINGS_ABOVE_DEGC)
        around = np.quantile(here[on], 0.98) + above
        kept = np.where(here > there, (around - here) / np.maximum(around - there, 1.0), 1.0)
        return np.clip(kept, 0.05, 1.0)
