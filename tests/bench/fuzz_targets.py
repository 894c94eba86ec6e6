"""The targets for hostile bytes, one function each: bytes in, nothing out. Each calls the project as a user's file, port or host does.

Allowed is HotfuelError, and for single frames and payloads the wire's own FrameError and WireError; any other exception from a
target is a defect. Where two readers exist for the same bytes, a target also checks that they agree (AssertionError).
"""

import contextlib
import json
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from unittest import mock

import numpy as np
from fuzz_doors import DOORS
from fuzz_drive import DRIVE
from fuzz_wire import PIECE as _PIECE
from fuzz_wire import WIRE
from hotfuel import car, samples, session
from hotfuel.errors import HotfuelError
from hotfuel.live.intake import Batch, Intake
from hotfuel.log import follow, identity, others, rescue, reserve
from hotfuel.samples import bulk
from hotfuel.samples.stream import Stream
from hotfuel.study.power import pulls
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import OUTCOMES, PAYLOAD_MAX

ROOT = Path(__file__).parent.parent.parent
CORPUS = Path(__file__).parent / "corpus"
Target = Callable[[bytes], None]


def frames_of(data: bytes) -> bytes:
    """A log of payloads with valid CRCs: each payload in `data` is preceded by a byte with its length."""
    log = bytearray()
    at = 0
    while at < len(data):
        payload = data[at + 1 : at + 1 + min(data[at], PAYLOAD_MAX)]
        if payload:
            log += framing.encode(payload)
        at += 1 + len(payload)
    return bytes(log)


def packed(payloads: list[bytes]) -> bytes:
    """The input of frames_of for these payloads."""
    return b"".join(bytes([len(payload)]) + payload for payload in payloads)


def stream(data: bytes) -> None:
    """Raw bytes of a log, whole by `samples.decode` and message by message as they arrive: the results must agree."""
    # In a log, 64 pieces of one length are decoded together; here two, so that a small input reaches every method.
    with mock.patch.multiple(bulk, _FEW=2, _PAIRS_FROM=2):
        decoded = samples.decode(data, as_it_stands=True)
        ordered = samples.decode(data)
    assert len(ordered.scans) <= len(decoded.scans)
    strangers = others.Finder(others.reading_bytes(data)).others(len(data))
    assert all(
        len(table) == len(decoded.messages[name]) or (strangers and len(table) < len(decoded.messages[name]))
        for name, table in ordered.messages.items()
    )
    following = Stream()
    messages = [message for at in range(0, len(data), _PIECE) for message in following.feed(data[at : at + _PIECE])]
    messages += following.feed(b"\x00")
    losses, counts = decoded.losses, following.frames
    assert (losses.frames, losses.pieces_damaged, losses.bytes_damaged) == (
        counts.frames,
        counts.pieces_damaged,
        counts.bytes_damaged,
    )
    assert (losses.unknown_types, losses.payloads_misfit) == (following.unknown_types, following.payloads_misfit)
    rows = [
        (message.boot, message.time_s, message.values["tick"], channel["hot"])
        for message in messages
        if message.name == "reading"
        for channel in message.values["channels"]
    ]
    for name, column in zip(("boot", "time", "tick", "hot"), zip(*rows, strict=True) if rows else ((),) * 4, strict=True):
        assert np.array_equal(decoded.readings[name], column, equal_nan=name == "time"), name
    for name, table in decoded.messages.items():
        mine = [message for message in messages if message.name == name]
        assert np.array_equal(table["boot"], [message.boot for message in mine]), name
        assert np.array_equal(table["time"], [message.time_s for message in mine], equal_nan=True), name
    decoded.losses.sentences()


def payloads(data: bytes) -> None:
    """As `stream`, for a log whose every frame has a valid CRC."""
    stream(frames_of(data))


def car_file(data: bytes) -> None:
    """The text of a car file, and the fuel it describes."""
    with tempfile.TemporaryDirectory(dir=_memory()) as folder:
        path = Path(folder) / "car.toml"
        path.write_bytes(data)
        with contextlib.suppress(HotfuelError):
            car.load(path).fuel()


def pulls_csv(data: bytes) -> None:
    """A file of pulls: what is read is finite power over rising engine speed."""
    with tempfile.TemporaryDirectory(dir=_memory()) as folder:
        path = Path(folder) / "pulls.csv"
        path.write_bytes(data)
        with contextlib.suppress(HotfuelError):
            for pull in pulls.read(path):
                assert np.isfinite(pull.power_kw).all() and (np.diff(pull.rpm) > 0).all() and len(pull.rpm) == len(pull.torque_nm)


SESSION_FILES = ("payloads", "wire.log", "session.json", "calibration.json", "car.toml")


def session_folder(data: bytes) -> None:
    """A session folder with one hostile file (the first byte says which), opened, viewed in every way, and followed live."""
    files = dict(good_session())
    which = SESSION_FILES[data[0] % len(SESSION_FILES)] if data else "wire.log"
    if which == "payloads":
        files["wire.log"] = frames_of(data[1:])
    else:
        files[which] = data[1:]
    with tempfile.TemporaryDirectory(dir=_memory()) as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        with contextlib.suppress(HotfuelError):
            opened = session.open(folder)
            for look in (opened.temperatures, opened.reasons, opened.inputs, opened.marks, opened.gaps, opened.events):
                look()
            if opened.car is not None:
                with contextlib.suppress(HotfuelError):
                    opened.margins()
    chosen = car.load(car.EXAMPLE)
    intake = Intake(chosen, _example_fuel(), None)
    for item in intake.feed(files["wire.log"] + b"\x00"):
        assert not isinstance(item, Batch) or len(item.seconds) == len(item.degc)


