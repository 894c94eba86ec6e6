"""Recording a drive and looking at it: demo, record, follow, decode, review, simulator."""

import contextlib
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from hotfuel import car as car_file
from hotfuel.cli.app import Json, Units, app, err, note, show
from hotfuel.cli.boards import the_port
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown

Speed = Annotated[float, typer.Option("--speed", help="How many times faster than real time.", min=0.1, max=1000)]
CAUTION = "The driver does not operate this. No warning does not mean safe: fuel can boil where there is no probe."


@contextlib.contextmanager
def bar(what: str) -> Iterator[Callable[[float], None]]:
    """A progress bar on stderr; call it with the share done, 0 to 1."""
    with Progress(TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(), console=err, transient=True) as bars:
        task = bars.add_task(what, total=1.0)
        yield lambda share: bars.update(task, completed=min(share, 1.0))


@app.command()
def record(
    out: Annotated[Path, typer.Option("--out", help="Folder of the session to make.")],
    port: Annotated[
        str | None, typer.Option("--port", help="Serial port or URL. Default: the one board that answers on USB.")
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file: with it there are limits and warnings.")] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds.", min=0.1)] = None,
    page: Annotated[bool, typer.Option("--page", help="Show it on a page in the browser.")] = False,
    terminal: Annotated[bool, typer.Option("--terminal", help="Show it in this terminal.")] = False,
    title: Annotated[str | None, typer.Option("--title", help="What to call the session.")] = None,
    fix: Annotated[str | None, typer.Option("--fix", help='Which fix is on the car, e.g. "heat shield".')] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Record a drive and warn while it lasts. Example: hotfuel record --port /dev/ttyACM0 --car car.toml --out sunday"""
    from hotfuel.link.receive import Link
    from hotfuel.session import folder as session_folder

    described = car_file.load(car) if car else None
    shown = Shown(units or (described.units if described else "si"))
    link = Link(the_port(port))
    values = {key: value for key, value in (("title", title), ("fix", fix), ("port", link.url)) if value}
    with link:
        session = session_folder.create(out, car.read_text(encoding="utf-8") if car else None, values)
        note(f"recording to {session.path}; end it with Ctrl-C. {CAUTION}")
        views = _views(session.path, page, terminal, shown.system)
        try:
            result = record_from(link, session.path, described, shown, seconds=seconds, quiet=terminal)
        finally:
            for view in views:
                view.terminate()
    lines = [
        f"{result['frames']} frames, {result['gaps']} gaps ({result['gap_s']:.1f} s), {result['marks']} marks in {session.path}",
        f"look at it with: hotfuel review {session.path}",
    ]
    show({"session": str(session.path), **result}, lines, as_json)
    if result["frames"] == 0:
        raise InputError(f"not one frame arrived on {link.url}; the session is empty, is this the right port?")


def record_from(
    link: Any,
    folder: Path,
    car: Any,
    shown: Shown,
    *,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
    quiet: bool = False,
) -> dict[str, Any]:
    """Run the recorder on an open link until it is told to stop; warnings go to stderr. Returns its counts."""
    from dataclasses import asdict

    from hotfuel.log.append import LogWriter
    from hotfuel.record.recorder import Recorder
    from hotfuel.record.warner import Warner

    say = (lambda sentence: None) if quiet else note
    stopping: list[int] = []
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(ValueError):  # not in the main thread: whoever runs us stops us
            before[number] = signal.signal(number, lambda number, frame: stopping.append(number))
    try:
        with LogWriter(folder / "wire.log", warn=note) as writer:
            warner = Warner(car, shown, say) if car is not None else None
            recorder = Recorder(link, writer, heard=warner.hear if warner else lambda payloads: None, say=say, folder=folder)
            if warner:
                recorder.acknowledge = warner.acknowledge
            return asdict(recorder.run(seconds, lambda: bool(stopping) or stop()))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _views(folder: Path, page: bool, terminal: bool, units: str) -> list[subprocess.Popen[bytes]]:
    """Page and terminal are followers in processes of their own: killing or hanging them touches nothing."""
    views = []
    for wanted, option in ((page, "--page"), (terminal, "--terminal")):
        if wanted:
            views.append(subprocess.Popen([sys.executable, "-m", "hotfuel.cli", "follow", str(folder), option, "--units", units]))
    return views


@app.command()
def decode(
    logs: Annotated[list[Path], typer.Argument(help="Session folders or wire.log files.")],
    out: Annotated[Path, typer.Option("--out", help="File to write: .csv, .parquet or .mf4.")],
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    as_json: Json = False,
) -> None:
    """Temperatures, margins and inputs as a table for other programs. Example: hotfuel decode sunday --out sunday.csv"""
    from hotfuel import session as sessions
    from hotfuel.session import export

    opened = [sessions.open(path, car) for path in logs]
    written = export.write(opened, out)
    notes = [remark for one in opened for remark in one.all_notes()]
    result = {"file": str(written.path), "rows": written.rows, "columns": written.columns, "notes": notes}
    show(result, [f"{written.rows} rows of {len(written.columns)} columns in {written.path}", *notes], as_json)


@app.command()
def review(
    session: Annotated[Path, typer.Argument(help="Session folder or wire.log.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="HTML file to write. Default: review.html in the session folder.")
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print it to this PDF (needs Chromium).")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What happened, as a page and a sheet for the customer. Example: hotfuel review sunday --out sunday.html"""
    from hotfuel import session as sessions
    from hotfuel.report import review as report

    opened = sessions.open(session, car)
    target = out or (opened.folder.path / "review.html")
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    written = report.write(opened, target, shown.system, pdf)
    summary = opened.summary()
    show(
        {"report": str(written), "summary": summary.as_dict(), "notes": opened.all_notes()},
        [*findings(opened, shown), f"report: {written}"],
        as_json,
    )


