"""Where the fuel takes up its heat: watts and degrees by section of the line and by phase, each with its uncertainty.

The same plug of fuel is followed: fuel that leaves a section is compared with its own state when it entered, in enthalpy, so that the heat of boiling
counts. Shares are of what the sections between the first and the last place take up; one whose uncertainty is more than half of it is not reported. A
section that surely takes heat out (a cooler) has no share and does not count in the others'.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.risk.pressure import Conditions, at_places
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import IDLE, PULL, SOAK, fired, kinds_per_second
from hotfuel.study.line import transport, ways
from hotfuel.study.line.draws import COVERED, DRAWS, Draws, Interval
from hotfuel.study.line.hose import FlowBasis
from hotfuel.study.line.parked import parked
from hotfuel.study.line.plug_flow import CP_J_KG_K, CP_SHARE, DENSITY_KG_M3, bridged, entered_s, flowed_l, lagged
from hotfuel.study.line.section import Section
from hotfuel.study.line.unknown import Unknown, What

STANDING_STILL, DRIVING, PULLING, STOPPED = "idling", "driving", "full throttle", "after the stop"
LEAST_S = 45.0
J_L_K = DENSITY_KG_M3 / 1000 * CP_J_KG_K  # of a litre and degree
# a share is reported if its interval's half width is at most half of it or at most SMALL, or if all of the interval is below LITTLE
MOST_DOUBT, SMALL, LITTLE = 0.5, 0.15, 1 / 3
USUAL_BOWL_L = 0.25  # common practice, no source
UNSAID_L, VOLUME_SPREAD = 0.1, 0.35  # of a section whose volume was not given (spread of the logarithm)
FLOW_OWN = 0.06  # relative effect on a phase's heat of changing flow and of mixing on the way
# In parts of a filling's heat: what the first filling takes up less while the car stands, and its standard deviation (assumption, from trials on a second
# model).
LEFT_OUT, LEFT_OUT_U = -0.4, 0.7
WITH_FLOW = (0.35, 0.3)  # exponent of the flow in a section's heat, and its standard deviation (films: 0 to 0.8)
# Apart from the flow, the logarithm of a section's heat while driving less that while idling, and its spread: a pump's metal is as hot in both; around a
# line without a pump the air is cooler while the car moves (assumption, from trials on a second model).
APART = {True: (0.15, 0.5), False: (-0.6, 0.7)}
_LEAST_W, _MANY = 0.5, 4000
_DEGC = np.arange(-40.0, 181.0, 1.0)


@dataclass(frozen=True)
class Part:
    """One section in one phase. watts: heat taken up, mean over the time; degc: by how much the same fuel got warmer; share: of what all
    sections take up in that phase.

    watts and share are nan intervals where the flow is unknown, while nothing flows, and in a pull, which is too short; share also where heat is taken out.
    share_told, watts_told: whether they are known well enough to report.
    """

    before: str
    place: str
    phase: str
    seconds: float
    degc: Interval
    watts: Interval
    share: Interval

    @property
    def share_told(self) -> bool:
        """Whether the share is known well enough to report."""
        one = self.share
        return bool(np.isfinite(one.middle) and (one.half <= max(MOST_DOUBT * abs(one.middle), SMALL) or one.greatest <= LITTLE))

    @property
    def watts_told(self) -> bool:
        """Whether the watts are known well enough to report."""
        return is_told(self.watts)

    @property
    def cools(self) -> bool:
        """Whether the fuel surely gives off heat here: the whole interval is below nothing."""
        return (self.watts if np.isfinite(self.watts.middle) else self.degc).greatest < 0

    @property
    def warms(self) -> bool:
        """Whether the fuel surely takes up heat here."""
        return (self.watts if np.isfinite(self.watts.middle) else self.degc).least > 0


def is_told(watts: Interval) -> bool:
    """Whether heat is known well enough to report: its interval lies on one side of nothing, and its standard uncertainty is at most half of it; what is
    surely taken out is always reported."""
    return bool(watts.greatest < 0 or (watts.least > 0 and watts.half <= watts.middle))


@dataclass(frozen=True)
class HeatBudget:
    """parts: by phase, then along the line. ways: how a section's heat divides between hot metal and air. back_w: what the return carries into the tank.

    flow_basis: where the flow comes from, UNKNOWN without one. parked_s: how long the car stood cold before its start, while its probes were compared;
    0 where it did not.
    """

    parts: tuple[Part, ...]
    ways: tuple[ways.Way, ...]
    back_w: Interval
    back_share: Interval
    flow_basis: FlowBasis
    parked_s: float = 0.0

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        told = [asdict(part) | {"share_told": part.share_told, "watts_told": part.watts_told} for part in self.parts]
        return asdict(self) | {"parts": told, "ways": [way.as_dict() for way in self.ways]}


def places_of(course: Course) -> tuple[str, ...]:
    """The places along the line that were read, the bowl last: the fuel that the engine burns passes it."""
    line = [p for p in transport.line_places(course) if np.isfinite(course.degc[p]).any()]
    roles = {p.name: p.role for p in course.car.places} if course.car is not None else {}
    bowls = [p for p in course.fuel_places if roles.get(p) == "bowl" and np.isfinite(course.degc[p]).any()]
    return (*line, *(bowls[:1] if line and roles.get(line[-1]) == "carburettor" else ()))


def budget(course: Course) -> HeatBudget | None:
    """The budget of a session; None without a car file, a running engine or two places along the line."""
    chain = places_of(course)
    if course.car is None or len(chain) < 2 or not fired(course).any():
        return None
    made = _Following(course, chain)
    parts = made.parts()
    back_w, back_share = made.back()
    found = ways.ways(course, made.sections, made.draws, made.u_degc, cold=made.parked.seconds > 0)
    return HeatBudget(tuple(parts), tuple(found), back_w, back_share, made.flow.basis, made.parked.seconds)


def phase_rows(course: Course) -> dict[str, np.ndarray]:
    """Rows of a course by phase; pulls are part of driving, and by themselves too short for watts."""
    kinds, on = kinds_per_second(course)[0], fired(course)
    idle, pull = (kinds == IDLE) & on, (kinds == PULL) & on
    return {STANDING_STILL: idle, DRIVING: on & ~idle, PULLING: pull, STOPPED: kinds == SOAK}


class _Following:
    def __init__(self, course: Course, chain: Sequence[str]) -> None:
        assert course.car is not None
        self.course, self.car, self.chain, self.draws = course, course.car, chain, Draws()
        self.flow = flow = transport.flow_of(course)
        self.flow_u = flow.relative_u if np.isfinite(flow.relative_u) else 0.0
        self.on = fired(course)
        self.litres = np.broadcast_to(flow.litres_h, course.time_s.shape)
        self.known = bool(np.isfinite(self.litres[self.on]).any())
        self.rows = phase_rows(course)
        self.pressures = _pressures(course, self.car)
        enthalpy = {p: self._enthalpy(p) for p in chain}
        lag = max(self.car.place(p).probe.lag_s for p in chain)
        # All probes are made as slow as the slowest: a passing change must not count as heat because one probe responds sooner.
        self.parked = parked(course)
        self.read = {p: _as_slow(course, p, lag, self.car) - self.parked.degc.get(p, 0.0) for p in chain}
        self.sections = [self._section(a, b, enthalpy) for a, b in pairwise(chain)]

    def _enthalpy(self, place: str) -> np.ndarray:
        """kJ/kg at _DEGC, at the middle pressure of running."""
        pressure = self.pressures.get(place, np.array(101.3))
        values = np.broadcast_to(pressure, self.course.time_s.shape)[self.on]
        kpa = float(np.nanmedian(values)) if np.isfinite(values).any() else 101.3
        return np.asarray(self.car.fuel().enthalpy_kj_per_kg(_DEGC, kpa))

    def _section(self, before: str, place: str, enthalpy: Mapping[str, np.ndarray]) -> Section:
        t, own = self.course.time_s, self.car.place(place)
        litres = np.where(self.on, np.nan_to_num(self.litres), 0.0)
        if own.role == "bowl":
            litres = np.maximum(litres - self.car.engine.return_flow_l_h * self.on, 0.0)
        volume = own.volume_from_previous_l or (USUAL_BOWL_L if own.role == "bowl" else UNSAID_L)
        gained, entered_degc, ok, row = self._gained(litres, volume, before, place, enthalpy)
        wider = self._gained(litres, volume * np.exp(VOLUME_SPREAD), before, place, enthalpy)[0] - gained
        if own.volume_from_previous_l:
            wider = wider * 0.1 / VOLUME_SPREAD
        kg_s = litres / 3.6e6 * DENSITY_KG_M3
        slopes = (
            kg_s * 1000 * np.interp(self.read[place], _DEGC[:-1] + 0.5, np.diff(enthalpy[place])),
            kg_s * 1000 * np.interp(entered_degc, _DEGC[:-1] + 0.5, np.diff(enthalpy[before])),
        )
        usable = ok & self.on & np.isfinite(self.course.degc[before] + self.course.degc[place])
        return Section(
            before,
            place,
            gained,
            entered_degc,
            self.read[place],
            usable & (t >= 0),
            slopes,
            wider,
            row,
            volume * J_L_K,
            self.on,
            self._pumps(before, place),
        )

    def _gained(
        self, litres: np.ndarray, volume: float, before: str, place: str, enthalpy: Mapping[str, np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        t = self.course.time_s
        if self.known:
            entered = entered_s(t, flowed_l(t, litres), volume)
        else:
            entered = t.astype(float)
        ok = np.isfinite(entered)
        row = np.clip(np.where(ok, entered - t[0], 0.0) / STEP_S, 0, len(t) - 1).astype(int)
        came = np.interp(np.where(ok, entered, t), t, self.read[before])
        # both ends on the same scale of enthalpy: liquid at the lower pressure's table, boiling where its own pressure lets it
        out, into = (np.interp(degc, _DEGC, enthalpy[p]) for degc, p in ((self.read[place], place), (came, before)))
        return litres / 3.6e6 * DENSITY_KG_M3 * 1000 * (out - into), came, ok, row

    def parts(self) -> list[Part]:
        """By phase, then along the line."""
        found = []
        offsets = self._offsets()
        flow = self.draws.times(Unknown(What.FLOW), self.flow_u)[:, 0]
        cp = self.draws.times(Unknown(What.HEAT_CAPACITY), CP_SHARE)[:, 0]
        for phase, rows in self.rows.items():
            seconds = float(rows.sum()) * STEP_S
            if seconds < (LEAST_S if phase != PULLING else 8.0):
                continue
            if phase == STOPPED:
                found += self._stopped(rows, seconds, offsets)
                continue
            watts, degrees = [], []
            for one in self.sections:
                use = one.within(rows)
                if use.sum() < 5:
                    watts.append(np.full(DRAWS, np.nan))
                    degrees.append(np.full(DRAWS, np.nan))
                    continue
                volume = self.draws.normal(Unknown(What.VOLUME, one.place), 0.0, 1.0)[:, 0]
                there = f"{one.place} {phase}"
                own = self.draws.normal(Unknown(What.FLOW_WITHIN, there), 0.0, FLOW_OWN)[:, 0]
                # What was in the section when the phase began was heated before it, and is left out; while the car stands that is the cooler part of
                # the phase, as the air under the bonnet warms up.
                rise = float(np.mean(np.abs((one.leaves_degc - one.entered_degc)[use])))
                middle = LEFT_OUT if phase == STANDING_STILL else 0.0
                stood = self.draws.normal(Unknown(What.STOOD, there), middle, LEFT_OUT_U)[:, 0]
                stood = stood * one.holds_j_k * rise / seconds
                mean = [float(np.mean(x[use])) for x in (one.gained_w, one.by_volume_w, *one.slopes)]
                out, into = offsets[one.place], offsets[one.before]
                watts.append(mean[0] * (1 + own) + mean[1] * volume + mean[2] * out - mean[3] * into + stood)
                degrees.append(float(np.mean((one.leaves_degc - one.entered_degc)[use])) + out - into)
            takes = [np.isfinite(w).all() and np.quantile(w, COVERED[2]) >= 0 for w in watts]
            total = np.sum([w for w, up in zip(watts, takes, strict=True) if up], axis=0)
            for one, w, d, up in zip(self.sections, watts, degrees, takes, strict=True):
                with np.errstate(invalid="ignore", divide="ignore"):
                    share = np.where(np.abs(total) > 1e-9, w / total, np.nan) if self.known and up else np.full(DRAWS, np.nan)
                heat = w * (1 + (flow - 1) * self._burnt_share(one, rows)) * cp if self.known else np.full(DRAWS, np.nan)
                if phase == PULLING:
                    heat, share = np.full(DRAWS, np.nan), np.full(DRAWS, np.nan)
                found.append(Part(one.before, one.place, phase, seconds, *(self.draws.interval(x) for x in (d, heat, share))))
        return found

    def _burnt_share(self, one: Section, rows: np.ndarray) -> float:
        """The share of the flow through a section that the engine burns: only that depends on engine speed; a return's flow is as declared."""
        back = 0.0 if self.flow.metered or self.car.place(one.place).role == "bowl" else self.car.engine.return_flow_l_h
        use = one.within(rows)
        whole = float(np.mean(np.nan_to_num(self.litres)[use])) if use.any() else 0.0
        return max(1 - back / whole, 0.0) if whole > 0 else 1.0

    def _stopped(self, rows: np.ndarray, seconds: float, offsets: Mapping[str, np.ndarray]) -> list[Part]:
        """After the stop nothing flows: the rise of each place from the stop to its maximum."""
        nothing = Interval(np.nan, np.nan, np.nan)
        first = int(np.flatnonzero(rows)[0])
        found = []
        for before, place in pairwise(self.chain):
            values = self.read[place][rows]
            rise = float(np.nanmax(values) - self.read[place][first])
            spread = self.draws.normal(Unknown(What.PROBE_SITS, place), 0.0, 0.1 * abs(rise))[:, 0]
            found.append(Part(before, place, STOPPED, seconds, self.draws.interval(rise + spread), nothing, nothing))
        return found

    def _offsets(self) -> dict[str, np.ndarray]:
        """Each probe's error, (DRAWS,): from its budget, weighted so that a section's heat depends on the flow as heat does.

        With four times the flow the heat is from the same to about three times as large. A rise that is the same at any flow is an error between two probes.
        """
        plain = {p: self._offset(p) for p in self.chain}
        phases = [self.rows[phase] for phase in (STANDING_STILL, DRIVING)]  # in a pull much of the heat was taken up before it
        rows_of = {one: [one.within(rows) for rows in phases if one.within(rows).sum() >= 8] for one in self.sections}
        if not self.known or all(len(rows) < 2 for rows in rows_of.values()):
            return plain
        random = np.random.default_rng(11)
        u = {p: float(np.std(values)) for p, values in plain.items()}
        many = {p: random.normal(0, max(u[p], 1e-6), _MANY) for p in self.chain}
        weight = np.zeros(_MANY)
        for one, phases in rows_of.items():
            if len(phases) < 2:
                continue
            mean = [[float(np.mean(x[rows])) for x in (one.gained_w, *one.slopes)] for rows in phases]
            watts = [np.log(np.maximum(w + a * many[one.place] - b * many[one.before], _LEAST_W)) for w, a, b in mean]
            for n in range(1, len(mean)):
                flow = np.log(mean[n][1] / mean[0][1])
                middle, spread = APART[one.pump]
                miss = watts[n] - watts[0] - WITH_FLOW[0] * flow - middle
                weight -= 0.5 * miss**2 / (spread**2 + (WITH_FLOW[1] * flow) ** 2)
        likely = 0.02 + np.exp(weight - weight.max())
        edges = np.cumsum(likely / likely.sum())
        chosen = random.permutation(np.searchsorted(edges, (np.arange(DRAWS) + 0.5) / DRAWS).clip(0, _MANY - 1))
        return {p: values[chosen] for p, values in many.items()}

    def _pumps(self, before: str, place: str) -> bool:
        """Whether a pump on the engine is between two places."""
        roles = self.car.place(before).role, self.car.place(place).role
        passed = roles[1] == "pump" or roles == ("suction", "line")
        return passed and self.car.pump.kind == "mechanical"

    def u_degc(self, place: str) -> float:
        """Standard uncertainty of a place's reading against another's."""
        u = transport.reading_u_degc(self.course, place, self.car.engine.idle_flow_l_h)
        return self.parked.u_degc(self.course, place, u)

    def _offset(self, place: str) -> np.ndarray:
        return self.draws.normal(Unknown(What.PROBE, place), 0.0, self.u_degc(place))[:, 0]

    def back(self) -> tuple[Interval, Interval]:
        """(W, share of all heat taken up by the fuel) that the return carries into the tank while the engine runs; nan without a return."""
        nothing = Interval(np.nan, np.nan, np.nan)
        back_l_h = self.car.engine.return_flow_l_h
        line = [p for p in self.chain if self.car.place(p).role != "bowl"]
        if not back_l_h or self.car.place(self.chain[0]).role != "tank" or len(line) < 2:
            return nothing, nothing
        use = self.on & np.isfinite(self.course.degc[line[0]] + self.course.degc[line[-1]])
        hotter = float(np.mean((self.read[line[-1]] - self.read[line[0]])[use])) + self._offset(line[-1]) - self._offset(line[0])
        kept = 1 - self.draws.between(Unknown(What.ON_THE_WAY_BACK), 0.0, 0.4)[:, 0]
        flow = self.draws.times(Unknown(What.RETURN_BACK), 0.15)[:, 0]
        cp = self.draws.times(Unknown(What.HEAT_CAPACITY), CP_SHARE)[:, 0]
        watts = back_l_h / 3.6e6 * DENSITY_KG_M3 * 2100 * hotter * kept * flow * cp
        burnt = np.maximum(float(np.mean(np.nan_to_num(self.litres)[use])) - back_l_h, 0.5)
        burnt = burnt * self.draws.times(Unknown(What.FLOW), self.flow_u)[:, 0]
        share = kept * back_l_h * flow / (back_l_h * flow + burnt)
        return self.draws.interval(watts), self.draws.interval(share)


def _as_slow(course: Course, place: str, lag_s: float, car: Car) -> np.ndarray:
    own = car.place(place).probe.lag_s
    return lagged(course.time_s, bridged(course.degc[place]), max(lag_s - own, 0.0))


def _pressures(course: Course, car: Car) -> dict[str, np.ndarray]:
    given = {
        name: course.inputs[name] for name in ("running", "engine_rpm", "ignition", "fuel_pressure_kpa", "ambient_pressure_kpa")
    }
    conditions = Conditions(**{k: v for k, v in given.items() if np.isfinite(v).any()}, time_s=course.time_s)
    return {name: np.asarray(one.pressure_kpa) for name, one in at_places(car, conditions).items()}
