"""Fetches what the board has stored, while live frames continue.

Segments are parts of wire.log. They are saved one by one in the folder `segments` until all are whole, so that a broken link costs only the bytes in
transit; then wire.log is written from them. Nothing is deleted on the board unless asked for.
"""

import os
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import ANCHOR_FLAGS, OUTCOMES

from hotfuel.errors import InputError, LinkError
from hotfuel.files import whole
from hotfuel.link.port import Port
from hotfuel.link.talk import Refusal, Talk
from hotfuel.log import ending, identity
from hotfuel.text import counted

SEGMENTS = "segments"
OUTSTANDING = 4
DATA_MAX = 224
AGAIN_S = 1.0  # a piece not answered within this time is requested again
GIVE_UP_S = 10.0
_CLOCKS_APART_S = 300.0  # how far a person's watch may differ from the computer's clock
_ROW = "<HIB"


@dataclass(frozen=True)
class Segment:
    """A stored segment, from the board's list."""

    number: int
    size: int
    protected: bool


class Fetcher:
    """Fetches segments over an open port into `folder`. Calls progress(segment number, bytes so far, bytes in all) as bytes arrive.

    Raises LinkError when the link breaks: bytes received are kept, and the next run continues from there.
    """

    def __init__(
        self, port: Port, folder: Path, progress: Callable[[int, int, int], None] = lambda number, done, size: None
    ) -> None:
        self._talk = Talk(port, self._live)
        self._folder = folder
        self._progress = progress
        self._latest: tuple[int, int, int] | None = None  # tick, time_ms, wall_us of the last live frame

    def segments(self) -> list[Segment]:
        """The segments on the board, oldest first."""
        rows: list[Segment] = []
        while True:
            answer = self._talk.ask("segments", struct.pack("<H", len(rows)))
            if len(answer) % struct.calcsize(_ROW):
                raise LinkError("the board's list of its segments arrived damaged; run the download again")
            new = [Segment(*row) for row in struct.iter_unpack(_ROW, answer)]
            rows += new
            if len(new) < 32:
                return rows

    def fetch_all(self) -> list[Segment]:
        """Fetch every segment not yet complete in `folder`; returns the complete ones, oldest first."""
        (self._folder / SEGMENTS).mkdir(parents=True, exist_ok=True)
        here = []
        for segment in self.segments():
            path = self._path(segment)
            if not path.exists() or path.stat().st_size < segment.size:
                try:
                    self._fetch(segment)
                except Refusal as refusal:
                    if refusal.outcome == "bad_argument":  # overwritten by the ring in the meantime
                        continue
                    raise
                except OSError as error:
                    raise InputError(
                        f"segment {segment.number} cannot be kept in {self._folder} ({error.strerror or error}): make room and run the download "
                        "again; nothing is deleted on the board"
                    ) from None
            here.append(segment)
        return here

    def forget(self, segments: list[Segment]) -> int:
        """Delete these segments on the board; returns how many were deleted (not the one being written)."""
        gone = 0
        for segment in segments:
            try:
                self._talk.ask("forget", struct.pack("<H", segment.number))
                gone += 1
            except Refusal:
                continue
        return gone

    def write_log(self, segments: list[Segment]) -> Path:
        """Write wire.log from complete segments, with an anchor that relates the current boot to the wall clock. Raises InputError if there are none."""
        if not segments:
            raise InputError("the board has stored nothing yet; it stores by itself from power-on, wait a minute and try again")
        path = self._folder / "wire.log"
        log_id = identity.of(path) or identity.new()  # the same as an earlier download into this folder
        with whole(path) as fresh, open(fresh, "wb") as log:
            log.write(identity.frame(log_id, marks_end=True) + b"\x00")
            for segment in segments:
                log.write(self._path(segment).read_bytes())
            if self._latest is not None:
                tick, time_ms, wall_us = self._latest
                log.write(anchor(tick, time_ms, wall_us, 0))
            tick, time_ms, _ = self._latest or (0, 0, 0)
            log.write(framing.encode(ending.mark(tick, time_ms, time.time_ns() // 1000)))
            log.flush()
            os.fsync(log.fileno())
        return path

    def _path(self, segment: Segment) -> Path:
        return self._folder / SEGMENTS / f"{segment.number:05d}.seg"

    def _fetch(self, segment: Segment) -> None:
        part = self._path(segment).with_suffix(".part")
        begun = part.stat().st_size // DATA_MAX * DATA_MAX if part.exists() else 0
        with open(part, "r+b" if part.exists() else "w+b") as file:
            file.truncate(begun)
            file.seek(begun)
            self._pieces(segment, begun, file)
            file.seek(0)
            reader = framing.FrameReader()
            frames = sum(1 for _ in reader.feed(b"\x00" + file.read()))
        if reader.pieces_damaged or not frames:
            part.unlink()
            raise LinkError(
                f"segment {segment.number} arrived damaged ({counted(reader.pieces_damaged, 'piece is no frame', 'pieces are no frames')}); "
                "run the download again"
            )
        os.replace(part, self._path(segment))

    def _pieces(self, segment: Segment, begun: int, file: Any) -> None:
        """Keep up to OUTSTANDING requests open; write the pieces in order. Fetching the last, empty one tells the board that the host has the segment."""
        asked: dict[int, tuple[float, int]] = {}  # offset -> (when, sequence number)
        arrived: dict[int, bytes] = {}
        written, next_offset = begun, begun
        last = -(-segment.size // DATA_MAX) * DATA_MAX if segment.size % DATA_MAX else segment.size
        heard = time.monotonic()
        while written < segment.size or last in asked:
            now = time.monotonic()
            for offset, (when, _) in list(asked.items()):
                if now - when > AGAIN_S:
                    asked[offset] = (now, self._ask(segment.number, offset))
            while len(asked) < OUTSTANDING and next_offset <= last:
                asked[next_offset] = (now, self._ask(segment.number, next_offset))
                next_offset += DATA_MAX
            for name, values in self._talk.messages(0.25):
                if name == "data" and values["segment"] == segment.number and values["offset"] in asked:
                    heard = time.monotonic()
                    arrived[values["offset"]] = values["data"]
                    del asked[values["offset"]]
                elif (
                    name == "reply"
                    and values["outcome"] == OUTCOMES["bad_argument"]
                    and values["sequence"] in [s for _, s in asked.values()]
                ):
                    raise Refusal(f"segment {segment.number} is not on the board any more", "bad_argument")
                else:
                    self._live(name, values)
            while written in arrived and written < segment.size:
                data = arrived.pop(written)[: segment.size - written]
                if not data:
                    raise LinkError(f"segment {segment.number} is shorter on the board than it said; run the download again")
                file.write(data)
                written += len(data)
                self._progress(segment.number, written, segment.size)
            if time.monotonic() - heard > GIVE_UP_S:
                raise LinkError(
                    f"the board sends no more of segment {segment.number}; what has arrived is kept, run the download again"
                )

    def _ask(self, number: int, offset: int) -> int:
        return self._talk.send("fetch", struct.pack("<HI", number, offset))

    def _live(self, name: str, values: dict[str, Any]) -> None:
        if name in ("reading", "health", "auxiliary"):
            self._latest = (values["tick"], values["time_ms"], time.time_ns() // 1000)


def anchor(tick: int, time_ms: int, wall_us: int, flags: int) -> bytes:
    """The frame of a wall anchor: at wall_us the board's clock showed time_ms."""
    values = {"tick": tick, "time_ms": time_ms, "wall_us": wall_us, "monotonic_us": time.monotonic_ns() // 1000, "flags": flags}
    return framing.encode(codec.pack("wall_anchor", values))


def state_start(log: Path, started_wall_s: float, now_s: float | None = None) -> None:
    """Anchor the last boot in a log that has no anchor, at the time when a person says the board was switched on.

    The anchor goes right after the boot's first frame, because an anchor belongs to the boot around it. now_s: unix seconds, default this computer's.
    Raises InputError if all boots are anchored, or if the drive would end in the future.
    """
    data = log.read_bytes()
    begun: list[tuple[int, int, int, bool]] = []  # per boot: position after its first frame, tick, time_ms, anchored
    key = None
    at = last_ms = 0
    for piece in data.split(b"\x00"):
        at += len(piece) + 1
        if not piece:
            continue
        try:
            name, values = codec.unpack(framing.decode(piece))
        except ValueError:
            continue
        if begun and name == "reading":
            last_ms = values["time_ms"]
        if name == "description" and (values["board_id"], values["boot_count"]) != key:
            key, last_ms = (values["board_id"], values["boot_count"]), 0
            begun.append((at, values["tick"], values["time_ms"], False))
        elif name == "wall_anchor" and begun:
            begun[-1] = (*begun[-1][:3], True)
    free = [row for row in begun if not row[3]]
    if not free:
        raise InputError("every drive in this log has a time of day already; leave --started out")
    at, tick, time_ms, _ = free[-1]
    over_s = started_wall_s + last_ms / 1000 - (time.time() if now_s is None else now_s)
    if free[-1] is begun[-1] and over_s > _CLOCKS_APART_S:
        raise InputError(
            f"the drive lasted {last_ms / 60_000:.0f} min, so by --started it would end {over_s / 60:.0f} min from now: give when the board was switched on. "
            "The recording itself is here; type the same again with the right time"
        )
    stated = anchor(tick, max(time_ms, 1), int(started_wall_s * 1e6) + max(time_ms, 1) * 1000, ANCHOR_FLAGS["stated_by_user"])
    with whole(log) as fresh:
        fresh.write_bytes(data[:at] + stated + data[at:])
