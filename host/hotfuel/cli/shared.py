"""What the commands share: the console, common options and arguments, and the headline numbers. Imports no command."""

import contextlib
import json
import math
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from hotfuel_wire.framing import FRAME_MAX

from hotfuel.errors import InputError, LinkError, UsageError
from hotfuel.text import counted, minus, shown
from hotfuel.units import Shown, expanded, parse

if TYPE_CHECKING:
    from rich.console import Console

    from hotfuel.link.talk import Talk
    from hotfuel.session.recording import Session


class Screen:
    """stdout or stderr as a rich console, which is loaded when something is first printed."""

    def __init__(self, stderr: bool = False) -> None:
        self._stderr = stderr

    @cached_property
    def console(self) -> "Console":
        """The console itself."""
        from rich.console import Console

        class Ours(Console):
            def on_broken_pipe(self) -> None:
                """The reader of our output has gone (for example `| head`): end quietly, without an error."""
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
                raise SystemExit(0)

        return Ours(stderr=self._stderr, highlight=False, soft_wrap=True)

    def print(self, what: Any, markup: bool | None = None) -> None:
        """Print text or a table. On stdout negative numbers have a minus sign, as on pages; stderr may repeat what somebody typed."""
        self.console.print(_with_minus(what) if isinstance(what, str) and not self._stderr else what, markup=markup)


def _with_minus(line: str) -> str:
    """The line with minus signs, if the terminal has one: a "?" would hide the sign."""
    try:
        "−".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return line
    return minus(line)


out, err = Screen(), Screen(stderr=True)


Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on stdout instead of text.")]
Units = Annotated[str | None, typer.Option("--units", help="Units shown: si or us. Default: the car file's, else si.")]


def plain(value: Any) -> Any:
    """A value as JSON can hold it: numpy scalars become numbers, nan and infinity become null, paths and times become text."""
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set):
        return [plain(entry) for entry in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int | bool):
        return value
    if hasattr(value, "as_dict"):
        return plain(value.as_dict())
    return str(value)


def show(result: dict[str, Any], lines: list[str], as_json: bool) -> None:
    """Print the result: as one JSON object, or as lines for a person."""
    if as_json:
        told = json.dumps(plain(result), ensure_ascii=False, allow_nan=False)
        try:
            told.encode(sys.stdout.encoding or "ascii")
        except UnicodeEncodeError:  # the terminal's encoding, or a file name that is not UTF-8
            told = json.dumps(plain(result), allow_nan=False)
        print(told)
    else:
        for line in lines:
            out.print(shown(line), markup=False)


def note(text: str) -> None:
    """Print a remark that is not part of the result, to stderr."""
    err.print(shown(text), markup=False)


CAUTION = "The driver does not operate this. No warning does not mean safe: fuel can boil where there is no probe."


