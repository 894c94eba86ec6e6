"""The recording loop: link -> log -> alarm. Writes every byte to the log, adds anchors, marks and gaps, and passes each payload to the alarm.

Nothing here can hang: page and terminal follow the log in separate processes.
"""

import struct
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from hotfuel_wire import codec
from hotfuel_wire.codec import LAYOUTS
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.kinds import KINDS
from hotfuel_wire.messages import COMMANDS, GAP_REASONS, HEADER, PAYLOAD_MAX, SATURATED, TYPES

from hotfuel.link.receive import Link, command, what_was_seen
from hotfuel.link.sentences import Receiver
from hotfuel.link.talk import fields
from hotfuel.log import ending
from hotfuel.log.append import LogWriter
from hotfuel.record.requests import Requests
from hotfuel.record.room import Room
from hotfuel.samples.clock import setting

ANCHOR_EVERY_S = 5.0
SILENCE_S = 2.0  # the slowest board sends every second
_TURN_S = 0.1  # the longest single wait for bytes
_REST_S = 0.5  # at the end, the longest wait for the rest of a message
_HEARD_EVERY_S = 0.25  # several readings take the alarm hardly longer than one, and it waits for seconds before it comes on
_HEAD_TYPES = (TYPES["description"], TYPES["barometer"])
_FIRST_HOST_TYPE = TYPES["wall_anchor"]
_HEADER = "<" + "".join(KINDS[row[1]][0] for row in HEADER)
_HEADER_SIZE = struct.calcsize(_HEADER)
_U32_MAX = 0xFFFFFFFF


