"""The one function that turns temperatures, pressures and a fuel into margins: used live, in reviews, reports, exports and the board's tables.

Margin = limit - temperature at each place, all central estimates; caution is applied once: warn where the margin is below its standard uncertainty,
act where it is below zero. An unknown engine state counts as the worst case (see hotfuel.risk.pressure). `alarm_inputs` hands them to the alarm.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from hotfuel_wire import alarm

from hotfuel.car import Car, Place
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.fuel.table import PRESSURE_RANGE_KPA
from hotfuel.places import ROLES, Role, behind_needle
from hotfuel.risk.criterion import Criterion, criterion
from hotfuel.risk.level import NO_LIMIT, is_beyond
from hotfuel.risk.limit import Limit, limit_at
from hotfuel.risk.pressure import Conditions, PlacePressure, at_places, running_state
from hotfuel.risk.probes import LAG_SHARE, Traced
from hotfuel.risk.remarks import AirPressure, NoLimit, Remark, Said
from hotfuel.temperature.accuracy import budget, root_sum_square
from hotfuel.units import Shown

_BLOCK = 1 << 14  # samples computed at a time: they stay in the processor's cache
_FEW = 64  # up to this many samples, as they come live, a call of numpy costs more than what it does


@dataclass(frozen=True)
class PlaceMargin:
    """One place's arrays, all of the temperatures' shape. state: hotfuel.risk.level.Level, without the delays the alarm adds.

    temperature_degc is the reading. margin_degc, uncertainty_degc, vapour_liquid_ratio and state are of the fuel: the reading and its probe's lag times
    recent slope. traced: that slope, and which of these ticks the alarm uses; None where each tick stands alone. indicative: never says act.
    percolates: boiling here after a hot stop is usual.
    """

    temperature_degc: np.ndarray
    limit_degc: np.ndarray
    margin_degc: np.ndarray
    uncertainty_degc: np.ndarray
    vapour_liquid_ratio: np.ndarray
    pressure_kpa: np.ndarray
    state: np.ndarray
    criterion: Criterion
    basis: str
    traced: Traced | None = None
    indicative: bool = False
    percolates: bool = False

    def up_to(self, row: int) -> "PlaceMargin":
        """Its arrays up to this row, the last one of the result; -1 for all."""
        if row in (-1, len(self.margin_degc) - 1):
            return self
        cut: dict[str, Any] = {name: value[: row + 1] for name, value in vars(self).items() if isinstance(value, np.ndarray)}
        return replace(self, **cut)


@dataclass(frozen=True)
class MarginTable:
    """Margins by place name ("<name>_needle" for behind the needle), the engine state used, and notes to show with them.

    engine_note: for how much of the samples the engine's state is not known, "" where it is; it means something for a whole recording only.
    """

    places: dict[str, PlaceMargin]
    running: np.ndarray
    remarks: list[Remark] = field(default_factory=list)
    engine_note: str = ""

    def __getitem__(self, place: str) -> PlaceMargin:
        return self.places[place]

    @property
    def notes(self) -> list[str]:
        """The remarks in sentences, in SI units."""
        return self.notes_in(Shown())

    def notes_in(self, shown: Shown) -> list[str]:
        """The remarks in sentences, in the reader's units."""
        return [sentence for one in self.remarks if (sentence := one.text(shown))]

    @property
    def smallest(self) -> tuple[str, float]:
        """(place, margin in degC) of the smallest margin anywhere; ("", nan) where there is none."""
        least = {name: np.nanmin(p.margin_degc) for name, p in self.places.items() if np.isfinite(p.margin_degc).any()}
        name = min(least, key=lambda place: least[place], default="")
        return name, float(least.get(name, np.nan))


@dataclass(frozen=True)
class Channel:
    """The channel that reads a place: for the temperature's uncertainty."""

    chip: str = "MAX31856"
    gain: int = 32
    calibration_uncertainty_degc: float | None = None


