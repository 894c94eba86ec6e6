"""Chooses a recording's folder: the one asked for, continuing a drive whose recorder died there, or a new one beside it. Never prompts."""

import itertools
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader

from hotfuel import car as car_file
from hotfuel import samples
from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.link.receive import Link, command
from hotfuel.link.talk import fields
from hotfuel.log import joined, rescue, reserve
from hotfuel.log.lock import is_being_written
from hotfuel.samples import Decoded
from hotfuel.text import counted, typed

STILL_THE_DRIVE_S = 2 * 3600.0
_ASK_S = 3.0
_FILES = ("wire.log", "car.toml", "session.json", "calibration.json")


@dataclass
class Board:
    """The board on a link: its id as hex ("" if not received yet), the description ids of its readings, and the bytes received meanwhile."""

    board_id: str = ""
    descriptions: set[int] = field(default_factory=set)
    received: bytes = b""


@dataclass(frozen=True)
class Earlier:
    """The log that a recording continues: its number of parts, its last board frame's tick and time, and when that was received (unix seconds)."""

    parts: int
    tick: int
    time_ms: int
    wall_s: float


@dataclass(frozen=True)
class Place:
    """The recording's folder. earlier: set if the recording continues a log there. sentence: for a person; "" if there is nothing to say."""

    folder: Path
    earlier: Earlier | None = None
    sentence: str = ""


def ask(link: Link, timeout_s: float = _ASK_S, clock: Callable[[], float] = time.monotonic) -> Board:
    """Identify the board, within `timeout_s`; returns as soon as its id is known. The caller writes the received bytes to the log."""
    board = Board()
    reader = FrameReader()
    asked = False
    end = clock() + timeout_s
    link.write(command("version"))
    while clock() < end and not board.board_id:
        data = link.read(0.1)
        board.received += data
        for payload in reader.feed(data):
            try:
                name, values = codec.unpack(payload)
            except codec.WireError:
                continue
            if name == "reading":
                board.descriptions.add(values["description_id"])
            elif name == "description":
                board.board_id = bytes(values["board_id"]).hex()
            elif name == "reply":
                told = fields(values["answer"])
                board.board_id = told.get("board_id", board.board_id)
                last = told.get("last_sequence", "")
                if not asked:
                    asked = True
                    link.write(command("info", sequence=(int(last) if last.isdecimal() else 0) + 1))
    return board


def place(out: Path, car: Car | None, board: Callable[[], Board], now_s: float | None = None) -> Place:
    """The folder for a recording to `out`: never overwrites anything.

    board: called only if needed. A log whose recorder died is continued if board and car are the same and its last byte is less than two hours old;
    otherwise the next free name is used. Raises InputError if `out` cannot hold a session.
    """
    if out.exists() and not out.is_dir():
        raise InputError(f"{out} is a file: give a new folder for the session")
    if not _taken(out):
        return Place(out)
    last, free = out, out
    for folder in _series(out):
        if not _taken(folder):
            free = folder
            break
        last = folder
    log = last / "wire.log"
    why = _why_not(log, time.time() if now_s is None else now_s)
    if not why:
        old = samples.decode(log)
        why = _another(old, log.parent / "car.toml", car, board)
        if not why:
            return Place(last, _earlier(old, log), f"{last} was cut off: this recording goes on with it.")
    return Place(free, None, f"{last} {why}: this recording goes to {free}.")


def _series(out: Path) -> Iterator[Path]:
    yield out
    beside = out if out.name not in ("", "..") else Path(os.path.abspath(out))
    yield from (beside.with_name(f"{beside.name}-{number}") for number in itertools.count(2))


def _taken(folder: Path) -> bool:
    return any((folder / name).exists() for name in _FILES)


def _why_not(log: Path, now_s: float) -> str:
    """Why a folder's log cannot be continued; "" if it can."""
    try:
        with open(log, "rb") as file:
            age_s = now_s - os.fstat(file.fileno()).st_mtime
            live = is_being_written(file.fileno())
    except OSError:
        return "holds no recording that can be read"
    if live:
        return "is being recorded"
    note = reserve.read(log)
    if note is None or note.ended:
        return "is a finished recording"
    standing = rescue.standing(log)
    if standing is not None and standing.others:
        return f"holds another recording too (type: hotfuel rescue {typed(log.parent)} --into FOLDER)"
    if standing is not None and any(joined.same(piece.log, log) for piece in standing.behind):
        command = f"hotfuel rescue {typed(standing.behind[0].path)} --into FOLDER"
        return f"lacks {counted(standing.hole, 'byte')} before what is kept elsewhere of it (put its log back from a copy, or type: {command})"
    # negative if the clock was set in between
    return "" if abs(age_s) < STILL_THE_DRIVE_S else f"was cut off {abs(age_s) / 3600:.1f} h ago"


def _another(old: Decoded, car_path: Path, car: Car | None, board: Callable[[], Board]) -> str:
    """How this recording differs from the old one; "" if it does not."""
    try:
        before = car_file.load(car_path) if car_path.exists() else None
    except InputError:
        before = None
    if before != car:
        return "was cut off with another car file"
    here = board()
    if here.descriptions & old.descriptions.keys():
        return ""
    known = {bytes(told["board_id"]).hex() for told in old.descriptions.values()}
    if not here.board_id:
        return "was cut off, and this board does not say who it is"
    return "" if here.board_id in known or not known else "was cut off with another board"


def _earlier(old: Decoded, log: Path) -> Earlier:
    parts = max((int(part) + 1 for part in old.messages["log_start"]["part"]), default=1)
    if not len(old.scans):
        return Earlier(parts, 0, 0, log.stat().st_mtime)
    last = old.scans[-1]
    wall_s = float(old.clock.wall_s(int(last["boot"]), float(last["time"])))
    time_ms = round(float(last["time"]) * 1000) % (1 << 32)
    return Earlier(parts, int(last["tick"]), time_ms, wall_s if np.isfinite(wall_s) else log.stat().st_mtime)
