"""Tables of a recording in pandas: one row per tick, a column per place. The numbers come from the same functions as everywhere else
(hotfuel.temperature.counts, hotfuel.risk.margin); here they only get an index and names with units.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from hotfuel_wire.alarm import LEVELS
from hotfuel_wire.meanings import CHIP_NAMES, EVENT_NAMES, from_event_value
from hotfuel_wire.messages import EVENTS, NO_CHANNEL, RESET_CAUSES

from hotfuel.car import Car
from hotfuel.fuel import Fuel
from hotfuel.places import is_named_air
from hotfuel.risk.margin import Channel, MarginTable, margins
from hotfuel.risk.pressure import TANK_GAUGE, Conditions
from hotfuel.risk.probes import Clock, Traced, traced
from hotfuel.samples.decoded import Decoded
from hotfuel.session import engine, more_inputs
from hotfuel.session import inputs as board_inputs
from hotfuel.session.means import SecondMeans
from hotfuel.session.summary import index_seconds
from hotfuel.session.timeline import Timeline
from hotfuel.temperature import trust
from hotfuel.temperature.calibration import Calibration
from hotfuel.temperature.counts import NO_DESCRIPTION, scans_degc
from hotfuel.temperature.stopped import Stopped
from hotfuel.text import shown

HOLE_PERIODS = 2.5  # a reading later than this many periods after the last one leaves a gap
HOLE_LEAST_S = 1.0
_KEPT = (1 << 25) - (1 << 16)  # bytes; of more than 32 MB glibc keeps none
MARGIN_COLUMNS = ("margin_degc", "limit_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio", "state")
_CAUSE_NAMES = {number: name.replace("_", " ") for name, number in RESET_CAUSES.items()}


@dataclass(frozen=True)
class Ticks:
    """All ticks in time: (n,) seconds on the timeline, boot, tick number; (n, places) degC, reason (key of REASONS)."""

    timeline: Timeline
    seconds: np.ndarray
    boot: np.ndarray
    tick: np.ndarray
    places: tuple[str, ...]
    degc: np.ndarray
    reason: np.ndarray
    suspected: tuple[trust.Suspicion, ...] = ()  # readings that count, and may be none; seconds of the timeline

    @cached_property
    def index(self) -> pd.DatetimeIndex | pd.TimedeltaIndex:
        """The ticks' times for pandas: date and time where the clock was known, else time since the start."""
        return self.timeline.index(self.seconds)

    @cached_property
    def by_second(self) -> SecondMeans:
        """Means of the ticks' values by the second."""
        return SecondMeans(index_seconds(self.index))


def text_of(raw: bytes) -> str:
    """A zero-padded or UTF-8 field as text; characters that must not be shown as they are appear as their code."""
    return shown(bytes(raw).rstrip(b"\x00").decode("utf-8", "replace"))


def channel_places(description: Mapping[str, Any], car: Car | None) -> list[str]:
    """Which place each channel serves: by the name the board gave it, else by the car file's channel number, else under the board's name."""
    names = [text_of(channel["place"]) or f"channel_{number}" for number, channel in enumerate(description["channels"])]
    if car is None:
        return names
    known = {place.name for place in car.places}
    by_channel = {place.channel: place.name for place in car.places}
    taken = known.intersection(names)
    return [
        name if name in known or by_channel.get(number, name) in taken else by_channel.get(number, name)
        for number, name in enumerate(names)
    ]


def contradicted(description: Mapping[str, Any], car: Car) -> list[tuple[int, str, int]]:
    """(channel, the name the board gave it, the channel of that place in the car file) where these differ: the board's name is used."""
    channel_of = {place.name: place.channel for place in car.places}
    named = ((number, text_of(channel["place"])) for number, channel in enumerate(description["channels"]))
    return [(number, name, channel_of[name]) for number, name in named if channel_of.get(name, number) != number]