def findings(opened: Any, shown: Shown) -> list[str]:
    """The numbers a person wants first, in a few lines."""
    summary = opened.summary()
    if summary.hottest is None:
        return ["there is no temperature in this session"]
    hottest, lines = summary.hottest, []
    lines.append(
        f"hottest: {_name(hottest.place)} {shown.text(hottest.hottest_degc, 'temperature')} at {_when(hottest.hottest_at)}"
    )
    if summary.smallest is not None:
        near = summary.smallest
        lines.append(
            f"smallest margin: {_name(near.place)} {shown.text(near.smallest_margin_degc, 'temperature difference')}"
            f" (give or take {shown.text(near.uncertainty_degc, 'temperature difference')}) at {_when(near.smallest_margin_at)},"
            f" limit {shown.text(near.limit_there_degc, 'temperature')} at {shown.text(near.pressure_there_kpa, 'pressure')} absolute"
        )
        for place in summary.places.values():
            if place.beyond_limit_s > 0:
                lines.append(f"{_name(place.place)} was beyond its limit for {place.beyond_limit_s / 60:.1f} min")
    return lines


def _name(place: str) -> str:
    return place.removesuffix("_needle").replace("_", " ") + (" behind the needle" if place.endswith("_needle") else "")


def _when(at: Any) -> str:
    if hasattr(at, "total_seconds"):
        seconds = at.total_seconds()
        return f"{int(seconds // 3600)}:{int(seconds // 60) % 60:02d}:{int(seconds) % 60:02d} after the start"
    return at.tz_convert(None).strftime("%H:%M:%S") + " UTC" if at.tzinfo else str(at)


@app.command()
def follow(
    session: Annotated[Path, typer.Argument(help="Session folder that is being recorded, or was.")],
    page: Annotated[bool, typer.Option("--page", help="Show it on a page in the browser.")] = False,
    terminal: Annotated[bool, typer.Option("--terminal", help="Show it in this terminal.")] = False,
    address: Annotated[
        str,
        typer.Option("--address", help="Where the page listens; anything but 127.0.0.1 opens it to the network, with a token."),
    ] = "127.0.0.1",
    number: Annotated[int, typer.Option("--page-port", help="The page's port; 0 takes a free one.", min=0, max=65535)] = 0,
    units: Units = None,
) -> None:
    """Look at a recording that runs or ran. Example: hotfuel follow sunday --page"""
    if page == terminal:
        raise UsageError("say where to show it: --page or --terminal")
    if page:
        from hotfuel.live import page as shown_page

        shown_page.serve(session, address=address, port=number, units=units, say=note)
    else:
        from hotfuel.live import terminal as shown_terminal

        shown_terminal.show(session, units=units)


@app.command()
def simulator(
    pty: Annotated[bool, typer.Option("--pty", help="Offer the board on a pseudo-terminal and print its path.")] = True,
    speed: Speed = 1.0,
    scenario: Annotated[str, typer.Option("--scenario", help="Which drive.")] = "",
    car: Annotated[Path | None, typer.Option("--car-out", help="Write the simulated car's file here.")] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds of wall time.", min=0.1)] = None,
) -> None:
    """A simulated board in a simulated car, for trying everything without parts. Example: hotfuel simulator --pty"""
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.drives import drive_named

    drive = drive_named(scenario)
    if car is not None:
        car.write_text(drive.car_text, encoding="utf-8")
    with SimulatedBoard(drive.model(), speed=speed, link=None if pty else "socket", senders=drive.senders()) as board:
        print(board.device, flush=True)
        note(f"simulated board under {board.engine}, {speed:g} times real time, drive: {drive.title}; end it with Ctrl-C")
        end = None if seconds is None else time.monotonic() + seconds
        with contextlib.suppress(KeyboardInterrupt):
            while not board.finished and (end is None or time.monotonic() < end):
                time.sleep(0.1)
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")
