"""The limits of a car and a fuel as data: what `hotfuel limits` and the report print, and the curves of limit against altitude.

The limits are those of hotfuel.risk.margin, so that the card, the live page and the board's lamp agree.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from hotfuel.car import Car
from hotfuel.fuel import Fuel
from hotfuel.places import at_place, behind_needle, is_behind_needle, probe_of
from hotfuel.risk.assumptions import assumptions
from hotfuel.risk.criterion import criterion
from hotfuel.risk.level import Level
from hotfuel.risk.margin import Channel, margins
from hotfuel.risk.pressure import Ambient, Conditions, ambient, launch_acceleration_m_s2, standard_atmosphere_kpa
from hotfuel.units import STANDARD_GRAVITY_M_S2, STANDARD_PRESSURE_KPA, Shown, expanded

_ROUTES_DIFFER_DEGC = 0.5
STATES = ("full throttle", "idle", "standing", "launch")  # without a flow signal every running engine counts as the first


@dataclass(frozen=True)
class LimitRow:
    """One limit, or why there is none (`no_limit`). `onset_degc`: where boiling begins, with the standard uncertainty the fuel gives it;
    `more_careful_degc`: from the fuel's other route where that is lower, else the limit itself.
    """

    place: str
    behind_needle: bool
    state: str
    pressure_kpa: float
    limit_degc: float
    onset_degc: float
    uncertainty_degc: float
    more_careful_degc: float
    vapour_liquid_ratio: float
    criterion: str
    pressure_basis: str
    no_limit: str = ""
    onset_uncertainty_degc: float = float("nan")

    @property
    def name(self) -> str:
        """The place's name, that of the place behind the needle where the row is of it."""
        return behind_needle(self.place) if self.behind_needle else self.place


@dataclass(frozen=True)
class LimitsCard:
    """The whole card; `sentence` says where the limit is lowest, `at_rest` where standing and at idle, `questions` what is in doubt about the fuel,
    `assumed_fuel` what of it was not measured ("" where nothing), `until_driven` where the limit is lowest as long as line and pump hold the most volatile
    part of a blend only ("" of one fuel).

    Differences, not temperatures: drop_per_1000_m_degc, drop_per_kpa_degc (of suction, at the pump or the first place)."""

    car: str
    fuel: str
    fuel_sentences: tuple[str, ...]
    route: str
    edition: str | None
    ambient_pressure_kpa: float
    ambient_source: str
    altitude_m: float | None
    rows: tuple[LimitRow, ...]
    drop_per_1000_m_degc: float
    drop_per_kpa_degc: float
    notes: tuple[str, ...]
    sentence: str
    at_rest: str
    questions: tuple[str, ...]
    assumed_fuel: str
    until_driven: str

    def as_dict(self) -> dict[str, Any]:
        """For JSON: plain values, units in the names."""
        return asdict(self)


def limits_card(
    car: Car,
    fuel: Fuel | None = None,
    altitude_m: float | None = None,
    channels: Mapping[str, Channel] | None = None,
    shown: Shown | None = None,
) -> LimitsCard:
    """The card of a car, with another fuel or altitude than the car file's if given; notes in the units of `shown`, default the car file's.

    "idle" and "launch" have rows where they differ from full throttle (acceleration only where a pump draws through a line). Raises InputError as margins
    and the atmosphere do.
    """
    shown = shown or Shown(car.units)
    fuel = fuel or car.fuel(shown)
    if altitude_m is not None:
        standard_atmosphere_kpa(altitude_m)  # raises for an impossible altitude
        car = car.model_copy(update={"altitude_m": altitude_m, "station_pressure_kpa": None})
    air = ambient(car, shown)
    lower_by = _other_route_lower_by(fuel)
    rows: list[LimitRow] = []
    lines_kpa: list[float] = []  # of each row: the pressure at the probe, before a needle
    notes: list[str] = []
    for state in STATES:
        conditions = Conditions(running=0.0 if state == "standing" else 1.0)
        if state == "idle":
            conditions = replace(conditions, flow_l_h=car.engine.idle_flow_l_h, engine_rpm=car.engine.idle_speed_rpm)
        if state == "launch":
            conditions = replace(conditions, acceleration_m_s2=launch_acceleration_m_s2(car))
        # an array of one: only the limits are used here, and they do not depend on the temperature
        table = margins(car, fuel, {place.name: np.array([20.0]) for place in car.places}, conditions, channels)
        notes += [note for note in table.notes_in(shown) if note not in notes]
        for name, place in table.places.items():
            probe, role = car.limit_places[name]
            if state == "launch" and role.pressure != "suction":
                continue  # acceleration draws on the suction line only
            if state in ("idle", "launch") and _same_pressure(rows, name, float(place.pressure_kpa[0])):
                continue
            limit = float(place.limit_degc[0])
            rows.append(
                LimitRow(
                    probe.name, is_behind_needle(name), state, float(place.pressure_kpa[0]), limit, np.nan, float(place.uncertainty_degc[0]), limit - lower_by,
                    criterion(car, role).vapour_liquid_ratio, place.criterion.text, place.basis,
                    "" if np.isfinite(limit) else Level(int(place.state[0])).text(shown), fuel.onset_uncertainty_degc,
                )
            )  # fmt: skip
            lines_kpa.append(float(table.places[probe_of(name)].pressure_kpa[0]))
    rows = _with_onsets(fuel, rows, lines_kpa)
    if lower_by:
        notes.append(
            f"two routes to this fuel's limit differ: by the other every limit is {shown.text(lower_by, 'temperature difference')} lower "
            "(more_careful_degc of --json)"
        )
    notes += assumptions(car, shown, fuel.density_15c_kg_m3)
    if any(row.state == "launch" for row in rows):
        notes.append(_launch(car))
    per_kpa, per_1000_m = _drops(fuel, air.pressure_kpa, car.altitude_m)
    return LimitsCard(
        car.name, fuel.name, tuple(fuel.describe(shown)), fuel.route, fuel.edition, air.pressure_kpa, air.source, car.altitude_m, tuple(rows),
        per_1000_m, per_kpa, tuple(notes), _lowest_first(rows, where(car, air, shown), shown, fuel.rests_on),
        _at_rest(rows, shown), fuel.questions, fuel.rests_on, _until_driven(car, fuel, channels, shown),
    )  # fmt: skip


