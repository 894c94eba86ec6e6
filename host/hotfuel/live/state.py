"""The state that page and terminal show: what a follower of the log knows at this moment. SI inside; words and units are in live.wording."""

import collections
import math
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from hotfuel_wire.meanings import EVENT_NAMES
from hotfuel_wire.messages import NO_CHANNEL

from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.live.alarms import BoardAlarms, HostAlarms, Spell
from hotfuel.live.approach import Approaches
from hotfuel.live.disk import Disk
from hotfuel.live.engine import SPEED, LastPull
from hotfuel.live.forecaster import Forecaster
from hotfuel.live.history import History
from hotfuel.live.intake import Batch, Intake
from hotfuel.live.memory import Memory
from hotfuel.live.situation import NOT_KNOWN_MIN, PlaceNow, Situation
from hotfuel.log.follow import Follower
from hotfuel.places import behind_needle, is_behind_needle, place_words, probe_of
from hotfuel.risk.level import Level
from hotfuel.risk.margin import PlaceMargin
from hotfuel.risk.trend import BOILING, UNKNOWN, WINDOW_S, Trend, trend
from hotfuel.samples.losses import gap_reason, lost
from hotfuel.samples.stream import Message
from hotfuel.session import folder as session_folder
from hotfuel.session import metadata
from hotfuel.session.frame import channel_places, text_of
from hotfuel.temperature.calibration import Calibration
from hotfuel.temperature.doubts import doubts
from hotfuel.units import Shown

_BLOCK = 1 << 15  # bytes taken at a time: a batch or two
_TREND_EVERY_S = 2.0
_SETTLED_S = 10.0  # more than the on-delay of an alarm and a health message's wait
_SAID_EVENTS = (
    "boot",
    "chip_lost",
    "chip_found",
    "chip_unsteady",
    "configuration_lost",
    "exception",
    "module_failed",
    "store_full",
    "low_voltage",
    "limits_loaded",
)