def ticks(
    decoded: Decoded,
    car: Car | None,
    calibration: Calibration | None = None,
    *,
    cooled: bool = False,
    outside_degc: float = np.nan,
) -> Ticks:
    """The scans of a decoded log as one row a tick; a tick received twice counts once.

    decoded: what hotfuel.samples.decode returns. Readings whose description is missing keep their row, with nan and that reason; so do those that
    `hotfuel.temperature.trust` takes for no temperature. cooled: something cools the fuel on its way. outside_degc: the outside air as stated.
    """
    scans = decoded.scans if decoded.scans["width"].all() else decoded.scans[decoded.scans["width"] > 0]
    boot, tick, time_s = (np.ascontiguousarray(scans[name]) for name in ("boot", "tick", "time"))
    timeline = Timeline.of(decoded.clock, boot, time_s)
    seconds = timeline.seconds(boot, time_s)

    description = np.ascontiguousarray(scans["description_id"])
    names_of = {}
    for number in pd.unique(description).tolist():
        width = int(scans["width"][description == number].max())
        known = decoded.descriptions.get(number)
        names_of[number] = (channel_places(known, car) if known else _places_without_description(width, car))[:width]
    places = tuple(dict.fromkeys(name for names in names_of.values() for name in names))
    degc, reason, cold_degc = scans_degc(scans, decoded.descriptions, calibration)
    suspected = trust.doubt(
        scans,
        decoded.descriptions,
        seconds,
        degc,
        reason,
        cold_degc,
        cooled,
        names_of,
        lambda place: _may_be_beside(place, car),
        outside_degc,
    )
    Stopped().mark(scans, degc, reason, cold_degc)
    shape = (len(scans), len(places))
    # a place after the other in memory: whatever reads them reads one place at a time
    by_place = [np.full(shape, np.nan, order="F"), np.full(shape, NO_DESCRIPTION, np.uint8, order="F")]
    for number, names in names_of.items():
        rows = slice(None) if len(names_of) == 1 else np.flatnonzero(description == number)
        for channel, name in enumerate(names):
            for target, values in zip(by_place, (degc, reason), strict=True):
                target[rows, places.index(name)] = values[rows, channel]
    order = _in_time(seconds, boot, tick)
    if order is not None:
        seconds, boot, tick = seconds[order], boot[order], tick[order]
        by_place = [np.asfortranarray(values[order]) for values in by_place]
    return Ticks(timeline, seconds, boot, tick, places, by_place[0], by_place[1], tuple(suspected))


def _may_be_beside(place: str, car: Car | None) -> bool:
    """Whether a place may be as warm as the box all along: a tank, the air, or what nobody knows."""
    if car is None or place not in {known.name for known in car.places}:
        return "tank" in place or is_named_air(place)
    role = car.place(place).role
    return role == "tank" or not car.place(place).kind.has_limit


def _places_without_description(width: int, car: Car | None) -> list[str]:
    by_channel = {place.channel: place.name for place in car.places} if car else {}
    return [by_channel.get(number, f"channel_{number}") for number in range(width)]


def _in_time(seconds: np.ndarray, boot: np.ndarray, tick: np.ndarray) -> np.ndarray | None:
    """The rows to keep, in order of time; None if all rows already are."""
    if not len(seconds) or (np.isfinite(seconds).all() and (np.diff(seconds) > 0).all()):
        return None
    order = np.argsort(seconds, kind="stable")
    order = order[np.isfinite(seconds[order])]
    twice = pd.Series(boot[order].astype(np.int64) << 32 | tick[order]).duplicated().to_numpy()
    order = order[~twice]
    # boots that overlap (a clock set by a person) can still meet at the same instant
    answer: np.ndarray | None = order[np.diff(seconds[order], prepend=-np.inf) > 0]
    return answer


def temperatures(table: Ticks, *, copy: bool = True) -> pd.DataFrame:
    """Columns "<place>_degc"; not to be written to if not a copy."""
    return pd.DataFrame(table.degc, index=table.index, columns=[f"{name}_degc" for name in table.places], copy=copy)


def reasons(table: Ticks) -> pd.DataFrame:
    """Columns "<place>_reason": keys of hotfuel.temperature.counts.REASONS, 0 where there is a temperature."""
    return pd.DataFrame(table.reason, index=table.index, columns=[f"{name}_reason" for name in table.places])


def inputs(decoded: Decoded, table: Ticks, car: Car | None) -> pd.DataFrame:
    """Columns engine_rpm, fuel_pressure_kpa (gauge), battery_v, ignition, ambient_pressure_kpa, running, and those of the car file's inputs; nan where
    unknown or not fitted."""
    auxiliary = decoded.messages["auxiliary"]
    nothing = np.broadcast_to(np.nan, len(table.seconds))  # an input that is not fitted takes no memory
    columns = dict.fromkeys((*board_inputs.NAMES, "running"), nothing)
    if len(auxiliary) and car is not None:
        values = board_inputs.from_auxiliary(auxiliary, decoded.messages["barometer"], car)
        columns |= _held(table, auxiliary, values)
    if car is not None and car.inputs:
        columns |= dict.fromkeys(more_inputs.names(car), nothing)
        rows = decoded.messages["more_inputs"]
        values, _ = more_inputs.from_messages(rows, car)
        columns |= _held(table, rows, values)
    if car is not None:
        columns["running"] = engine.running(columns, table.seconds, car)
    return pd.DataFrame(columns, index=table.index, copy=False)


