"""From the bytes of a growing log to batches of temperatures and margins, by the same functions as everywhere else.

A batch is what came in one go from one boot under one description. Memory stays flat: only the last seconds of inputs are kept, for limits that
look back (hotfuel.risk.pressure) and for engine speed, which is counted over a second.
"""

import collections
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.live.engine import EngineNow
from hotfuel.risk.margin import Channel, PlaceMargin, margins
from hotfuel.risk.pressure import LOOK_BACK_S, LOOKED_BACK, TANK_GAUGE, Conditions, looked_back
from hotfuel.risk.probes import Clock, ProbeTrace, fall_note
from hotfuel.samples import table
from hotfuel.samples.stream import Message, Stream
from hotfuel.session import inputs as board_inputs
from hotfuel.session import more_inputs
from hotfuel.session.frame import channel_places, channels_of
from hotfuel.temperature.calibration import Calibration
from hotfuel.temperature.counts import scans_degc
from hotfuel.temperature.stopped import Stopped
from hotfuel.temperature.thermocouple import temperature_degc
from hotfuel.text import first_upper
from hotfuel.units import Shown

_GIVEN = ("ambient_pressure_kpa", "running", "engine_rpm", "fuel_pressure_kpa", "ignition", "flow_l_h", TANK_GAUGE)
_KEPT_S = LOOK_BACK_S + board_inputs.HOLD_S + board_inputs.SPEED_WINDOW_S


@dataclass(frozen=True)
class Batch:
    """n ticks. seconds (n,): board time, running on over boots; time_s (n,): since boot `boot`; degc, reason (n, places); inputs: name -> (n,);
    margins: place -> arrays (n,), empty without a car file."""

    seconds: np.ndarray
    time_s: np.ndarray
    boot: int
    tick: np.ndarray
    places: tuple[str, ...]
    degc: np.ndarray
    reason: np.ndarray
    inputs: dict[str, np.ndarray]
    margins: dict[str, PlaceMargin]