class LiveState:
    """Follows the log of a session. Call `advance` often; `situation()` is what is known then.

    path: session folder or log. clock: monotonic seconds. Raises InputError if there is no recording. A mistake in the session's car file is a note.
    Example: `state = LiveState("sunday"); state.advance(); print(state.situation().places)`.
    """

    def __init__(self, path: str | Path, clock: Callable[[], float] = time.monotonic) -> None:
        self.folder = session_folder.find(path)
        self._clock = clock
        self._follower = Follower(self.folder.log_path)
        self._disk = Disk(self.folder.log_path, clock)
        self.car, notes = _car(self.folder.car_path)
        fuel = None
        if self.car is not None:
            try:
                fuel = self.car.fuel()
            except InputError as error:
                notes.append(f"The fuel of the car file cannot be used, so there are no limits: {error}")
        self.fuel = fuel
        self.shown = Shown(self.car.units if self.car else "si")
        values, remarks = metadata.read(self.folder.metadata_path) if self.folder.metadata_path else ({}, [])
        notes += remarks
        self.name = str(values.get("title") or self.folder.path.resolve().name)
        run, when = values.get("test_day"), values.get("start_when")
        # of a test day: which run, unless the session is named so, and when it may begin
        self.planned = "; ".join([str(run)] * (bool(run) and run != self.name) + [f"start when {when}"] * bool(when))
        calibration = _calibration(self.folder.calibration_path, notes)
        notes += doubts(calibration, self.car, shown=self.shown) if calibration is not None else []
        self.intake = Intake(self.car if fuel is not None else None, fuel, calibration)
        for note in notes:
            self.intake.say(note)
        self.history = History()
        self.board = BoardAlarms()
        self.host = HostAlarms(self.car) if self.car is not None and fuel is not None else None
        self.marks: collections.deque[tuple[float, str]] = collections.deque(maxlen=50)
        self.marked: collections.deque[tuple[int, str]] = collections.deque(maxlen=400)  # (unix us, text) of marks made here
        self.watch: Callable[[Batch], None] = lambda batch: None  # a hook for tests: called with every batch
        self._events: collections.deque[tuple[float, str]] = collections.deque(maxlen=8)
        self._health: dict[str, Any] = {}
        self._gaps: tuple[int, float, str] = (0, 0.0, "")  # how many, s in all, reason of the last
        self._latest: Batch | None = None
        self._boot = -1
        self.approaches = Approaches(fuel) if fuel is not None else None
        self._memory = Memory()
        self._pulls = LastPull(self.car) if self.car is not None and fuel is not None else None
        self._heard: float | None = None
        self._caught_up = False
        self._trends: dict[str, Trend] = {}
        self._trends_at = -math.inf
        self.forecaster = Forecaster(self.folder.path, self.car, self.fuel)

    def __enter__(self) -> "LiveState":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the log."""
        self.forecaster.close()
        self._follower.close()

    def advance(self, budget_s: float = 0.05) -> bool:
        """Read what the log holds so far, for at most about `budget_s` seconds; True if anything was read. Does not wait at the end of the log."""
        end = self._clock() + budget_s
        came = False
        while data := self._follower.read(_BLOCK):
            came = True
            for one in self.intake.feed(data):
                if isinstance(one, Batch):
                    self._take(one)
                else:
                    self._hear(one)
            if self._clock() >= end:
                break
        else:
            self._caught_up = True
        self.forecaster.look(self._latest if self._caught_up else None)
        return came

    @property
    def live(self) -> bool:
        """True while a recorder is writing."""
        return self._follower.live

    @property
    def caught_up(self) -> bool:
        """True once the log's end has been reached."""
        return self._caught_up

    def _take(self, batch: Batch) -> None:
        self.watch(batch)
        now = self._clock()
        if self._caught_up:
            self._heard = now
        else:  # an old recording's last reading is as old as its file
            self._heard = now - max(0.0, time.time() - self.folder.log_path.stat().st_mtime)
        self._enter(batch.boot)
        self._latest = batch
        columns = {name: batch.degc[:, number] for number, name in enumerate(batch.places)}
        self._memory.add(batch)
        for name, place in batch.margins.items():
            columns[f"{name} limit"] = place.limit_degc
            columns[f"{name} kpa"] = place.pressure_kpa
            columns[f"{name} margin"], columns[f"{name} doubt"] = place.margin_degc, place.uncertainty_degc
        columns[SPEED] = batch.inputs["engine_rpm"]
        self.history.add(batch.seconds, columns)
        if self._pulls is not None:
            self._pulls.look(self.history, float(batch.seconds[-1]))
        if self.host is not None:
            self.host.update(batch.seconds, batch.margins, batch.inputs["running"], batch.inputs["engine_rpm"])
        if self.approaches is not None:
            self.approaches.update(batch.seconds, batch.margins)
        self.forecaster.add(batch)

    def _enter(self, boot: int) -> None:
        if boot > self._boot:
            self._boot = boot
            self.board.new_boot()

    def _hear(self, message: Message) -> None:
        values = message.values
        self._enter(message.boot)
        at = self._axis(message)
        if message.name == "wall_anchor":
            self.intake.axis.anchor(message.boot, message.time_s, values["wall_us"] / 1e6)
        elif message.name == "health":
            self._health = values
            self.board.health(values["lamp"], values["alarm_unseen"])
        elif message.name == "mark":
            text, offset_s = text_of(values["text"]), self.intake.axis.wall_offset_s
            self.marked.append((values["wall_us"], text))
            # when the button was touched, not when the reading before it was taken
            self.marks.append((values["wall_us"] / 1e6 - offset_s if math.isfinite(offset_s) and values["wall_us"] else at, text))
        elif message.name == "link_gap":
            reason = gap_reason(values["reason"])
            if lost(values["length_ms"], reason):
                self._gaps = (self._gaps[0] + 1, self._gaps[1] + values["length_ms"] / 1000, reason)
        elif message.name == "event":
            self._event(values, at)

    def _event(self, values: dict[str, Any], at: float) -> None:
        name = EVENT_NAMES.get(values["code"], "")
        place = self._place_of(values["channel"])
        if name == "alarm" and place:
            self.board.event(values["value"], place, values["detail"], at)
        elif name == "mark":
            self.marks.append((at, text_of(values["detail"]) or "button"))
        elif name in _SAID_EVENTS:
            words = " ".join(part for part in (name.replace("_", " "), place_words(place), text_of(values["detail"])) if part)
            self._events.append((at, words[:160]))

    def _axis(self, message: Message) -> float:
        if not math.isfinite(message.time_s):
            return self.intake.axis.last
        return float(self.intake.axis.seconds(message.boot, message.time_s))

    def _place_of(self, channel: int) -> str:
        if channel == NO_CHANNEL or not self.intake.descriptions:
            return ""
        names = channel_places(list(self.intake.descriptions.values())[-1], self.car)
        return names[channel] if channel < len(names) else ""

    def _trend(self, name: str, place: PlaceMargin, at: float) -> Trend:
        """Recomputed every two seconds; a trend over a minute does not change faster."""
        if self.fuel is None:
            return Trend(UNKNOWN)
        if at - self._trends_at >= _TREND_EVERY_S:
            self._trends, self._trends_at = {}, at
        if name in self._trends:
            return self._trends[name]
        line = probe_of(name)
        seconds, degc = self.history.column(line, WINDOW_S)
        _, kpa = self.history.column(f"{line} kpa", WINDOW_S)
        found, limit_degc = Trend(UNKNOWN), float(place.limit_degc[-1])
        if len(seconds):
            found = trend(seconds, degc, kpa, self.fuel, place.criterion.vapour_liquid_ratio, limit_degc=limit_degc)
        if name != line and place.vapour_liquid_ratio[-1] > 0:
            found = replace(found, way=BOILING)  # behind the needle, at the bowl's pressure, before it boils in the line
        self._trends[name] = found
        return found

    def situation(self) -> Situation:
        """What is known now."""
        batch = self._latest
        at = float(batch.seconds[-1]) if batch is not None else math.nan
        places = self._places(batch, at) if batch is not None else ()
        use_board = self.board.capable
        disagreement = tuple(place.name for place in places if use_board and self._not_warned_of(place, at))
        source = self.board if use_board or self.host is None else self.host
        return Situation(
            name=self.name, live=self.live, read_share=self._read_share(), age_s=math.nan if self._heard is None else self._clock() - self._heard,
            at=at, wall_offset_s=self.intake.axis.wall_offset_s, places=places,
            unseen_places=tuple(dict.fromkeys(probe_of(p.name) for p in places if p.reason and (p.state == Level.LOST or p.role != "other"))),
            first=source.first, winks=source.unseen, sounding=source.sounding or self.board.sounding, board_warns=use_board,
            unnamed=self.board.unnamed, disagreement=disagreement,
            outlooks=self.forecaster.outlooks, standing=self.forecaster.stop.on, stopped_at=self.forecaster.stop.began, marks=tuple(self.marks),
            notes=(*self._disk.others(), *self.intake.notes),
            inputs={name: float(values[-1]) for name, values in batch.inputs.items()} if batch is not None else {}, health=self._all_health(),
            not_on_disk=self._disk.sentence(), pull=self._pulls.pull if self._pulls is not None else None,
        )  # fmt: skip

    def _not_warned_of(self, place: PlaceNow, at: float) -> bool:
        """True if the board does not warn of what is warned of here. Just after a start or a warning it may not have come to it yet, and a warning held on
        over a restart by its off-delay is not the board's."""
        if self.host is None or self._latest is None or self.board.unnamed:
            return False
        if place.percolates or not place.margin_degc < place.uncertainty_degc:
            return False
        since = max(self.host.spells.get(place.name, Spell()).begin, at - float(self._latest.time_s[-1]))
        return at - since > _SETTLED_S and self.host.state(place.name).urgency > max(self.board.state(place.name).urgency, 1)

    def _places(self, batch: Batch, at: float) -> tuple[PlaceNow, ...]:
        roles = {place.name: place for place in self.car.places} if self.car is not None else {}
        running = float(batch.inputs["running"][-1])
        result = []
        for number, name in enumerate(batch.places):
            seen_at, seen_degc = self._memory.reading(name)
            role = roles[name].role if name in roles else "other"
            last, row = self._memory.shown(name, batch)
            plain = {
                "degc": float(last.degc[row, number]), "reason": int(last.reason[row, number]), "last_degc": seen_degc, "last_age_s": at - seen_at,
            }  # fmt: skip
            if name not in batch.margins:
                result.append(PlaceNow(name, role, state=Level.LOST if plain["reason"] else Level.NO_MARGIN, **plain))  # type: ignore[arg-type]
                continue
            for place in (name, behind_needle(name)):
                if place in batch.margins:
                    here = last.margins.get(place, batch.margins[place]).up_to(row)
                    result.append(self._with_margin(place, role, here, running, at, plain))
        return tuple(result)

    def _with_margin(
        self, name: str, role: str, place: PlaceMargin, running: float, at: float, plain: dict[str, Any]
    ) -> PlaceNow:
        assert self.host is not None
        state, spell = self.host.state(name), self.host.spells.get(name)
        if self.board.capable:
            theirs = self.board.state(name)
            if theirs.urgency >= state.urgency:
                state, spell = theirs, self.board.spells.get(name) or spell
        if state == Level.QUIET and place.state[-1] == Level.NO_MARGIN:
            state = Level.NO_MARGIN
        margin, uncertainty = float(place.margin_degc[-1]), float(place.uncertainty_degc[-1])
        spell = spell or Spell()
        percolates = self.host.percolates(name, running) and margin < uncertainty
        lost = self.host.lost(name) or (self.board.capable and self.board.lost(name))
        doubted = self._memory.doubted(probe_of(name))
        warned = state in (Level.WARN, Level.ACT) and not lost and not doubted  # else it has not been seen to recover
        quiet = state == Level.QUIET and not percolates and not doubted
        ahead = self.approaches is not None and quiet and self.approaches.ahead(name)
        return PlaceNow(
            name, "needle" if is_behind_needle(name) else role, **plain, margins=place, state=state, trend=self._trend(name, place, at),
            spell=spell, unsteady=lost, doubted=doubted, percolates=percolates,
            ahead=ahead, ahead_min=self.approaches.minutes(name) if ahead and self.approaches is not None else NOT_KNOWN_MIN,
            back_since=self._memory.back_since(name, state, spell, margin, uncertainty) if warned else math.nan,
            known=self._memory.margin(name),
        )  # fmt: skip

    def _read_share(self) -> float:
        if self._caught_up:
            return 1.0
        return self._follower.position / max(self.folder.log_path.stat().st_size, 1)

    def _all_health(self) -> dict[str, Any]:
        frames = self.intake.stream.frames
        last = list(self.intake.descriptions.values())[-1] if self.intake.descriptions else {}
        return {
            "board": self._health, "description": last, "damaged_pieces": frames.pieces_damaged, "frames": frames.frames, "gaps": self._gaps[0],
            "gap_s": self._gaps[1], "gap_reason": self._gaps[2], "boots": self.intake.boot + 1, "lamp": self.board.lamp,
            "events": tuple(self._events), "unknown": sum(self.intake.stream.unknown_types.values()),
        }  # fmt: skip


def _car(path: Path | None) -> tuple[car_file.Car | None, list[str]]:
    if path is None:
        return None, ["There is no car file in this session, so there are temperatures and no limits."]
    try:
        return car_file.load(path), []
    except InputError as error:
        return None, [f"The car file was left out, so there are no limits: {error}"]


def _calibration(path: Path | None, notes: list[str]) -> Calibration | None:
    if path is None:
        return None
    try:
        return Calibration.load(path)
    except InputError as error:
        notes.append(f"The calibration was left out: {error}")
        return None