def margins(
    car: Car,
    fuel: Fuel,
    temperatures: Mapping[str, npt.ArrayLike],
    conditions: Conditions | None = None,
    channels: Mapping[str, Channel] | None = None,
    traces: Mapping[str, Traced] | None = None,
) -> MarginTable:
    """Margins at every place of the car that has a limit and is in `temperatures`.

    temperatures: place name -> degC, one shape for all (nan where there is none). conditions: hotfuel.risk.pressure.Conditions, arrays of that shape
    or numbers. channels: place name -> Channel, default a MAX31856 at gain 32 without calibration. traces: place name -> the result of
    hotfuel.risk.probes for the same ticks, where they come from a probe. Returns a MarginTable.
    Raises InputError for a place the car does not have or arrays that do not fit together.
    """
    conditions = conditions or Conditions()
    channels = channels or {}
    traces = traces or {}
    pressures = at_places(car, conditions, fuel.density_15c_kg_m3)
    state = running_state(car, conditions)
    places: dict[str, PlaceMargin] = {}
    remarks: list[Remark] = [AirPressure(car.altitude_m, car.station_pressure_kpa), *map(Said, fuel.questions)]
    flow = _flow(car, conditions)
    for name, values in temperatures.items():
        place = car.place(name)
        if name not in pressures:
            continue
        measured = np.asarray(values, dtype=float)
        if place.probe.mount == "clamp_rubber":
            remarks.append(Said(f"{name}: a probe clamped on rubber does not see the fuel, so there is no margin there"))
        try:
            uncertainty = temperature_uncertainty_degc(car, place, flow, channels.get(name, Channel()))
            judged = measured, uncertainty, traces.get(name)
            role = car.role_of(place)
            places[name] = _place_margin(fuel, place, role, criterion(car, role), *judged, pressures[name])
            if place.kind.throttled:
                line, bowl = pressures[name], pressures[behind_needle(name)]
                behind = ROLES["needle"]
                places[behind_needle(name)] = _place_margin(fuel, place, behind, criterion(car, behind), *judged, line, bowl)
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            raise InputError(
                f"{name}: temperatures of shape {measured.shape} do not fit the conditions' arrays: {error}"
            ) from None
        if place.probe.indicative:
            remarks.append(Said(f"{name}: a clamp-on probe is indicative, it never says act"))
    remarks += [remark for name, place in places.items() for remark in _without_limit(name, place)]
    return MarginTable(places, state, remarks, _engine_note(state))


def temperature_uncertainty_degc(car: Car, place: Place, flow_l_h: npt.ArrayLike, channel: Channel) -> np.ndarray:
    """Standard uncertainty of one place's temperature, a number or an array over flow."""
    if not np.ndim(flow_l_h):
        return _at_steady_flow(place, float(np.asarray(flow_l_h)), car.suction.line_bore_m, channel)
    return _at_flow(place, flow_l_h, car.suction.line_bore_m, channel)


def _at_flow(place: Place, flow_l_h: npt.ArrayLike, bore_m: float, channel: Channel) -> np.ndarray:
    rows = budget(
        place,
        chip=channel.chip,
        gain=channel.gain,
        flow_l_h=flow_l_h,
        bore_m=bore_m,
        calibration_uncertainty_degc=channel.calibration_uncertainty_degc,
    )
    return root_sum_square(rows)


_at_steady_flow = lru_cache(maxsize=64)(_at_flow)  # called again for every reading of a live recording


