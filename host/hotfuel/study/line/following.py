"""The differences that a change makes to the fuel, followed place by place from the tank."""

from typing import TYPE_CHECKING

import numpy as np

from hotfuel.places import HOSES
from hotfuel.study.line import ranges, transport
from hotfuel.study.line.assumed import WALL_U
from hotfuel.study.line.change import RETURN, Change, bounds
from hotfuel.study.line.cooler import capacity_flow_w_k
from hotfuel.study.line.cooling import Cooling
from hotfuel.study.line.draws import DRAWS
from hotfuel.study.line.grid import STEP_S
from hotfuel.study.line.parked import parked
from hotfuel.study.line.unknown import Unknown, What

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

UNSEEN_RISE_DEGC = 22.8  # fuel at the pump's outlet above ambient, mean of 27 cars (SAE 310017): where no probes tell the rise


class Following:
    """The differences that a change makes, place by place along the line, (DRAWS, m)."""

    def __init__(self, changed: "Changed", change: Change) -> None:
        self.to, self.change, self.grid, self.draws = changed, change, changed.grid, changed.draws
        self.roles = {p.name: p.role for p in changed.car.places}
        self.more_l_h = (
            self.draws.between(Unknown(What.RETURN_NEW), *bounds(change.return_l_h)) if change.return_l_h is not None else None
        )
        self.parked = parked(changed.grid.course)
        changed.more_l_h = 0.0 if self.more_l_h is None else self.more_l_h
        self.cooling = Cooling(changed, change) if change.cooled else None

    def along(self, source: np.ndarray) -> dict[str, np.ndarray]:
        """Differences by place for a difference at the tank, (DRAWS, m)."""
        found: dict[str, np.ndarray] = {}
        flowing = source
        for place in self.grid.chain:
            before = self.grid.before(place)
            held = self._held(place)
            if before is None:
                found[place] = (
                    source
                    if self.roles.get(place) == "tank"
                    else self.to.started(self._stood(self._pumped(place, None, source), (0.0, 0.0), place), place)
                )
                flowing = found[place]
                continue
            flowing = self._pumped(place, before, self._section(place, before, flowing))
            cooled: np.ndarray | float = 0.0
            if self.cooling and self.change.cooler_before == place:
                entering = self.to.fresh[place] + flowing
                # colder fuel warms faster, over the part of the section behind the cooler
                behind = self.to.kept(place) ** self.cooling.where
                cooled = behind * self.cooling.drop(entering, self.to.fresh[place] - self.to.fresh[before])
                flowing = flowing - cooled
            stood = self.to.started(self._without_pump(place, self._stood(flowing, held, place)), place)
            carried = self.to.passing(found[before] * self.to.kept(place))
            share = self.to.passing(np.ones_like(stood))
            found[place] = stood * (1 - share) + carried - share * cooled + self._flushed(place, before)
        return found

    def _rise(self, place: str, before: str) -> np.ndarray:
        """By how much fuel warmed between two places, (DRAWS, m): as read, with the errors of the two probes drawn."""
        read = self.to.fresh[place] - self.to.fresh[before]
        own = self.parked.degc.get(place, 0.0) - self.parked.degc.get(before, 0.0)
        return np.asarray(read - own + self._wrong(place) - self._wrong(before))

    def _wrong(self, place: str) -> np.ndarray:
        u = transport.reading_u_degc(self.grid.course, place, self.to.car.engine.idle_flow_l_h)
        u = self.parked.u_degc(self.grid.course, place, u)
        return self.draws.normal(Unknown(What.PROBE, place), 0.0, u)

    def at_return(self, source: np.ndarray) -> np.ndarray:
        """The difference where the return leaves the line, behind a cooler in the return."""
        last = [p for p in self.grid.chain if self.roles.get(p) != "bowl"][-1]
        difference = self.along(source)[last]
        if self.cooling and self.change.cooler_before == RETURN:
            difference = difference - self.cooling.drop(self.to.fresh[last] + difference, np.zeros((1, 1)))
        return difference

    def _section(self, place: str, before: str, difference: np.ndarray) -> np.ndarray:
        """The remaining part of a difference, with the change in the heat that the section takes up."""
        change, kept = self.change, self.to.kept(place)
        rise = self._rise(place, before)
        warmed = rise
        if self.more_l_h is not None and self.to.known_flow:
            # More flow: the same UA, or one that rises with the flow, over a larger heat capacity flow.
            share = (1 + self.more_l_h / self.to.litres_h) ** -(1 - self.draws.between(Unknown(What.FILM), *ranges.FILM))
            faster = kept**share
            warmed = rise * np.where(kept < 0.999, (1 - faster) / np.maximum(1 - kept, 1e-3), share)
            kept = faster
        if place in change.insulated:
            warmed = warmed * (1 - self._insulated(place, before))
        if place in change.shielded:
            shone = self.draws.between(Unknown(What.SHONE), *ranges.SHONE) * self.to.share(What.SHIELD, change.shielded[place])
            warmed = warmed - np.maximum(warmed, 0.0) * shone
        if change.spaced:
            warmed = warmed - np.maximum(warmed, 0.0) * self._spaced(place, before)
        return np.asarray(difference * kept + warmed - rise)

    def _insulated(self, place: str, before: str) -> np.ndarray:
        # A pump on the engine, at either end of the section, heats the fuel from inside, where insulation does not help.
        wall = (
            self.draws.between(Unknown(What.WALL), *ranges.THROUGH_WALL)
            if self.to.pump_in(place, before)
            else np.clip(self.draws.normal(Unknown(What.WALL), 1.0, WALL_U), 0.0, None)
        )
        return np.asarray(wall * self.to.share(What.INSULATION, self.change.insulated[place]))

    def _spaced(self, place: str, before: str) -> np.ndarray | float:
        """Share of a section's rise that spacers keep out."""
        conducted = self.draws.between(Unknown(What.FLANGE), *ranges.CONDUCTED)
        kept_out: np.ndarray | float = 0.0
        for under, share in self.change.spaced.items():
            cut = self.to.share(What.SPACER, share) * conducted
            if under == "carburettor":
                kept_out = kept_out + cut * (self.roles.get(place) == "bowl")
            elif self.roles.get(place) in ("pump", "suction"):
                kept_out = kept_out + cut
            else:  # behind the pump the rise includes its outlet side
                outlet = self.draws.between(Unknown(What.OUTLET), *ranges.OUTLET)
                kept_out = kept_out + cut * outlet * self.to.pump_in(place, before)
        return np.minimum(kept_out, 1.0)

    def _pumped(self, place: str, before: str | None, difference: np.ndarray) -> np.ndarray:
        """With a pump in or near the tank: fuel no longer passes a pump on the engine."""
        change = self.change
        if not (change.submerged_pump or change.pump_moved):
            return difference
        first = next((p for p in self.grid.chain if self.roles.get(p) in ("pump", "suction")), "")
        gone = self.draws.between(Unknown(What.OLD_PUMP), *ranges.OLD_PUMP)
        mechanical = self.to.car.pump.kind == "mechanical"
        own: np.ndarray | float = 0.0
        if self.to.known_flow and place == (self.grid.chain[1] if len(self.grid.chain) > 1 else place):
            own = self._electric(place)
        rise = np.maximum(self._rise(place, before), 0.0) if before else np.zeros_like(difference)
        if before and place == first and self.roles.get(before) == "tank":
            if not mechanical:
                return np.asarray(
                    difference + rise * self.draws.normal(Unknown(What.OLD_PUMP_ELECTRIC), 0.0, ranges.OLD_ELECTRIC_U) + own
                )
            return np.asarray(difference - gone * rise + own)
        if not (first and self._tank()) and place == self._first_in_line():
            unseen = self.draws.normal(Unknown(What.OLD_PUMP_UNSEEN), 0.0, UNSEEN_RISE_DEGC / 3)
            return np.asarray(difference + unseen + own)
        if before and before == first and mechanical:  # its outlet side
            return np.asarray(difference - self.draws.between(Unknown(What.OUTLET), *ranges.OUTLET) * rise + own)
        return difference + own

    def _electric(self, place: str) -> np.ndarray:
        """What an electric pump warms the fuel by that flows past a place, (DRAWS, m).

        The same watts warm a slower flow by more, but not at once: pump, line and the fuel in the line take up heat too, and the flow renews them.
        """
        watts = self.draws.between(Unknown(What.PUMP_HEAT), *ranges.PUMP_W)
        line_l = self.to.car.place(place).volume_from_previous_l
        warmed_l = (line_l, line_l + ranges.PUMP_METAL_L) if line_l else ranges.PUMP_WARMS_L
        litres = self.draws.between(Unknown(What.PUMP_WARMS), *warmed_l)
        flow = np.broadcast_to(self.to.litres_h, (DRAWS, len(self.grid.on)))
        settles = watts / np.maximum(capacity_flow_w_k(1.0) * flow, 1.0)
        keeps = np.exp(-STEP_S / 3600 * flow / litres)
        made = np.zeros_like(flow)
        now = settles[:, 0] * self.grid.on[0]  # a session that begins with the engine running
        for row in np.flatnonzero(self.grid.on):
            now = made[:, row] = settles[:, row] + (now - settles[:, row]) * keeps[:, row]
        return made

    def _tank(self) -> str:
        return next((p for p in self.grid.chain if self.roles.get(p) == "tank"), "")

    def _first_in_line(self) -> str:
        return next((p for p in self.grid.chain if self.roles.get(p) in HOSES), "")

    def _held(self, place: str) -> tuple[np.ndarray | float, np.ndarray | float]:
        """The effect of a fix on standing fuel, degC at a place: on its warming, and on its final temperature."""
        change, before = self.change, self.grid.before(place)
        if before is None:
            return 0.0, 0.0
        since = self._since_stop(place)
        over = (
            np.maximum(self.to.fresh[place] - self.grid.course.ambient_degc, 0.0)
            if np.isfinite(self.grid.course.ambient_degc)
            else since
        )
        slower: np.ndarray | float = 0.0  # share of its warming after the stop
        held: np.ndarray | float = 0.0  # degC of its final temperature above the air
        if place in change.insulated:
            cut = self.to.share(What.INSULATION, change.insulated[place])
            slower = slower + cut * self.draws.between(Unknown(What.HELD), *ranges.HELD)
        if place in change.shielded:
            cut = self.to.share(What.SHIELD, change.shielded[place])
            slower = slower + cut * self.draws.between(Unknown(What.HELD_SHIELD), *ranges.HELD_SHIELD)
        under = {"pump": "pump", "suction": "pump", "bowl": "carburettor"}.get(self.roles.get(place, ""), "")
        if under in change.spaced:
            cut = self.to.share(What.SPACER, change.spaced[under])
            part = self.draws.between(Unknown(What.HELD_SPACER), *ranges.HELD_SPACER)
            slower, held = slower + cut * part, held + over * cut * part
        if change.return_l_h is not None and self.to.pump_in(place, place):
            slower = slower + self.draws.between(Unknown(What.HELD_FLOW), *ranges.HELD_FLOW)
        return -since * np.minimum(slower, 1.0), -1.0 * held

    def _since_stop(self, place: str) -> np.ndarray:
        """By how much standing fuel is warmer than at the stop, (DRAWS, m)."""
        made = np.zeros((DRAWS, len(self.grid.on)))
        values = np.broadcast_to(self.to.fresh[place], made.shape)
        for first, end in self.grid.standing():
            if first:
                made[:, first:end] = np.maximum(values[:, first:end] - values[:, first - 1 : first], 0.0)
        return made

    def _flushed(self, place: str, before: str) -> np.ndarray:
        """After a start, fuel that stood upstream passes, and a change on its way makes it warmer or cooler: uncertainty only, (DRAWS, m)."""
        change, made = self.change, np.zeros((DRAWS, len(self.grid.on)))
        if place not in change.insulated and place not in change.shielded and self.more_l_h is None:
            return made
        doubt = self.draws.normal(Unknown(What.FLUSHED), *ranges.FLUSHED)
        for end, rows in self.grid.starts(ranges.FLUSH_S):
            made[:, rows] = doubt * np.maximum(self.to.fresh[before] - self.to.fresh[place], 0.0)[:, end - 1 : end]
        return made

    def _without_pump(self, place: str, made: np.ndarray) -> np.ndarray:
        """The old pump's place without it: standing fuel there is no longer heated by it."""
        if not (self.change.pump_moved or self.change.submerged_pump) or self.roles.get(place) not in ("pump", "suction"):
            return made
        before = self.grid.before(place)
        if before is None or self.to.car.pump.kind != "mechanical":
            return made
        way = np.maximum(self.to.fresh[place] - self.to.fresh[before], 0.0)
        return np.where(
            self.grid.on,
            made,
            # no colder than what comes from the tank
            -way * np.minimum(self.draws.between(Unknown(What.OLD_PUMP_GONE), *ranges.HELD_GONE), 1.0),
        )

    def _stood(self, flowing: np.ndarray, held: tuple[np.ndarray | float, np.ndarray | float], place: str) -> np.ndarray:
        """Differences while fuel stands: the one at the stop decays, and the one from what keeps heat out grows to its final value."""
        made = np.broadcast_to(flowing, (DRAWS, len(self.grid.on))).copy()
        hose = self.roles.get(place) in HOSES
        median_s, spread = (
            (ranges.HOSE_STANDING_S, ranges.HOSE_STANDING_SPREAD) if hose else (ranges.STANDING_S, ranges.STANDING_SPREAD)
        )
        forgets = Unknown(What.FORGETS_IN_HOSE if hose else What.FORGETS)
        tau_s = median_s * self.draws.times(forgets, spread)
        slower, keeps = (np.broadcast_to(np.asarray(x, dtype=float), made.shape) for x in held)
        # insulated fuel keeps a difference longer, too
        if place in self.change.insulated:
            cut = self.to.share(What.INSULATION, self.change.insulated[place])
            tau_s = tau_s / (1 - np.minimum(cut, 0.8))
        alike = self.draws.between(Unknown(What.STOPS_ALIKE), *ranges.STOPS_ALIKE)
        for first, end in self.grid.standing():
            since = STEP_S * np.arange(1, end - first + 1)
            left = np.exp(-since / tau_s)
            at_stop = made[:, first - 1 : first] if first else np.zeros((DRAWS, 1))
            made[:, first:end] = (
                alike * at_stop * left
                + keeps[:, first:end] * (1 - left)
                + slower[:, first:end] * np.exp(-since / ranges.DELAYS / tau_s)
            )
        return made
