"""`hotfuel demo`: the whole job on a simulated car."""

import datetime
import itertools
import time
import webbrowser
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import CAUTION, Json, Units, bar, findings, note, show
from hotfuel.cli.shared_car import DRIVE, car_text, leave_car_file, model_of
from hotfuel.cli.shared_record import record_from
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.car import Car
    from hotfuel.simulator.car_model import CarModel


def demo(
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder to make. Default: hotfuel-demo, or the next free hotfuel-demo-2 ...")
    ] = None,
    speed: Annotated[float, typer.Option("--speed", help="Times real time, at most.", min=1, max=1000)] = 200.0,
    headless: Annotated[bool, typer.Option("--headless", help="Do not open the report in a browser.")] = False,
    drive: Annotated[str, typer.Option("--drive", help="Which drive; an unknown name lists them.")] = DRIVE,
    seed: Annotated[int, typer.Option("--seed", help="Another seed gives another day's weather and another driver.")] = 1,
    started: Annotated[
        str | None, typer.Option("--started", help='The day and time it is to have been: "2026-06-01 14:05". Default: now.')
    ] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """The whole job on a simulated car: firmware, wire, recording, warnings, report. Example: hotfuel demo"""
    from hotfuel import car as car_file
    from hotfuel import session as sessions
    from hotfuel.report import review as report
    from hotfuel.report import written
    from hotfuel.session import folder as session_folder

    if out is None:
        out = next(Path(name) for name in _demo_names() if not Path(name).exists())
    car_path = out / "car.toml"
    model = model_of(drive, seed)
    began_s = _moment_s(started) if started else time.time()
    text = car_text(model.scenario)
    described = car_file.load(text)
    shown = Shown(units or described.units)
    leave_car_file(car_path, text)
    outside_degc = round(float(model.truth["ambient_degc"].mean()))
    about = {
        "title": f"Simulated: {drive}",
        "ambient_degc": outside_degc,
        **({"fix": model.scenario.fix} if model.scenario.fix else {}),
    }
    session = session_folder.create(out / "drive", text, about)
    engine, counts = _simulated(model, session.path, described, shown, speed, began_s, quiet=as_json)
    model.truth.to_csv(session.path / session_folder.TRUTH, index=False)
    with bar("working out margins and writing the report"):
        opened = sessions.open(session.path)
        made = report.make(opened, shown.system)
        page, *_ = written.write(made, out / "review.html", shown)
    lines = [
        f"the firmware ran under {engine}; {counts['frames']} frames recorded in {session.path}",
        *findings(opened, shown),
        f"a car file to start from: {car_path}",
        f"report: {page}",
        "All of this is simulated. " + CAUTION,
        made.answer,  # last, where a reader looks when the driving is over
    ]
    result = {"engine": engine, "session": str(session.path), "report": str(page), "car": str(car_path), "counts": counts}
    show({**result, "answer": made.answer, "summary": opened.summary().as_dict()}, lines, as_json)
    if not headless and not as_json:
        webbrowser.open(page.resolve().as_uri())


def _moment_s(text: str) -> float:
    """Unix seconds of a day and time here. Raises UsageError if the text is not a day and time."""
    try:
        return datetime.datetime.fromisoformat(text).astimezone().timestamp()
    except (ValueError, OverflowError):
        raise UsageError(f'--started "{text}" is no date and time; write it like "2026-06-01 14:05"') from None


def _demo_names() -> Iterator[str]:
    yield "hotfuel-demo"
    yield from (f"hotfuel-demo-{number}" for number in itertools.count(2))


def _simulated(
    model: "CarModel", folder: Path, car: "Car", shown: Shown, speed: float, began_s: float, quiet: bool
) -> tuple[str, dict[str, Any]]:
    """Run the simulated board to its end and record it: (interpreter, the recorder's counts)."""
    from hotfuel.link.receive import Link
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.feed import Senders
    from hotfuel.simulator.process import CPYTHON

    with SimulatedBoard(model, speed=speed, senders=Senders.of(car)) as board, bar("driving the simulated car") as progress:
        if board.engine == CPYTHON:
            note(
                "MicroPython is not installed here, so the firmware runs under CPython; `pip install 'hotfuel[board]'` installs the real one"
            )
        idle_since = [0.0]

        def ended() -> bool:
            progress(board.time_s / model.duration_s)
            if not board.finished:
                idle_since[0] = time.monotonic()
            return board.finished and time.monotonic() - idle_since[0] > 0.5

        with Link(board.device) as link:
            # The recording uses the simulation's clock: a drive of half an hour lasts half an hour, however fast it was simulated.
            counts = record_from(link, folder, car, shown, stop=ended, quiet=quiet, wall=lambda: began_s + board.time_s)
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")
        if not board.finished:
            note("stopped before the drive's end; the report is of what was driven")
        return board.engine, counts