def _place_margin(
    fuel: Fuel,
    place: Place,
    role: Role,
    ratio: Criterion,
    measured: np.ndarray,
    uncertainty: np.ndarray,
    trace: Traced | None,
    *pressures: PlacePressure,
) -> PlaceMargin:
    """pressures: the place's own; line and bowl behind the needle, where the bowl's decides."""
    here = pressures[-1]
    limit_of = limit_at(fuel, ratio, needle=len(pressures) > 1)
    size = measured.size
    steady = all(where.pressure_kpa.size == 1 for where in pressures)
    full = [_flat(array, measured.shape) for array in (measured, uncertainty, here.uncertainty_kpa)]
    at_kpa = [where.pressure_kpa.reshape(-1) if steady else _flat(where.pressure_kpa, measured.shape) for where in pressures]
    at_all = limit_of.at(*at_kpa) if steady else None
    lead = None if trace is None else _flat(trace.lead, measured.shape)
    limit: np.ndarray = np.empty(size) if at_all is None else np.broadcast_to(at_all[0], size)  # one number takes no memory
    # apart, so that each fits where a column was freed
    margin: np.ndarray = np.empty(size)
    total: np.ndarray = np.empty(size)
    share: np.ndarray = np.zeros(size)
    state = np.empty(size, dtype=np.uint8)
    seen = place.probe.mount != "clamp_rubber"
    for start in range(0, size, _BLOCK):
        part = slice(start, start + _BLOCK)
        degc, probe, spread_kpa = (array[part] for array in full)
        kpa = at_kpa if steady else [array[part] for array in at_kpa]
        if at_all is None:
            limit[part], onset, variance, slope = _by_stretches(limit_of.at, kpa)
        else:
            _, onset, variance, slope = at_all
        squares = probe * probe + variance + np.square(slope * spread_kpa)
        if lead is not None:
            lead_degc = lead[part] / 100
            degc = degc + lead_degc
            squares += np.square(LAG_SHARE * lead_degc)
        np.sqrt(squares, out=total[part])
        margin[part] = limit[part] - degc if seen else np.nan
        _fill_share(share[part], limit_of, degc, onset, kpa)
        state[part] = _state(degc, margin[part], total[part], kpa if seen else (), act=not place.probe.indicative)
    shape = measured.shape
    limit, margin, total, share = (array.reshape(shape) for array in (limit, margin, total, share))
    kpa_here = _flat(here.pressure_kpa, shape).reshape(shape)
    return PlaceMargin(
        measured,
        limit,
        margin,
        total,
        share,
        kpa_here,
        state.reshape(shape),
        ratio,
        here.basis,
        trace,
        place.probe.indicative,
        role.percolates,
    )


