"""More targets for hostile bytes (see fuzz_targets.py): the small files and texts that a person, a browser, a page or a board supplies."""

import contextlib
import io
import json
import math
import struct
import tempfile
import zipfile
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
from construct import Container, ListContainer
from hotfuel import car, units
from hotfuel.cli.shared_pulls import listed
from hotfuel.errors import HotfuelError, InputError
from hotfuel.link import inspect, receive
from hotfuel.link.port import Port
from hotfuel.live.asking import Desk
from hotfuel.log import spill
from hotfuel.record import download, resume
from hotfuel.record.requests import Requests
from hotfuel.report import about, day_words
from hotfuel.session import archive, metadata
from hotfuel.session import folder as session_folder
from hotfuel.study.fixes import asking, day_plan, fitted
from hotfuel.study.power import pulls
from hotfuel.temperature.calibration import Calibration
from hotfuel.temperature.doubts import doubts
from hotfuel.text import checked, one_line, shown
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import PAYLOAD_MAX

_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
_kept: dict[str, object] = {}


def _file(name: str, data: bytes) -> Path:
    """A file with these bytes; one folder for all, because creating a million folders takes longer than the reading."""
    if "folder" not in _kept:
        _kept["folder"] = tempfile.TemporaryDirectory(dir=_MEMORY)
    path = Path(_kept["folder"].name) / name  # type: ignore[attr-defined]
    path.write_bytes(data)
    return path


def requests(data: bytes) -> None:
    """Lines that a page or a terminal leaves for the recorder: the result holds known requests only."""
    path = _file("requests.jsonl", b"")
    reader = Requests(path.parent)
    path.write_bytes(data + b"\n")
    for asked in reader.new():
        assert asked["kind"] in ("mark", "acknowledge", "end") and len(asked["text"]) <= 200 and 0 <= asked["wall_s"] < 1e11


def browser(data: bytes) -> None:
    """A browser's message: it gives an answer or none, and the answer converts to JSON."""
    state, quieting = mock.Mock(live=True, caught_up=True, marked=[]), mock.Mock()
    state.folder.path = _file("requests.jsonl", b"").parent
    desk = Desk(state, quieting, clock=lambda: 0.0, wall=lambda: 1.8e9)
    json.dumps(desk.ask(data.decode("utf-8", "replace"), "12:00:00"))
    desk.look()


def view(data: bytes) -> None:
    """A payload in the second reader: both readers give the same, and it can be written back."""
    data = data[:PAYLOAD_MAX]
    try:
        _, values = codec.unpack(data)
    except codec.WireError:
        values = None
    try:
        seen = inspect.view(data)
    except InputError:
        seen = None
    if values is None or seen is None:
        return
    for name, value in values.items():
        if name in seen and name != "type" and not isinstance(value, list):
            assert seen[name] == value or isinstance(seen[name], Container | ListContainer), name
    "\n".join(inspect.lines(data)).encode()


def session_data(data: bytes) -> None:
    """session.json: usable values are used and can be written again; the rest is reported."""
    values, notes = metadata.read(_file("session.json", data))
    known = {name: value for name, value in values.items() if name in metadata.KEYS}
    assert metadata.checked(known) == known
    for text in (*notes, *(part for row in about.rows(values, units.Shown("us")) for part in row)):
        text.encode("utf-8", "surrogatepass")


def calibration(data: bytes) -> None:
    """calibration.json: for every channel a line that gives finite numbers, and sentences about implausible values."""
    if "car" not in _kept:
        _kept["car"] = car.load(car.EXAMPLE)
    with contextlib.suppress(HotfuelError):
        found = Calibration.load(_file("calibration.json", data))
        doubts(found, _kept["car"])  # type: ignore[arg-type]
        for line in found.channels.values():
            assert np.isfinite(line.corrected_degc(np.array([0.0, 60.0]))).all()