def _held(table: Ticks, rows: np.ndarray, values: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Values of messages (rows with boot, time) at the ticks."""
    at = table.timeline.seconds(rows["boot"], rows["time"])
    order = np.argsort(at, kind="stable")
    order = order[np.isfinite(at[order])]
    return board_inputs.held(at[order], {name: column[order] for name, column in values.items()}, table.seconds)


def channels_of(
    descriptions: Mapping[int, Mapping[str, Any]], car: Car, calibration: Calibration | None = None
) -> dict[str, Channel]:
    """The channel that reads each place, for its uncertainty; from the last description that has it."""
    result = {}
    for description in descriptions.values():
        for number, (place, channel) in enumerate(zip(channel_places(description, car), description["channels"], strict=True)):
            chip = CHIP_NAMES.get(channel["chip"])
            if chip is None:
                continue
            line = calibration.channel(number, text_of(channel["place"])) if calibration is not None else None
            result[place] = Channel(chip, channel["gain"], line.uncertainty_degc if line else None)
    return result


def _keep_memory() -> None:
    """After a large block is freed, glibc leaves the process the memory of smaller ones: the next column is written into that of the one before."""
    np.empty(_KEPT, np.uint8)


def margin_table(table: Ticks, at_inputs: pd.DataFrame, car: Car, fuel: Fuel, channels: Mapping[str, Channel]) -> MarginTable:
    """hotfuel.risk.margin.margins over the whole recording, for the places that the car file knows."""
    _keep_memory()
    known = {place.name for place in car.places}
    measured = {name: table.degc[:, column] for column, name in enumerate(table.places) if name in known}

    def given(name: str) -> np.ndarray | None:
        values = at_inputs[name].to_numpy()
        return values if np.isfinite(values).any() else None

    names: tuple[str, ...] = ("ambient_pressure_kpa", "running", "engine_rpm", "fuel_pressure_kpa", "ignition")
    names += tuple(name for name in ("flow_l_h", TANK_GAUGE) if name in at_inputs)
    conditions = Conditions(**{name: given(name) for name in names}, time_s=table.seconds)
    usable = {place: channel for place, channel in channels.items() if place in measured}
    return margins(car, fuel, measured, conditions, usable, _traces(table, measured, car))


def _traces(table: Ticks, measured: Mapping[str, np.ndarray], car: Car) -> dict[str, Traced]:
    clock, limited = Clock.of(table.seconds), car.limit_places
    return {
        name: traced(car.place(name).probe.lag_s, clock, values, table.reason[:, table.places.index(name)])
        for name, values in measured.items()
        if name in limited
    }


def margin_frame(result: MarginTable, index: pd.Index) -> pd.DataFrame:
    """Columns "<place>_margin_degc", "_limit_degc", "_uncertainty_degc", "_pressure_kpa" (absolute), "_vapour_liquid_ratio", "_state"."""
    columns = {f"{name}_{column}": getattr(place, column) for name, place in result.places.items() for column in MARGIN_COLUMNS}
    arrays: dict[str, Any] = {name: np.asarray(values) for name, values in columns.items()}
    arrays |= {name: states(values) for name, values in arrays.items() if name.endswith("_state")}
    return pd.DataFrame(arrays, index=index, copy=False)


def states(numbers: np.ndarray) -> "pd.Categorical[str]":
    """Numbers of Level as categories, by the names that alarms() and events() use too: "quiet", "warn", "low pressure" and so on."""
    return pd.Categorical.from_codes(numbers.astype(np.int8), pd.Index(LEVELS))


def marks(decoded: Decoded, timeline: Timeline) -> pd.DataFrame:
    """Columns time, text: what a person marked on the host and with the board's button, in time."""
    rows = []
    for row in decoded.messages["mark"]:
        at = float(timeline.seconds(row["boot"], row["time"])[()]) if np.isfinite(row["time"]) else np.nan
        if not np.isfinite(at) and timeline.anchored:
            at = float(row["wall_us"]) / 1e6
        rows.append((at, text_of(row["text"])))
    for row in decoded.messages["event"]:
        if row["code"] == EVENTS["mark"]:
            rows.append((float(timeline.seconds(row["boot"], row["time"])[()]), text_of(row["detail"]) or "button"))
    rows.sort(key=lambda row: row[0])
    times = timeline.index(np.array([at for at, _ in rows], dtype=float))
    return pd.DataFrame({"time": times, "text": pd.array([text for _, text in rows], dtype="str")})


def unheard_s(decoded: Decoded, table: Ticks) -> float:
    """How long the recorder heard nothing after the last reading."""
    found = gaps(decoded, table)
    if not len(found) or found["end"].iloc[-1] <= table.index[-1]:
        return 0.0
    return float(found["duration_s"].iloc[-1])


def gaps(decoded: Decoded, table: Ticks) -> pd.DataFrame:
    """Columns start, end (last reading before, first one after), duration_s, reason: where readings are missing; the last may reach to the log's end."""
    periods = [description["period_ms"] / 1000 for description in decoded.descriptions.values()]
    least_s = max(HOLE_PERIODS * max(periods, default=0.0), HOLE_LEAST_S)
    step = np.diff(table.seconds)
    holes = np.flatnonzero(step > least_s)
    links = [
        (float(table.timeline.seconds(np.asarray(gap.boot), np.asarray(gap.time_s))[()]), gap) for gap in decoded.losses.gaps
    ]
    starts, ends, words = list(table.seconds[holes]), list(table.seconds[holes + 1]), []
    for at in holes:
        inside = [gap.reason for start, gap in links if table.seconds[at] - least_s <= start <= table.seconds[at + 1]]
        if table.boot[at + 1] != table.boot[at]:
            words.append("the board restarted")
        else:
            words.append(f"link: {inside[0].replace('_', ' ')}" if inside else "readings missing")
    if links and len(table.seconds):
        last_s = float(table.seconds[-1])
        at_end = [
            gap for start, gap in links if start >= last_s - least_s and gap.length_s > least_s and gap.boot >= table.boot[-1]
        ]
        if at_end:  # the recording ended in it: no reading comes after
            starts.append(last_s)
            ends.append(last_s + max(gap.length_s for gap in at_end))
            words.append(f"link: {at_end[-1].reason.replace('_', ' ')}")
    return pd.DataFrame(
        {
            "start": table.timeline.index(np.array(starts, dtype=float)),
            "end": table.timeline.index(np.array(ends, dtype=float)),
            "duration_s": np.array(ends, dtype=float) - np.array(starts, dtype=float),
            "reason": pd.array(words, dtype="str"),
        }
    )


def events(decoded: Decoded, timeline: Timeline, car: Car | None) -> pd.DataFrame:
    """Columns time, event, place, text: what happened on the board, in time."""
    places = max((channel_places(d, car) for d in decoded.descriptions.values()), key=len, default=[])
    causes = {int(about["boot_count"]): int(about["reset_cause"]) for about in decoded.descriptions.values()}
    rows = []
    for row in decoded.messages["event"]:
        code, channel = int(row["code"]), int(row["channel"])
        name = EVENT_NAMES.get(code, f"event {code}").replace("_", " ")
        text = text_of(row["detail"])
        if code == EVENTS["alarm"]:
            number, level, old, new = from_event_value(int(row["value"]))
            channel = number if channel == NO_CHANNEL else channel
            words = LEVELS[level] if level < len(LEVELS) else f"level {level}"
            text = text or f"{words}: {_STATE_WORDS.get(old, old)} to {_STATE_WORDS.get(new, new)}"
        elif code == EVENTS["boot"] and not text:
            text = _CAUSE_NAMES.get(causes.get(int(row["value"]), -1), "")
        place = places[channel] if channel < len(places) else ""
        rows.append((float(timeline.seconds(row["boot"], row["time"])[()]), name, place, text))
    rows.sort(key=lambda row: row[0])
    result: dict[str, Any] = {"time": timeline.index(np.array([row[0] for row in rows], dtype=float))}
    for column, name in enumerate(("event", "place", "text"), start=1):
        result[name] = pd.array([row[column] for row in rows], dtype="str")
    return pd.DataFrame(result)


_STATE_WORDS = {0: "quiet", 1: "on", 2: "on, seen", 3: "over, not seen"}