class Intake:
    """Takes the log's bytes in pieces of any size. `descriptions`, `notes` and `stream` (for its counts) grow as it reads."""

    def __init__(self, car: Car | None, fuel: Fuel | None, calibration: Calibration | None = None) -> None:
        self.car, self.fuel, self.calibration = car, fuel, calibration
        self.descriptions: dict[int, dict[str, Any]] = {}
        self.notes: list[str] = []
        self.stream = Stream()
        self.axis = Axis()
        self.boot = -1
        self._inputs_kept: dict[str, collections.deque[np.void]] = {
            "auxiliary": collections.deque(maxlen=4096),
            "more_inputs": collections.deque(maxlen=4096),
            "barometer": collections.deque(maxlen=8),
        }
        self._held: list[tuple[np.ndarray, dict[str, np.ndarray]]] | None = None  # inputs so far, None: to be worked out
        self._recent: dict[str, np.ndarray] = {}  # seconds and pressures of the last ticks, for limits that look back
        self._stopped = Stopped()
        self._names: dict[int, list[str]] = {}  # places of a description's channels
        self._channels: dict[str, Channel] = {}
        self._engine = EngineNow(car) if car is not None else None
        self._probes = {place.name: ProbeTrace(place.probe.lag_s) for place in car.places} if car is not None else {}

    def prepare(self) -> None:
        """Build the tables that are otherwise built on first use, so that the first readings do not wait for them."""
        temperature_degc(1.0, np.array([25.0, 26.0]))
        if self.car is not None and self.fuel is not None:
            boiling = {place.name: np.array([150.0]) for place in self.car.places}
            for running in (0.0, 1.0):
                margins(self.car, self.fuel, boiling, Conditions(running=running))

    def feed(self, data: bytes) -> Iterator[Message | Batch]:
        """What `data` completed, in order: every message but readings and inputs, and batches of readings."""
        return self.take(self.stream.frames.feed(data))

    def take(self, payloads: Iterable[bytes]) -> Iterator[Message | Batch]:
        """As `feed`, for payloads already taken out of their frames."""
        for one in self.stream.batches(payloads):
            if isinstance(one, np.ndarray):
                yield from self._batch(one)
            elif one.name in self._inputs_kept:
                self._inputs_kept[one.name].append(table.row(one.name, one.boot, one.time_s, one.values))
                self._held = None
            else:
                if one.name == "description":
                    self._describe(one)
                yield one

    def _describe(self, message: Message) -> None:
        assert message.description_id is not None
        if message.description_id in self.descriptions:
            return
        self.descriptions[message.description_id] = message.values
        self._names[message.description_id] = channel_places(message.values, self.car)
        if self.car is not None:
            self._channels = channels_of(self.descriptions, self.car, self.calibration)
        if message.values["simulated"] and message.values["simulated_speed"] > 1:
            self.axis.fast_boots.add(message.boot)

    def _batch(self, scans: np.ndarray) -> Iterator[Batch]:
        """Readings of one boot and description as a batch; none if all of them came before."""
        boot, description_id = int(scans["boot"][0]), int(scans["description_id"][0])
        if boot != self.boot:
            self.boot = boot
            self._recent, self._held = {}, None
        rising = np.concatenate(([True], np.diff(np.maximum.accumulate(scans["time"])) > 0))  # one sent twice counts once
        scans = scans[rising & (self.axis.seconds(boot, scans["time"]) > self.axis.last)]
        if not len(scans):
            return
        time_s = np.ascontiguousarray(scans["time"])
        seconds = self.axis.seconds(boot, time_s)
        self.axis.last = float(seconds[-1])
        measured, reason, cold_degc = scans_degc(scans, self.descriptions, self.calibration)
        self._stopped.mark(scans, measured, reason, cold_degc)
        width = measured.shape[1]
        # of a board that has just started again, before it has described itself: most likely as before
        names = self._names.get(description_id) or next(reversed(self._names.values()), [])
        names = (names + [f"channel_{number}" for number in range(len(names), width)])[:width]
        at_inputs = self._inputs(boot, time_s, seconds)
        yield Batch(
            seconds, time_s, boot, scans["tick"].astype(np.int64), tuple(names), measured, reason, at_inputs,
            self._margins(seconds, dict(zip(names, measured.T, strict=True)), dict(zip(names, reason.T, strict=True)), at_inputs),
        )  # fmt: skip

    def _inputs(self, boot: int, time_s: np.ndarray, seconds: np.ndarray) -> dict[str, np.ndarray]:
        names = (*board_inputs.NAMES, "running", *more_inputs.names(self.car))
        result = {name: np.full(len(time_s), np.nan) for name in names}
        if self._engine is None:
            return result
        if self._held is None:
            self._held = self._board_inputs(boot, time_s[0])
        for held in self._held:
            result |= board_inputs.held(*held, time_s)
        result["running"] = self._engine.running(seconds, result)
        return result

    def _board_inputs(self, boot: int, now_s: float) -> list[tuple[np.ndarray, dict[str, np.ndarray]]]:
        """Rising times and values of the messages with inputs of `boot` that can still count."""
        assert self.car is not None
        found = []
        for name in ("auxiliary", "more_inputs"):
            kept = self._inputs_kept[name]
            while kept and (kept[0]["boot"] != boot or kept[0]["time"] < now_s - _KEPT_S):
                if kept[0]["boot"] > boot:
                    break
                kept.popleft()
            mine = [row for row in kept if row["boot"] == boot]
            if not mine:
                continue
            rows = np.array(mine, table.MESSAGES[name])
            if name == "auxiliary":
                words = np.array(
                    [row for row in self._inputs_kept["barometer"] if row["boot"] == boot], table.MESSAGES["barometer"]
                )
                values = board_inputs.from_auxiliary(rows, words, self.car)
            else:
                values, _ = more_inputs.from_messages(rows, self.car)
            order = np.argsort(rows["time"], kind="stable")
            found.append((rows["time"][order], {column: some[order] for column, some in values.items()}))
        return found

    def _margins(
        self,
        seconds: np.ndarray,
        measured: dict[str, np.ndarray],
        reasons: dict[str, np.ndarray],
        at_inputs: dict[str, np.ndarray],
    ) -> dict[str, PlaceMargin]:
        if self.car is None or self.fuel is None:
            return {}
        known = {place.name for place in self.car.places}
        here = {name: values for name, values in measured.items() if name in known}
        channels = {name: channel for name, channel in self._channels.items() if name in here}
        clock = Clock.of(seconds)
        traces = {name: self._probes[name].see(clock, values, reasons[name]) for name, values in here.items()}
        for name, trace in traces.items():
            if trace.falls:
                self.say(fall_note(name, tank=self.car.place(name).role == "tank"))
        try:
            result = margins(self.car, self.fuel, here, self._conditions(seconds, at_inputs), channels, traces)
        except InputError as error:
            self.say(f"There are no margins: {error}")
            return {}
        for note in result.notes_in(Shown(self.car.units)):
            self.say(note)
        return result.places

    def _conditions(self, seconds: np.ndarray, at_inputs: dict[str, np.ndarray]) -> Conditions:
        """What is known at these ticks, the pressures already looked back on: those of the ticks before are kept for that."""
        given = {name: at_inputs[name] for name in _GIVEN if name in at_inputs}
        now = {"seconds": seconds, **{name: at_inputs[name] for name in LOOKED_BACK if name in at_inputs}}
        recent = self._recent
        joined = {name: np.concatenate((recent[name], values)) for name, values in now.items()} if recent else now
        kept = joined["seconds"] >= seconds[-1] - LOOK_BACK_S
        self._recent = {name: values[kept] for name, values in joined.items()}
        pressures = {name: values for name, values in joined.items() if name != "seconds" and not np.isnan(values).all()}
        lowest = looked_back(Conditions(**pressures, time_s=joined["seconds"]))
        return Conditions(**_known(given | {name: getattr(lowest, name)[-len(seconds) :] for name in pressures}))

    def say(self, note: str) -> None:
        """Keep a note for the reader, once."""
        note = first_upper(note)
        if note not in self.notes and len(self.notes) < 20:
            self.notes.append(note)


