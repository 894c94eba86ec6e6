"""Recording a drive and looking on: demo, record, follow, decode, simulator."""

import contextlib
import itertools
import re
import signal
import subprocess
import sys
import time
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from hotfuel import car as car_file
from hotfuel.cli.app import Json, Units, app, err, note, show
from hotfuel.cli.boards import the_port
from hotfuel.cli.reviews import About, about, findings, recording
from hotfuel.errors import InputError, UsageError
from hotfuel.files import whole
from hotfuel.units import Shown

Speed = Annotated[float, typer.Option("--speed", help="How many times faster than real time.", min=0.1, max=1000)]
DRIVE = "summer drive"
CAUTION = "The driver does not operate this. No warning does not mean safe: fuel can boil where there is no probe."


@contextlib.contextmanager
def bar(what: str) -> Iterator[Callable[[float], None]]:
    """A progress bar on stderr; call it with the share done, 0 to 1."""
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=err, transient=True, disable=not err.is_terminal) as bars:
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
    facts: About = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Record a drive and warn while it lasts. Example: hotfuel record --port /dev/ttyACM0 --car car.toml --out sunday"""
    from hotfuel.link.receive import Link
    from hotfuel.session import folder as session_folder

    described = car_file.load(car) if car else None
    shown = Shown(units or (described.units if described else "si"))
    link = Link(the_port(port))
    values = {"port": link.url, **about(facts)}
    with link:
        session = session_folder.create(out, car.read_text(encoding="utf-8") if car else None, values)
        note(f"recording to {session.path}; end it with Ctrl-C. {CAUTION}")
        views = _views(session.path, page, terminal, shown.system)
        try:
            result = record_from(link, session.path, described, shown, seconds=seconds, quiet=terminal)
        finally:
            for view in views:
                view.terminate()
    counted = {name: f"{result[name + 's']} {name}{'' if result[name + 's'] == 1 else 's'}" for name in ("frame", "gap", "mark")}
    lines = [
        f"{counted['frame']}, {counted['gap']} ({result['gap_s']:.1f} s), {counted['mark']} in {session.path}",
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
    wall: Callable[[], float] = time.time,
) -> dict[str, Any]:
    """Run the recorder on an open link until it is told to stop; warnings go to stderr. Returns its counts."""
    from dataclasses import asdict

    from hotfuel.live.warner import Warner
    from hotfuel.log.append import LogWriter
    from hotfuel.record.recorder import Recorder

    say = (lambda sentence: None) if quiet else note
    stopping: list[int] = []
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(ValueError):  # not in the main thread: whoever runs us stops us
            before[number] = signal.signal(number, lambda number, frame: stopping.append(number))
    try:
        with LogWriter(folder / "wire.log", warn=note) as writer:
            warner = Warner(car, shown, say) if car is not None else None
            heard = warner.hear if warner else (lambda payloads: None)
            recorder = Recorder(link, writer, heard=heard, say=say, folder=folder, wall=wall)
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
            views.append(subprocess.Popen([sys.executable, "-m", "hotfuel", "follow", str(folder), option, "--units", units]))
    return views


@app.command()
def decode(
    logs: Annotated[list[Path], typer.Argument(help="Session folders or wire.log files.")],
    out: Annotated[
        Path, typer.Option("--out", help="File to write: .csv, .parquet or .mf4; of several sessions one each, named after them.")
    ],
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    as_json: Json = False,
) -> None:
    """Temperatures, margins and inputs as a table for other programs. Example: hotfuel decode sunday --out sunday.csv"""
    from hotfuel import session as sessions
    from hotfuel.session import export

    written: list[dict[str, Any]] = []
    lines: list[str] = []
    for path in logs:
        opened = recording(sessions.open(path, car))
        name = re.sub(r"[^\w.]+", "-", opened.name)  # what every file system takes
        target = out if len(logs) == 1 else out.with_name(f"{out.stem}-{name}{out.suffix}")
        if any(target == Path(row["file"]) for row in written):
            target = target.with_name(f"{target.stem}-{len(written) + 1}{target.suffix}")
        export.write(opened, target)
        rows = len(opened.temperatures())
        written.append({"file": str(target), "rows": rows, "notes": opened.all_notes()})
        lines += [f"{rows} rows in {target}", *opened.all_notes()]
    show({"files": written}, lines, as_json)


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


@app.command(short_help="A simulated board in a simulated car.")
def simulator(
    pty: Annotated[
        bool, typer.Option("--pty/--socket", help="Offer the board on a pseudo-terminal, or on a local socket.")
    ] = True,
    speed: Speed = 1.0,
    drive: Annotated[str, typer.Option("--drive", help="Which drive; an unknown name lists them.")] = DRIVE,
    seed: Annotated[int, typer.Option("--seed", help="Another seed is another day and driver.")] = 1,
    car_out: Annotated[Path | None, typer.Option("--car-out", help="Write the simulated car's file here.")] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds of wall time.", min=0.1)] = None,
) -> None:
    """A simulated board in a simulated car, for trying everything without parts. Example: hotfuel simulator --pty"""
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.feed import Senders

    model = _model(drive, seed)
    if car_out is not None:
        _leave_car_file(car_out, _car_text(model.scenario))
    with SimulatedBoard(
        model, speed=speed, link=None if pty else "socket", senders=Senders.of(car_file.load(car_file.EXAMPLE))
    ) as board:
        print(board.device, flush=True)
        note(
            f"simulated board under {board.engine}, {speed:g} times real time, {drive}; end it with Ctrl-C; in another terminal: "
            f"hotfuel record --port {board.device} --out sunday"
        )
        end = None if seconds is None else time.monotonic() + seconds
        with contextlib.suppress(KeyboardInterrupt):
            while not board.finished and (end is None or time.monotonic() < end):
                time.sleep(0.1)
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")


def _car_text(scenario: Any) -> str:
    """The simulated car's file: the example, with the fuel, altitude and pump this drive really has."""
    example, fuel = car_file.load(car_file.EXAMPLE), scenario.fuel
    values = {
        "altitude": f"{max(example.altitude_m or 0.0, scenario.altitude_m):g} m",
        "vapour_pressure": f"{fuel['vapour_pressure_kpa']:g} kPa",
        **{name: f"{fuel[name + '_degc']:g} degC" for name in ("t10", "t50", "t90")},
        "kind": "electric_submerged" if scenario.fixes.electric_pump else example.pump.kind,
    }
    text = car_file.EXAMPLE
    for key, value in values.items():
        text = re.sub(rf'^{key} = "[^"]*"', f'{key} = "{value}"', text, count=1, flags=re.MULTILINE)
    return text