def kept_elsewhere(data: bytes) -> None:
    """A half-written log with a hostile note beside it and a hostile kept piece (the first byte says where one ends): reported, read, put back.

    Whatever they hold, the log's own bytes stay, and what is put back equals what a reader saw.
    """
    cut = (data[0] if data else 0) * len(data) // 256
    log = bytes(identity.frame(b"fuzzlogs", 0.0)) + b"\x00abc\x00"
    with (
        tempfile.TemporaryDirectory(dir=_memory()) as name,
        mock.patch.dict(os.environ, HOTFUEL_FALLBACK=str(Path(name) / "kept")),
    ):
        path, place = Path(name) / "wire.log", Path(name) / "kept"
        place.mkdir()
        path.write_bytes(log)
        reserve.path_for(path).write_bytes(data[1 : 1 + cut])
        (place / f"hotfuel-{b'fuzzlogs'.hex()}-0.spill").write_bytes(data[1 + cut :])
        with contextlib.suppress(HotfuelError):
            found = rescue.standing(path)
            if found is not None:
                found.sentence().encode()
            seen = b"".join(follow.blocks(path))
            assert seen.startswith(log)
            rescue.orphans()
            rescue.put_back(path)
            if found is None or not any(piece.base > len(log) for piece in found.pieces):
                assert path.read_bytes() == seen
        assert path.read_bytes().startswith(log)


_cache: dict[str, object] = {}


def _example_fuel():
    if "fuel" not in _cache:
        _cache["fuel"] = car.load(car.EXAMPLE).fuel()
    return _cache["fuel"]


def _memory() -> str | None:
    """A folder in memory where the system has one: a million files need no disk."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def good_payloads() -> list[bytes]:
    """The payloads of the protocol's published vectors: every message."""
    lines = (ROOT / "protocol" / "vectors.jsonl").read_text(encoding="utf-8").splitlines()
    return [framing.decode(bytes.fromhex(json.loads(line)["frame"])[1:-1]) for line in lines]


def good_session() -> dict[str, bytes]:
    """The files of an intact session."""
    if "session" not in _cache:
        log = frames_of((CORPUS / "payloads" / "drive").read_bytes())
        calibration = (CORPUS / "session_folder" / "calibration").read_bytes()[1:]
        _cache["session"] = {
            "wire.log": log,
            "car.toml": car.EXAMPLE.encode(),
            "session.json": b"{}",
            "calibration.json": calibration,
        }
    return _cache["session"]  # type: ignore[return-value]


class BoardUnderAttack:
    """The board's firmware in this interpreter, its port replaced; one for many inputs. Once created, `time` and `select` in this
    process are the board's."""

    def __init__(self) -> None:
        sys.path.insert(0, str(ROOT / "tests" / "firmware"))
        import rig

        rig.arrange(str(ROOT))
        self._folder = tempfile.TemporaryDirectory()
        self._rig = rig.Rig()
        import application
        import board

        board.write, board.room, board.receive = len, lambda: True, lambda buffer: 0
        board.leave_for_prompt = lambda: None
        self.application = application.Application(self._folder.name + "/")
        self.application.sender.listeners.append(self._listen)
        emit = self.application.emit
        self._before = dict(self.application.settings)
        self.replies: list[dict] = []

        def noted(name, values, time_ms=None):
            if name == "reply":
                self.replies.append(dict(values))
            return emit(name, values, time_ms)

        self.application.commands._emit = noted

    def _listen(self, name, frame, size):
        framing.decode(bytes(frame[1 : size - 1]))  # everything sent by the board is a frame

    def __call__(self, data: bytes) -> None:
        """Bytes from the host: the first says whether the rest is raw, or commands to be framed (code, argument length, argument)."""
        desk, board = self.application.commands, self.application
        desk.last_sequence, desk._last_payload, desk._reader = None, b"", framing.FrameReader()
        self.replies.clear()
        sent = 0
        if data[:1] == b"\x00":
            desk.receive(data[1:])
        else:
            at = 1
            while at + 2 <= len(data) and sent < 8:
                argument = data[at + 2 : at + 2 + min(data[at + 1], 220)]
                values = {"tick": 0, "time_ms": 0, "sequence": sent + 1, "code": data[at], "argument": argument}
                desk.receive(framing.encode(codec.pack("command", values)))
                sent += 1
                at += 2 + len(argument)
            assert len(self.replies) == sent, "every command gets one reply"
        board._service_ms = None
        board.step()
        for reply in self.replies:
            text = bytes(reply["answer"])
            assert reply["outcome"] != OUTCOMES["failed"] or b"Error" not in text.partition(b":")[0], text
        if board.settings != self._before:
            board.settings = dict(self._before)
            board._apply()


# name -> (function that creates the target, the longest input tried)
TARGETS: dict[str, tuple[Callable[[], Target], int]] = {
    **WIRE,
    "stream": (lambda: stream, 1024),
    "payloads": (lambda: payloads, 1024),
    "car_file": (lambda: car_file, 4096),
    "pulls_csv": (lambda: pulls_csv, 2048),
    "kept_elsewhere": (lambda: kept_elsewhere, 6000),
    "session_folder": (lambda: session_folder, 2048),
    **DOORS,
    **DRIVE,
    "board": (BoardUnderAttack, 512),
}


def corpus(name: str) -> list[bytes]:
    """The kept inputs of a target."""
    return [path.read_bytes() for path in sorted((CORPUS / name).iterdir())]