def words(data: bytes) -> None:
    """Text of any origin: safe to show, and unchanged when made safe again; the name of a fix; the description of an unknown port."""
    text = data.decode("utf-8", "surrogateescape")
    safe = shown(text)
    assert shown(safe) == safe and one_line(one_line(text)) == one_line(text)
    safe.encode()
    with contextlib.suppress(HotfuelError):
        assert checked(text) == text == safe
    for parse in (fitted.parse, asking.parse):
        with contextlib.suppress(HotfuelError):
            parse(text)
    receive.what_was_seen(data, 3.0).encode()


class _Board(Port):
    """A board that sends these bytes whatever it is asked, each piece preceded by a byte with its length; then nothing."""

    def __init__(self, data: bytes) -> None:
        self.url, self._data, self.now, self._sequence = "hostile", data, 0.0, 0

    def read(self, timeout_s: float) -> bytes:
        self.now += timeout_s
        size = self._data[0] if self._data else 0
        piece, self._data = self._data[1 : 1 + size], self._data[1 + size :]
        if not piece:
            return b""
        if piece[0] == 0xFE:  # an answer to the last command: code, outcome, answer
            values = {
                "tick": 0,
                "time_ms": 0,
                "sequence": self._sequence,
                "code": self._code,
                "outcome": piece[1:2][0] % 4 if piece[1:] else 0,
            }
            return framing.encode(codec.pack("reply", {**values, "answer": piece[2:]}))
        return framing.encode(piece) if piece[0] == 0xFD else piece

    def write(self, data: bytes) -> None:
        _, asked = codec.unpack(framing.decode(data[1:-1]))
        self._sequence, self._code = asked["sequence"], asked["code"]

    def close(self) -> None:
        pass


def fetched(data: bytes) -> None:
    """A download from a board that answers anything: an error, or a log of whole segments; then a stated time added to it."""
    board = _Board(data)
    with (
        tempfile.TemporaryDirectory(dir=_MEMORY) as folder,
        mock.patch("time.monotonic", side_effect=lambda: board.now),
        contextlib.suppress(HotfuelError),
    ):
        fetcher = download.Fetcher(board, Path(folder))
        here = [segment for segment in fetcher.fetch_all() if segment.size < 1 << 20]
        log = fetcher.write_log(here)
        download.state_start(log, 1.8e9)


def log_on_disk(data: bytes) -> None:
    """A log for which a download states a time, and one that a recorder finds cut off: it continues it, or records beside it, and says which."""
    with tempfile.TemporaryDirectory(dir=_MEMORY) as folder:
        log = Path(folder) / "wire.log"
        log.write_bytes(data)
        with contextlib.suppress(HotfuelError):
            download.state_start(log, 1.8e9)
            assert len(log.read_bytes()) > len(data)
        log.write_bytes(data)
        (Path(folder) / "wire.log.reserve").write_bytes(b"{}")
        with contextlib.suppress(HotfuelError):
            found = resume.place(Path(folder), None, resume.Board, now_s=log.stat().st_mtime)
            assert found.earlier is None or (math.isfinite(found.earlier.wall_s) and found.earlier.tick >= 0)


def kept_piece(data: bytes) -> None:
    """The head of a kept piece: its owner, or None."""
    found = spill.look(_file("hotfuel-66757a7a6c6f6773-0.spill", data))
    assert found is None or (found.base >= 0 and found.size >= 0 and math.isfinite(found.since_wall_s))


def archived(data: bytes) -> None:
    """An archive of one session with a hostile summary (or, first byte odd, with hostile samples): listed again, or named."""
    from fuzz_targets import good_session

    with tempfile.TemporaryDirectory(dir=_MEMORY) as folder:
        root, session = Path(folder) / "archive", Path(folder) / "drive"
        session.mkdir()
        for name, content in good_session().items():
            (session / name).write_bytes(content)
        identity = archive.add(root, session)
        kind = "samples" if data[:1] and data[0] % 2 else "summary"
        (file,) = (root / kind).glob(f"*/*/{identity}.parquet")
        good = file.read_bytes()
        at = struct.unpack("<H", data[1:3])[0] % len(good) if len(data) >= 3 else 0
        file.write_bytes(good[:at] + data[3:] + good[at + len(data[3:]) :] if data[:1] and data[0] & 2 else data)
        bad: list[str] = []
        with contextlib.suppress(HotfuelError):
            assert len(archive.listed(root, bad=bad.append)) + len(bad) == 1
        session_folder.find(root / "sessions" / identity)