def _monotonic() -> float:
    """Monotonic seconds that also count while the computer sleeps, if the system has such a clock."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


@dataclass
class Counts:
    """Counts of a recording so far."""

    bytes_received: int = 0
    frames: int = 0
    bytes_damaged: int = 0
    gaps: int = 0
    gap_s: float = 0.0
    marks: int = 0
    bytes_lost: int = 0
    sentences: int = 0


@dataclass
class Recorder:
    """Records from `link` into `writer` until told to stop.

    heard: called with the payloads, after they went to the log, at most four times a second; it runs the alarm. An error in it is reported and costs no data.
    acknowledge: called when page or terminal ask to silence the sound (the board is told too). say: gets sentences for a person. folder: the session's,
    where requests are read; None: no requests. begun: called once the disk has confirmed the first frames. moved: called with the new folder when the
    log has to continue in another. receiver: a satellite receiver whose sentences go into the log too.
    """

    link: Link
    writer: LogWriter
    heard: Callable[[list[bytes]], None] = lambda payloads: None
    say: Callable[[str], None] = lambda sentence: None
    folder: Path | None = None
    monotonic: Callable[[], float] = _monotonic
    wall: Callable[[], float] = time.time
    silence_s: float = SILENCE_S
    anchor_every_s: float = ANCHOR_EVERY_S
    counts: Counts = field(default_factory=Counts)
    acknowledge: Callable[[], None] = lambda: None
    begun: Callable[[], None] = lambda: None
    moved: Callable[[Path], None] = lambda folder: None
    receiver: Receiver | None = None

    def __post_init__(self) -> None:
        self._frames = FrameReader()
        self._requests = Requests(self.folder) if self.folder is not None else None
        self._last = [0, 0]  # tick and board time of the last board frame
        self._last_frame_s, self._last_frame_wall_s = self.monotonic(), self.wall()
        self._next_anchor_s = 0.0
        self._anchor: tuple[float, float, float] | None = None  # the last one: wall time, monotonic and board time, s
        self._gap: str | None = None  # reason of the current gap
        self._disk_full_since: tuple[float, float] | None = None  # monotonic, wall
        self._damaged_told = self._lost_told = 0
        self._first = b""  # the first bytes, for a sentence about a device that is not our board
        self._ending = False
        self._sequence = 0
        self._unheard: list[bytes] = []  # payloads not yet passed to the alarm
        self._next_heard_s = 0.0
        self._alarm_fails = False
        self._receiver_there = True
        self._begun = False
        self._moves = self.writer.moved
        self._head: dict[int, bytes] = {}  # needed to read a log from its middle: the last description, barometer words
        self._room = Room(self.monotonic())

    def run(self, seconds: float | None = None, stop: Callable[[], bool] = lambda: False) -> Counts:
        """Record for `seconds` (None: no limit), until `stop()` is true or an "end" is requested, then mark the log's end. Returns the counts."""
        end = None if seconds is None else self.monotonic() + seconds
        self.link.write(command("version"))
        while not (self._ending or stop() or (end is not None and self.monotonic() >= end)):
            self.turn(_TURN_S)
        self._end()
        self._pass_on()
        return self.counts

    def turn(self, timeout_s: float) -> None:
        """Wait at most `timeout_s` for bytes, log them, pass them on, do what is due."""
        data = self.link.read(timeout_s)
        now = self.monotonic()
        self._watch(now)  # before the bytes: after the computer slept, the gap must be seen before the bytes that end it
        if data:
            self._keep(data, now)
        if now >= self._next_heard_s:
            self._next_heard_s = now + _HEARD_EVERY_S
            self._pass_on()
        if self.receiver is not None:
            self._hear_receiver(self.receiver)
        self.writer.work()
        self._watch_disk(now)
        self._watch_place(now)
        if self._requests is not None:
            for request in self._requests.new():
                self._do(request)

    def begin_with(self, received: bytes) -> None:
        """Take the bytes that the link received before the recording began."""
        if received:
            self._keep(received, self.monotonic())

    def go_on(self, part: int, tick: int, time_ms: int, last_wall_s: float) -> None:
        """Begin another part of a log whose recorder has died. tick, time_ms: of its last board frame, received at last_wall_s."""
        self._last = [tick, time_ms]
        self._host("log_start", log_id=self.writer.log_id, wall_us=_us(self.wall()), part=min(part, 0xFFFF), marks_end=1)
        self._note_gap("recorder_stopped", last_wall_s, self.wall() - last_wall_s)

    def mark(self, text: str, wall_s: float | None = None) -> None:
        """Add a person's mark to the log, now or at `wall_s` (unix seconds)."""
        self.counts.marks += 1
        whole = text.encode("utf-8", "replace")[: PAYLOAD_MAX - LAYOUTS[TYPES["mark"]].size].decode("utf-8", "ignore")
        self._host("mark", wall_us=_us(self.wall() if wall_s is None else wall_s), text=whole.encode("utf-8"))

    def _end(self) -> None:
        """Take the rest of the message that is coming in, so that the log ends with a whole one, and mark its end."""
        until = self.monotonic() + _REST_S
        while self.writer.in_a_frame and self.monotonic() < until:
            data = self.link.read(_TURN_S)
            self._keep(data[: data.find(b"\x00") + 1] or data, self.monotonic())
        self._end_gap(self.monotonic())
        tick, time_ms = self._last
        self.writer.host_frame(ending.mark(tick, time_ms, _us(self.wall()), self._newly_damaged()))

    def _keep(self, data: bytes, now: float) -> None:
        self.counts.bytes_received += len(data)
        self._first = self._first or data[:200]
        payloads = list(self._frames.feed(data))
        self.counts.bytes_damaged = self._frames.bytes_damaged
        board = [payload for payload in payloads if (payload[0] & ~SATURATED) < _FIRST_HOST_TYPE and len(payload) >= _HEADER_SIZE]
        if board and self._gap is not None:
            self.say(f"Receiving again after {now - self._last_frame_s:.1f} s.")
            self._end_gap(now)  # logged before the bytes that ended it
        self.writer.received(data)
        if board:
            self.counts.frames += len(board)
            for payload in board:
                if payload[0] == TYPES["reply"]:
                    self._learn_sequence(payload)
                elif payload[0] in _HEAD_TYPES:
                    self._head[payload[0]] = payload
            if not self._begun and not self.writer.failing and self.writer.sync():
                self._begun = True
                self.begun()
            _, *self._last = struct.unpack_from(_HEADER, board[-1])
            self._last_frame_s, self._last_frame_wall_s = now, self.wall()
            if now >= self._next_anchor_s:
                self._next_anchor_s = now + self.anchor_every_s
                self._host("wall_anchor", wall_us=_us(self._last_frame_wall_s), monotonic_us=_us(now), flags=0)
                self._watch_clock((self._last_frame_wall_s, now, self._last[1] / 1000))
        self._unheard += payloads

    def _watch_clock(self, here: tuple[float, float, float]) -> None:
        """Say at once that the computer's clock was set. here: wall time, monotonic and board time of this anchor, s."""
        if self._anchor is not None:
            how = setting(*(now - before for now, before in zip(here, self._anchor, strict=True)))
            if how:
                self.say(f"The computer's clock was set {how}; all times of this recording go by the clock as it is at the end.")
        self._anchor = here

    def _hear_receiver(self, receiver: Receiver) -> None:
        """Log a receiver's sentences; if it stops or goes away, the board's data are not affected."""
        if receiver.connected != self._receiver_there:
            self._receiver_there = receiver.connected
            self.say(
                f"The receiver at {receiver.url} is back."
                if receiver.connected
                else f"The receiver at {receiver.url} went away; trying again."
            )
        for text in receiver.sentences():
            self.counts.sentences += 1
            self._host("sentence", wall_us=_us(self.wall()), monotonic_us=_us(self.monotonic()), text=text)

    def _learn_sequence(self, payload: bytes) -> None:
        """Learns the board's last sequence number: it treats one it has answered as a repeat, so ours must be newer."""
        try:
            values = codec.unpack(payload)[1]
        except codec.WireError:
            return
        if values["code"] == COMMANDS["version"]:
            told = fields(values["answer"])
            last = told.get("last_sequence", "")
            self._sequence = int(last) & 0xFFFF if last.isdecimal() else self._sequence

    def _pass_on(self) -> None:
        payloads, self._unheard = self._unheard, []
        if not payloads:
            return
        try:
            self.heard(payloads)
            self._alarm_fails = False
        except Exception as error:  # whatever fails in the alarm, the recording must continue
            if not self._alarm_fails:
                self.say(f"The warning does not work at this moment ({type(error).__name__}: {error}); the recording goes on.")
            self._alarm_fails = True

    def _watch(self, now: float) -> None:
        """Begin a gap if the port has gone or nothing readable has come for too long."""
        if not self.link.connected:
            if self._gap is None:
                self.say(
                    "The simulated board has gone: its drive is over, unless a fault was asked for. End the recording with Ctrl-C."
                    if self._is_simulated()
                    else f"{self.link.problem or 'The port went away'}; trying again until it is back."
                )
            self._gap = "port_gone"
        elif self._gap is None and now - self._last_frame_s > self.silence_s:
            self._gap = "silence"
            silent_s = now - self._last_frame_s
            if self.counts.frames:
                self.say(f"Nothing readable from the board for {silent_s:.1f} s; still listening.")
            else:
                self.say(f"{self.link.url}: {what_was_seen(self._first, silent_s)} Still listening.")

    def _is_simulated(self) -> bool:
        """Whether the last board that described itself was a simulated one, whose drive has an end."""
        try:
            return bool(codec.unpack(self._head[TYPES["description"]])[1]["simulated"])
        except (KeyError, codec.WireError):
            return False

    def _end_gap(self, now: float) -> None:
        """Log the gap that ends now, with its length."""
        if self._gap is not None:
            self._note_gap(self._gap, self._last_frame_wall_s, now - self._last_frame_s)
            self._gap = None

    def _watch_disk(self, now: float) -> None:
        """Log a time in which neither disk nor memory took the bytes, once there is room again."""
        if self.writer.bytes_lost > self._lost_told:
            self._lost_told = self.counts.bytes_lost = self.writer.bytes_lost
            self._disk_full_since = self._disk_full_since or (now, self.wall())
        elif self._disk_full_since is not None and not self.writer.failing:
            self._note_gap("disk_full", self._disk_full_since[1], now - self._disk_full_since[0])
            self._disk_full_since = None

    def _watch_place(self, now: float) -> None:
        """Follow the log into another folder; warn when its disk will soon be full."""
        if self.writer.moved != self._moves:
            self._moves = self.writer.moved
            if self.writer.headless:
                for payload in self._head.values():
                    self.writer.host_frame(payload)
            if self.folder is not None:
                self.folder = self.writer.path.parent
                self._requests = Requests(self.folder)
            self.moved(self.writer.path.parent)
        warning = self._room.look(now, self.writer.path.parent, self.writer.size)
        if warning:
            self.say(warning)

    def _note_gap(self, reason: str, wall_s: float, length_s: float) -> None:
        damaged = self._newly_damaged()
        length_s = max(length_s, 0.0)  # if the clock was set back in between, the length is unknown
        length_ms = max(1, min(round(length_s * 1000), _U32_MAX))
        self._host("link_gap", wall_us=_us(wall_s), length_ms=length_ms, bytes_damaged=damaged, reason=GAP_REASONS[reason])
        self.counts.gaps += 1
        self.counts.gap_s += length_s

    def _newly_damaged(self) -> int:
        """Damaged bytes since the last gap."""
        damaged = self._frames.bytes_damaged - self._damaged_told
        self._damaged_told = self._frames.bytes_damaged
        return min(damaged, _U32_MAX)

    def _host(self, name: str, **values) -> None:
        tick, time_ms = self._last
        self.writer.host_frame(codec.pack(name, {"tick": tick, "time_ms": time_ms, **values}))

    def _do(self, request: dict) -> None:
        if request["kind"] == "mark":
            self.mark(request["text"], request["wall_s"])
        elif request["kind"] == "acknowledge":
            self._sequence = (self._sequence + 1) & 0xFFFF
            self.link.write(command("acknowledge", sequence=self._sequence))
            self.acknowledge()
        else:
            self._ending = True


def _us(seconds: float) -> int:
    return max(0, int(seconds * 1e6))