def _leave_car_file(path: Path, text: str) -> None:
    """Write the simulated car's file. Raises InputError if there is another file: it may be the owner's own."""
    if path.exists() and (path.is_dir() or path.read_bytes() != text.encode()):
        raise InputError(f"{path} is there already and is another car file: give another place; nothing is overwritten")
    with whole(path) as part:
        part.write_text(text, encoding="utf-8")


def _model(drive: str, seed: int) -> Any:
    """The simulated car's run of a named drive."""
    from dataclasses import replace

    from hotfuel.simulator.car_model import CarModel
    from hotfuel.simulator.scenarios import scenarios

    known = scenarios()
    if drive not in known:
        raise InputError(f'there is no drive "{drive}"; there are {", ".join(known)}')
    return CarModel(replace(known[drive], seed=seed))


@app.command(short_help="The whole job on a simulated car.")
def demo(
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder to make. Default: hotfuel-demo, or the next free hotfuel-demo-2 ...")
    ] = None,
    speed: Annotated[float, typer.Option("--speed", help="Times real time, at most.", min=1, max=1000)] = 200.0,
    headless: Annotated[bool, typer.Option("--headless", help="Do not open the report in a browser.")] = False,
    drive: Annotated[str, typer.Option("--drive", help="Which drive; an unknown name lists them.")] = DRIVE,
    seed: Annotated[int, typer.Option("--seed", help="Another seed is another day and driver.")] = 1,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """The whole job on a simulated car: firmware, wire, recording, warnings, report. Example: hotfuel demo"""
    from hotfuel import session as sessions
    from hotfuel.report import review as report
    from hotfuel.session import folder as session_folder

    if out is None:
        out = next(Path(name) for name in _demo_names() if not Path(name).exists())
    car_path = out / "car.toml"
    model = _model(drive, seed)
    text = _car_text(model.scenario)
    described = car_file.load(text)
    shown = Shown(units or described.units)
    _leave_car_file(car_path, text)
    outside_degc = round(float(model.truth["ambient_degc"].mean()))
    session = session_folder.create(out / "drive", text, {"title": f"Simulated: {drive}", "ambient_degc": outside_degc})
    engine, counts = _simulated(model, session.path, described, shown, speed, quiet=as_json)
    model.truth.to_parquet(session.path / session_folder.TRUTH)
    with bar("working out margins and writing the report"):
        opened = sessions.open(session.path)
        page = report.write(opened, out / "review.html", shown.system)
    lines = [
        f"the firmware ran under {engine}; {counts['frames']} frames recorded in {session.path}",
        *findings(opened, shown),
        f"report: {page}",
        f"a car file to start from: {car_path}",
        "All of this is simulated. " + CAUTION,
    ]
    result = {"engine": engine, "session": str(session.path), "report": str(page), "car": str(car_path), "counts": counts}
    show({**result, "summary": opened.summary().as_dict()}, lines, as_json)
    if not headless and not as_json:
        webbrowser.open(page.resolve().as_uri())


def _demo_names() -> Iterator[str]:
    yield "hotfuel-demo"
    yield from (f"hotfuel-demo-{number}" for number in itertools.count(2))


def _simulated(model: Any, folder: Path, car: Any, shown: Shown, speed: float, quiet: bool) -> tuple[str, dict[str, Any]]:
    """Run the simulated board to its end and record it: (interpreter, the recorder's counts)."""
    from hotfuel.link.receive import Link
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.feed import Senders
    from hotfuel.simulator.process import CPYTHON

    with SimulatedBoard(model, speed=speed, senders=Senders.of(car)) as board, bar("driving the simulated car") as progress:
        if board.engine == CPYTHON:
            note(
                "MicroPython is not installed here, so the firmware runs under CPython; `pip install 'hotfuel[board]'` brings the real one"
            )
        began_s, idle_since = time.time(), [0.0]

        def ended() -> bool:
            progress(board.time_s / model.duration_s)
            if not board.finished:
                idle_since[0] = time.monotonic()
            return board.finished and time.monotonic() - idle_since[0] > 0.5

        with Link(board.device) as link:
            # The recording's clock is the simulation's: a drive of half an hour lasts half an hour, however fast it was simulated.
            counts = record_from(link, folder, car, shown, stop=ended, quiet=quiet, wall=lambda: began_s + board.time_s)
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")
        if not board.finished:
            note("stopped before the drive's end; the report is of what was driven")
        return board.engine, counts