def plan_file(data: bytes) -> None:
    """A test day's file: a plan that can be printed and written again as it was read, or a sentence."""
    with contextlib.suppress(HotfuelError):
        plan = day_plan.load(_file("day.toml", data))
        shown_in = units.Shown(plan.units)
        for text in (
            day_words.run(plan, 1),
            day_words.start(plan, shown_in),
            day_words.difference(plan, shown_in),
            day_words.question(plan),
        ):
            assert shown(text) == text
        assert plan.driven() == 0 and plan.run_path(len(plan.order)).parent == plan.path.parent
        again = replace(plan, path=plan.path.with_name("again.toml"))
        again.path.unlink(missing_ok=True)
        assert day_plan.load(day_plan.write(again)) == again


_BOOK = {
    "[Content_Types].xml": """<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="xml" ContentType="application/xml"/>
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Override PartName="/b.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>
<Override PartName="/s.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>""",
    "_rels/.rels": """<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1"
Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="b.xml"/></Relationships>""",
    "b.xml": """<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"
xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="day" sheetId="1" r:id="r1"/></sheets></workbook>""",
    "_rels/b.xml.rels": """<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1"
Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="s.xml"/></Relationships>""",
}
_SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'
_ROWS = b'<row><c t="str"><v>rpm</v></c><c t="str"><v>Run 1 Nm</v></c><c t="str"><v>Run 2 Nm</v></c></row>' + b"".join(
    b"<row><c><v>%d</v></c><c><v>400</v></c><c><v>390</v></c></row>" % rpm for rpm in range(2500, 5000, 500)
)


def workbook(data: bytes) -> None:
    """A spreadsheet of pulls. The first byte selects the hostile part: 0, the rows of its sheet as XML; 1 to 4, one of its other
    parts; else the whole file."""
    which, rest = (data[0], data[1:]) if data else (5, b"")
    parts = {**{name: text.encode() for name, text in _BOOK.items()}, "s.xml": _SHEET % _ROWS}
    if which <= len(_BOOK):
        parts[("s.xml", *_BOOK)[which]] = _SHEET % rest if which == 0 else rest
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as book:
            for name, content in parts.items():
                book.writestr(name, content)
        rest = packed.getvalue()
    _read_pulls(_file("day.xlsx", rest))


def _read_pulls(path: Path) -> None:
    """Every result is finite power over rising engine speed, each pull with the number by which it is chosen."""
    with contextlib.suppress(HotfuelError):
        found = pulls.read(path)
        assert len(pulls.numbers(found)) == len(found) > 0
        for pull in found:
            assert np.isfinite(pull.power_kw).all() and (np.diff(pull.rpm) > 0).all() and len(pull.rpm) == len(pull.torque_nm)
        listed(path, found, units.Shown("us"))


def several_pulls(data: bytes) -> None:
    """A text file of several pulls, in the layouts of a test stand: side by side, stacked, or in blocks."""
    _read_pulls(_file("day.csv", data))


DOORS = {
    "requests": (lambda: requests, 4096),
    "browser": (lambda: browser, 4096),
    "view": (lambda: view, PAYLOAD_MAX),
    "session_data": (lambda: session_data, 2048),
    "calibration": (lambda: calibration, 2048),
    "words": (lambda: words, 256),
    "fetched": (lambda: fetched, 2048),
    "log_on_disk": (lambda: log_on_disk, 2048),
    "kept_piece": (lambda: kept_piece, 4200),
    "archived": (lambda: archived, 2048),
    "plan_file": (lambda: plan_file, 1024),
    "workbook": (lambda: workbook, 2048),
    "several_pulls": (lambda: several_pulls, 2048),
}