class Axis:
    """One time axis that rises through all boots, in s, and its offset from wall time."""

    def __init__(self) -> None:
        self.last = -math.inf
        self.wall_offset_s = math.nan
        # boots of a simulated board that runs faster than real time: their seconds are not adjusted to the clock
        self.fast_boots: set[int] = set()
        self._offsets: dict[int, float] = {}
        self._anchored: set[int] = set()

    def seconds(self, boot: int, time_s: npt.ArrayLike) -> np.ndarray:
        """Board times of `boot` on the axis. A new boot begins a second behind the one before, until its first anchor says when it was."""
        if boot not in self._offsets:
            self._offsets = {boot: 0.0 if self.last == -math.inf else self.last + 1.0 - float(np.ravel(time_s)[0])}
        return np.asarray(time_s, dtype=float) + self._offsets[boot]

    def anchor(self, boot: int, time_s: float, wall_s: float) -> None:
        """A wall anchor: at wall_s the board's time was time_s."""
        if not math.isfinite(time_s) or boot not in self._offsets or (boot in self.fast_boots and boot in self._anchored):
            return
        first = boot not in self._anchored
        self._anchored.add(boot)
        if math.isnan(self.wall_offset_s):
            self.wall_offset_s = wall_s - time_s - self._offsets[boot]
            return
        off_s = wall_s - time_s - self._offsets[boot] - self.wall_offset_s
        if abs(off_s) < 2.0:
            self.wall_offset_s += 0.05 * off_s  # anchors come late by chance; the crystal drifts slowly
        elif first and off_s > 0:
            self._offsets[boot] += off_s  # how long the board was off
        else:
            self.wall_offset_s += off_s  # this computer's clock was set


def _known(values: dict[str, np.ndarray]) -> dict[str, Any]:
    """The values that are known, for Conditions; plain numbers where there is one tick only."""
    found = {name: column for name, column in values.items() if not np.isnan(column).all()}
    return {name: float(column[0]) if column.size == 1 else column for name, column in found.items()}