def where(car: Car, air: Ambient, shown: Shown) -> str:
    """The air the limits hold for: "10000 ft", or the pressure where it does not come from an altitude alone."""
    if car.altitude_m is not None and air.question is None:
        return shown.text(car.altitude_m, "length")
    return f"{shown.text(air.pressure_kpa, 'pressure')} ({air.source})"


def _launch(car: Car) -> str:
    """What the rows "launch" count, which is worth more than an altitude: a car that never starts like that has no such row."""
    times = launch_acceleration_m_s2(car) / STANDARD_GRAVITY_M_S2
    said = (
        "as the car file says" if {"launch_acceleration_m_s2", "acceleration_m_s2"} & car.suction.model_fields_set else "assumed"
    )
    return (
        f'launch: rows "launch" are for {times:.2g} g forwards, {said} ("launch_acceleration" in the car file): the fuel in the line lags behind, and the '
        "pressure at the pump falls while it lasts. In everyday use the other rows hold"
    )


def _lowest_first(rows: Sequence[LimitRow], where: str, shown: Shown, rests_on: str = "") -> str:
    """One sentence: the place with the lowest limit, its limit at full throttle and where it is lowest, and where boiling begins there; first in which
    states the pressure allows no limit and the fuel counts as beyond it at any temperature; last that the fuel is assumed, if it is.
    """
    assumed = f"; it rests on {rests_on}" if rests_on else ""
    lowest, running = _lowest(rows), _lowest([row for row in rows if row.state != "standing"])
    ran = ""
    if lowest.name != running.name and not lowest.no_limit:  # the stop has a sentence of its own, `_at_rest`
        lowest, ran = running, " while the engine runs"
    place = at_place(lowest.name)
    here = [row for row in rows if row.name == lowest.name]
    told = [row for row in here if row.state == STATES[0]]
    told += [row for row in here if row is lowest and row not in told and not _alike(row, told)]
    known = [row for row in told if not row.no_limit]
    limits = ", ".join(f"{_limit_in_words(row, shown)} {_state_in_words(row)}" for row in known)
    onsets = " and ".join(shown.text(row.onset_degc, "temperature", 0) for row in known)
    begins = f"; boiling begins at {onsets}" if onsets else ""
    without = [row for row in here if row.no_limit]
    if not without:
        return f"At {where} this fuel's lowest limit{ran} is {place}: {limits}{begins}{assumed}."
    states = " and ".join(_state_in_words(row) for row in without)
    beyond = f"At {where} this fuel is beyond its limit {place} at any temperature {states} ({without[0].no_limit})"
    return f"{beyond}; otherwise its limit there is {limits}{begins}{assumed}." if known else f"{beyond}{assumed}."


def _at_rest(rows: Sequence[LimitRow], shown: Shown) -> str:
    """Where the limit is lowest after a stop, when a car soaked with heat gives trouble: standing, and at idle."""
    idling = {row.name: row for state in ("full throttle", "idle") for row in rows if row.state == state}
    # "idle" has rows only where it differs
    idle, stood = _lowest([*idling.values()]), [row for row in rows if row.state == "standing"]
    lowest = _lowest(stood)  # of places that are alike, the one that is lowest at idle
    standing = next((row for row in stood if row.name == idle.name and _alike(row, [lowest])), lowest)
    said, said_of_idle = _lowest_in_words(standing, shown), _lowest_in_words(idle, shown)
    return f"Standing and at idle {said}." if said == said_of_idle else f"Standing, {said}. At idle {said_of_idle}."