def _flat(values: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """One value for every element of `shape`, flat."""
    if values.shape != shape:
        size = math.prod(shape)
        if values.size == 1 and size <= _FEW:  # np.broadcast_to costs a few readings more than their margin
            return values.reshape(1).repeat(size)
        values = np.broadcast_to(values, shape)
    return values.reshape(-1)


def _state(
    degc: np.ndarray, margin: np.ndarray, uncertainty: np.ndarray, pressures: Sequence[np.ndarray], act: bool
) -> np.ndarray:
    state = (margin < uncertainty).view(np.uint8)  # quiet is 0, warn is 1
    if act:
        state[is_beyond(margin)] = alarm.ACT
    unknown = np.isnan(margin)
    if unknown.any():
        state[unknown] = alarm.NO_MARGIN
        for kpa in pressures:
            state[unknown & (kpa < PRESSURE_RANGE_KPA[0])] = alarm.LOW_PRESSURE
        for kpa in pressures:
            state[unknown & (kpa <= 0)] = alarm.IMPOSSIBLE_PRESSURE
        state[np.isnan(degc)] = alarm.LOST
    return state


def _by_stretches(function: Callable[..., Sequence[np.ndarray]], arrays: Sequence[np.ndarray]) -> Sequence[np.ndarray]:
    """function(*arrays), computed once for each stretch in which no array changes: pressures come at 1/s and often do not change for minutes."""
    if arrays[0].size <= _FEW:  # seeking stretches would take longer than it saves
        same = all((array == array[0]).all() for array in arrays)
        return function(*([array[:1] for array in arrays] if same else arrays))
    changes = arrays[0][1:] != arrays[0][:-1]
    for array in arrays[1:]:
        changes |= array[1:] != array[:-1]
    starts = np.concatenate(([0], np.flatnonzero(changes) + 1))
    if 2 * starts.size > arrays[0].size:
        return function(*arrays)
    lengths = np.diff(starts, append=arrays[0].size)
    return [np.repeat(values, lengths) for values in function(*[array[starts] for array in arrays])]


def _fill_share(
    share: np.ndarray, limit_of: Limit, measured: np.ndarray, onset: np.ndarray, pressures: Sequence[np.ndarray]
) -> None:
    """V/L into zeros, looked up only above boiling onset; it stays 0 below, nan where temperature or onset is."""
    over = measured - onset
    unknown = np.isnan(over)
    if unknown.any():
        share[unknown] = np.nan
    hot = np.flatnonzero(over > 0)
    if hot.size:
        share[hot] = limit_of.vapour_liquid_ratio(measured[hot], *[kpa if kpa.size == 1 else kpa[hot] for kpa in pressures])


def _flow(car: Car, conditions: Conditions) -> npt.ArrayLike:
    """Flow past the probes for the placement error: as measured, at least the idle flow. Standing fuel takes on its fitting's temperature, so the
    error does not keep growing as the flow stops."""
    idle = car.engine.idle_flow_l_h
    return idle if conditions.flow_l_h is None else np.fmax(np.asarray(conditions.flow_l_h, dtype=float), idle)


def _without_limit(name: str, place: PlaceMargin) -> list[NoLimit]:
    """Why a place has no margin although it was read."""
    if not np.isnan(place.limit_degc).any():
        return []
    found = [NoLimit(name, level) for level in NO_LIMIT if (place.state == level).any()]
    if (np.isnan(place.limit_degc) & (place.pressure_kpa > PRESSURE_RANGE_KPA[1])).any():
        found.append(NoLimit(name, None))
    return found


def _engine_note(state: np.ndarray) -> str:
    unknown = np.isnan(state)
    if not unknown.any() or unknown.mean() < 0.005:  # the first second of a recording is always unknown
        return ""
    share = "throughout" if unknown.all() else f"in {100 * unknown.mean():.0f} % of the samples"
    return f"whether the engine ran is not known {share}: there the lower pressure of running and standing is used at each place"


def alarm_inputs(place: PlaceMargin, running: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(margin, warn_below, seen), each (n,): hundredths of a degC as hotfuel_wire.alarm.Alarms.update takes them; rows that are not `seen` are left out,
    and the time to the next one counts from the last row seen. The only code that treats a percolating bowl and a clamp-on probe, live and afterwards.

    running (n,) or a number, nan unknown. A clamp-on probe is only indicative and never reaches act. Boiling over behind the needle or in the bowl
    after a hot stop is usual on today's fuel, and an injected line may hold a pressure that nobody measures: neither raises anything while the engine is
    known to stand, on the board's lamp as here; from the restart on it does.
    """
    left, spread, state = place.margin_degc, place.uncertainty_degc, place.state
    known = np.isfinite(left)
    if not known.all():
        left, spread = np.where(known, left, 0.0), np.where(known, spread, 0.0)
    if place.traced is not None and place.traced.lead_degc.any():
        # the alarm has its own lead, upward only, instead of the lag's share of the uncertainty
        lead = place.traced.lead_degc
        left = left + lead - np.maximum(place.traced.lead, 0).astype(np.int64) * 7 // 5 / 100
        spread = np.sqrt(np.maximum(spread * spread - np.square(LAG_SHARE * lead), 0.0))
    margin, warn_below = np.rint(left * 100).astype(np.int64), np.rint(spread * 100).astype(np.int64)
    if place.indicative:
        margin = np.maximum(margin, 0)
    if place.percolates:
        margin = np.where(np.equal(running, 0), warn_below + alarm.DEADBAND, margin)
    seen = state != alarm.NO_MARGIN
    if (state > alarm.ACT).any():  # seldom
        margin[state == alarm.LOW_PRESSURE], margin[state == alarm.IMPOSSIBLE_PRESSURE] = alarm.TOO_LOW, alarm.IMPOSSIBLE
        margin[state == alarm.LOST] = alarm.UNREADABLE
    if place.traced is not None:
        margin[place.traced.doubted] = alarm.UNREADABLE
        seen &= ~place.traced.waiting
    return margin, warn_below, seen