@contextlib.contextmanager
def bar(what: str) -> Iterator[Callable[[float], None]]:
    """A progress bar on stderr; call it with the share done, 0 to 1."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=err.console, transient=True, disable=not err.console.is_terminal) as bars:
        task = bars.add_task(what, total=1.0)
        yield lambda share: bars.update(task, completed=min(share, 1.0))


Port = Annotated[str | None, typer.Option("--port", help="Serial port or URL. Default: the one board that answers on USB.")]
DESCRIPTION_S = 12.0  # the description comes every 10 s


PATIENCE_S = 4.0  # a board that restarts is missing from the bus for a second or two


def the_port(port: str | None, patience_s: float = PATIENCE_S) -> str:
    """The port given, or that of the only board found; one that has just restarted is waited for.

    Raises LinkError when there is none or more than one.
    """
    from hotfuel.link.receive import find_boards

    end = time.monotonic() + patience_s
    if port:
        while "://" not in port and os.name == "posix" and not Path(port).exists() and time.monotonic() < end:
            time.sleep(0.1)
        return port
    boards, remarks = find_boards()
    while not boards and time.monotonic() < end:
        time.sleep(0.2)
        boards, remarks = find_boards()
    if len(boards) == 1:
        return boards[0].url
    if boards:
        raise LinkError(f"{len(boards)} boards answer ({', '.join(hello.url for hello in boards)}); say which with --port")
    raise LinkError(
        "no board answers on USB" + (f" ({'; '.join(remarks)})" if remarks else "; plug it in, or name its port with --port")
    )


class Listener:
    """Keeps the latest message of each name during a conversation."""

    def __init__(self) -> None:
        self.latest: dict[str, dict[str, Any]] = {}

    def __call__(self, name: str, values: dict[str, Any]) -> None:
        self.latest[name] = values

    def wait_for(self, talk: "Talk", name: str, timeout_s: float = DESCRIPTION_S) -> dict[str, Any]:
        """The latest message of this name, waiting for the next one if there was none yet."""
        end = time.monotonic() + timeout_s
        while name not in self.latest:
            if time.monotonic() > end:
                raise LinkError(f"the board sent no {name} within {timeout_s:.0f} s; unplug it, plug it in and try again")
            for kind, values in talk.messages(0.5):
                self(kind, values)
        return self.latest[name]


About = Annotated[
    list[str] | None,
    typer.Option(
        "--about",
        help='What a person knows, KEY=VALUE, kept with the session: title, customer, complaint, work_done, fix, ambient_degc="28 degC" ...',
    ),
]


def about(texts: list[str] | None) -> dict[str, Any]:
    """KEY=VALUE options as session data; a number may carry its unit. Raises UsageError; the values themselves are checked when they are stored."""
    from hotfuel.session import metadata

    found: dict[str, Any] = {}
    for text in texts or []:
        name, equals, value = text.partition("=")
        if not equals:
            raise UsageError(f'--about "{text}" is not KEY=VALUE; known keys are {", ".join(metadata.KEYS)}')
        key = metadata.KEYS.get(name)
        found[name] = value
        if key is not None and key.kind is float:
            found[name] = parse(value, {"degC": "temperature", "%": "percent"}[key.unit])
    return found


def open_session(path: Path, car: Path | None = None) -> "Session":
    """The session at `path`. Says on stderr if it is not whole on its disk, because the numbers that follow may depend on that."""
    from hotfuel import session as sessions

    opened = sessions.open(path, car)
    if opened.standing is not None:
        note(f"{path}: {opened.standing.sentence()}.")
    if said := broken_off(opened):
        note(f"{path}: {said}")
    return opened


def notes(opened: "Session") -> list[str]:
    """What a reader must know of the session, without what `open_session` has said already."""
    from hotfuel.report.session_notes import all_notes

    return [one for one in all_notes(opened, Shown(opened.units), with_standing=False) if one != broken_off(opened)]


def broken_off(opened: "Session") -> str:
    """That what followed the end of its log is missing; "" if it is whole, or nothing but zeros, for which no command goes on."""
    ending = opened.ending
    return ending.sentence() if ending is not None and ending.sure and not ending.only_zeros else ""


def recording(opened: "Session") -> "Session":
    """The session; raises InputError for a file with nothing from a board in it (an empty or cut recording is accepted)."""
    losses = opened.losses
    if opened.ending is not None and opened.ending.only_zeros:
        raise InputError(f"{opened.name}: {opened.ending.sentence()}")
    if not losses.frames and losses.bytes_damaged > FRAME_MAX:
        raise InputError(
            f"{opened.folder.log_path.name} is no recording: none of its {counted(losses.bytes_total, 'byte')} come from a board"
        )
    return opened


def findings(opened: "Session", shown: Shown) -> list[str]:
    """The headline numbers, in a few lines."""
    summary = opened.summary()
    if summary.hottest is None:
        if opened.losses.readings_without_description:
            from hotfuel.report.headline import KEEP_UNDESCRIBED

            return [KEEP_UNDESCRIBED]
        return ["there is no temperature in this session"]
    from hotfuel.places import place_words
    from hotfuel.report.words import Clock, how_long_beyond

    clock = Clock(opened.ticks.timeline.anchored, opened.metadata.get("utc_offset_min"))
    hottest, lines = summary.hottest, []

    def when(at: Any) -> str:
        return f"{clock.moment(at)} {'after the start' if not clock.dates else clock.zone}"

    lines.append(
        f"hottest: {place_words(hottest.place)} {shown.text(hottest.hottest_degc, 'temperature')} at {when(hottest.hottest_at)}"
    )
    if without := summary.without_limit:
        from hotfuel.report.words import without_limit

        lines.append(without_limit(without, shown, clock))
    if summary.smallest is not None:
        near = summary.smallest
        lines.append(
            f"smallest margin: {place_words(near.place)} {shown.text(near.smallest_margin_degc, 'temperature difference')}"
            f" (give or take {shown.text(float(expanded(near.uncertainty_degc)), 'temperature difference')}, 95 %) at {when(near.smallest_margin_at)},"
            f" limit {shown.text(near.limit_there_degc, 'temperature')} at {shown.text(near.pressure_there_kpa, 'pressure')} absolute"
        )
    for place in summary.places.values():
        if place.beyond_limit_s > 0:
            lines.append(f"{place_words(place.place)} {how_long_beyond(place)}")
    return lines


Baseline = Annotated[
    str | None, typer.Option("--baseline", help="Which variant the others are compared with. Default: the first.")
]
Png = Annotated[
    Path | None,
    typer.Option(
        "--png", help="Also draw pictures to send: an upright card under this name, every chart beside it (needs Chromium)."
    ),
]
Pdf = Annotated[Path | None, typer.Option("--pdf", help="Also print the report to this PDF (needs Chromium).")]
WithoutNames = Annotated[
    bool, typer.Option("--without-names", help="For sharing: names, number plates and positions are left out.")
]
OutPage = Annotated[Path | None, typer.Option("--out", help="HTML report to write.")]


def share(opened: Iterable["Session"], without_names: bool, variants: Iterable[str] = ()) -> None:
    """Take names out of sessions, in place, if that was asked for. variants: names that stay as typed; a note says so."""
    if without_names:
        if kept := ", ".join(variants):
            note(
                f"The variants' names stay as they were typed ({kept}): if one names a person, a car or a place, give it another."
            )
        from hotfuel.session import private

        private.hide(opened)


def page_beside(out: Path | None, pdf: Path | None, png: Path | None) -> Path | None:
    """Where the page goes: as asked, or beside its PDF or picture if only that was asked for; None if neither was.

    Raises InputError that names the place that was typed.
    """
    typed = out or pdf or png
    if out is None and typed is not None:
        from hotfuel.files import refuse_unwritable

        refuse_unwritable(typed)
        return typed.with_suffix(".html")
    return out


@contextlib.contextmanager
def told_first(lines: list[str], page: Path, as_json: bool) -> Iterator[list[Path]]:
    """A list for the files that the block writes; `lines` names them behind it.

    On an error in the block, print what was found and name the page if it was written, even though its PDF or picture could not be made.
    """

    def stamp() -> int:
        return page.stat().st_mtime_ns if page.is_file() else 0

    before, files = stamp(), list[Path]()
    try:
        yield files
    except InputError as error:
        written = stamp() != before
        if not as_json:
            show({}, [*lines, *([f"report: {page}"] if written else [])], False)
        raise InputError(f"{error} ({page} is written)" if written else str(error)) from None
    lines += named(files)


def named(files: Sequence[Path], page: str = "report") -> list[str]:
    """A line for the page, one for its PDF, one for its card and one for its charts, as far as they were written."""
    pictures = [str(one) for one in files if one.suffix.lower() == ".png"]
    told = {".html": page, ".htm": page, ".pdf": "PDF"}
    return [
        *(f"{told[one.suffix.lower()]}: {one}" for one in files if one.suffix.lower() in told),
        *(f"card: {one}" for one in pictures[:1]),
        *([f"charts: {', '.join(pictures[1:])}"] if pictures[1:] else []),
    ]