def _until_driven(car: Car, fuel: Fuel, channels: Mapping[str, Channel] | None, shown: Shown) -> str:
    """Where the limit is lowest after a stop, just after a tank was topped up: line and pump still hold what was in them."""
    if not fuel.parts:
        return ""
    first = min(fuel.parts, key=lambda part: float(part.limit_degc(STANDARD_PRESSURE_KPA)))
    alone = limits_card(car, first, channels=channels, shown=shown).at_rest
    return f"Until a drive has drawn the blend in, line and pump hold what was in them before. With {first.name} alone: {alone}"


def _lowest_in_words(row: LimitRow, shown: Shown) -> str:
    if row.no_limit:
        return f"this fuel is beyond its limit {at_place(row.name)} at any temperature ({row.no_limit})"
    begins = shown.text(row.onset_degc, "temperature", 0)
    return f"the lowest limit is {_limit_in_words(row, shown)} {at_place(row.name)}; boiling begins there at {begins}"


def _lowest(rows: Sequence[LimitRow]) -> LimitRow:
    return min(rows, key=lambda row: row.limit_degc if np.isfinite(row.limit_degc) else -np.inf)


def _state_in_words(row: LimitRow) -> str:
    return row.state if row.state == "standing" else f"at {row.state}"


def _limit_in_words(row: LimitRow, shown: Shown) -> str:
    doubt = shown.text(float(expanded(row.uncertainty_degc)), "temperature difference", 0)
    return f"{shown.text(row.limit_degc, 'temperature', 0)} (±{doubt})"


def _alike(row: LimitRow, told: Sequence[LimitRow]) -> bool:
    return any(abs(row.limit_degc - other.limit_degc) < 0.05 for other in told)


def _same_pressure(rows: list[LimitRow], name: str, pressure_kpa: float) -> bool:
    return any(row.name == name and abs(row.pressure_kpa - pressure_kpa) < 0.05 for row in rows)


def altitude_curves(
    fuels: Mapping[str, Fuel],
    altitude_m: npt.ArrayLike = tuple(range(0, 4001, 100)),
    vapour_liquid_ratio: float = 20.0,
    suction_kpa: float = 0.0,
) -> dict[str, np.ndarray]:
    """Limit against altitude with the fuels as curves: {"altitude_m", "pressure_kpa", "<fuel>_limit_degc", "<fuel>_onset_degc"}, each (n,).

    suction_kpa: subtracted from the standard atmosphere, for the pump's inlet.
    """
    altitude = np.asarray(altitude_m, dtype=float)
    pressure = standard_atmosphere_kpa(altitude) - suction_kpa
    curves = {"altitude_m": altitude, "pressure_kpa": pressure}
    for name, fuel in fuels.items():
        curves[f"{name}_limit_degc"] = fuel.limit_degc(pressure, vapour_liquid_ratio)
        curves[f"{name}_onset_degc"] = fuel.bubble_point_degc(pressure)
    return curves


def _with_onsets(fuel: Fuel, rows: list[LimitRow], lines_kpa: list[float]) -> list[LimitRow]:
    """The rows with the temperature at which boiling begins, where they have a limit; all at once, which takes hardly longer than one."""
    onsets = np.full(len(rows), np.nan)
    pressure, line = np.array([row.pressure_kpa for row in rows]), np.array(lines_kpa)
    limited = np.isfinite([row.limit_degc for row in rows])
    behind = np.array([row.behind_needle for row in rows], dtype=bool)
    if (before := limited & ~behind).any():
        onsets[before] = fuel.bubble_point_degc(pressure[before])
    if (after := limited & behind).any():
        onsets[after] = fuel.needle_limit_degc(line[after], pressure[after], 0.0)
    return [replace(row, onset_degc=float(onset)) for row, onset in zip(rows, onsets, strict=True)]


def _other_route_lower_by(fuel: Fuel) -> float:
    if fuel.other_route_degc is None:
        return 0.0
    lower_by = float(fuel.limit_degc(STANDARD_PRESSURE_KPA)) - fuel.other_route_degc
    return lower_by if lower_by > _ROUTES_DIFFER_DEGC else 0.0


def _drops(fuel: Fuel, pressure_kpa: float, altitude_m: float | None) -> tuple[float, float]:
    here = altitude_m or 0.0
    limits = fuel.limit_degc(np.array([pressure_kpa, pressure_kpa - 1.0]))
    higher = fuel.limit_degc(standard_atmosphere_kpa([here, here + 1000.0]))
    return float(limits[0] - limits[1]), float(higher[0] - higher[1])
