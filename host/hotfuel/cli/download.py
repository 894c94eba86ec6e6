"""`hotfuel download`: fetch what the board stored by itself."""

import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Json, Port, err, show, the_port
from hotfuel.errors import InputError
from hotfuel.text import counted, typed


def download(
    out: Annotated[Path, typer.Option("--out", help="Folder of the session to make, or of one to continue.")],
    port: Port = None,
    started: Annotated[
        str | None, typer.Option("--started", help='When the last drive without time of day began: "2026-06-01 14:05".')
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file to keep with the session.")] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Then delete from the board what has arrived complete.")] = False,
    as_json: Json = False,
) -> None:
    """Fetch what the board stored by itself. Example: hotfuel download --port /dev/ttyACM0 --out sunday"""
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

    from hotfuel.link.port import open_port
    from hotfuel.record.download import SEGMENTS, Fetcher, state_start
    from hotfuel.session import folder as session_folder

    began, text = _moment(started) if started else None, _text_of(car)
    with (
        open_port(the_port(port)) as opened,
        Progress(TextColumn("{task.description}"), BarColumn(), DownloadColumn(), console=err.console, transient=True) as bars,
    ):
        if not (out / SEGMENTS).is_dir():  # not one begun earlier; and nothing is created before the board answers
            session_folder.create(out, text, {})
        tasks: dict[int, Any] = {}

        def progress(number: int, done: int, size: int) -> None:
            if number not in tasks:
                tasks[number] = bars.add_task(f"segment {number}", total=size)
            bars.update(tasks[number], completed=done)

        fetcher = Fetcher(opened, out, progress)
        here = fetcher.fetch_all()
        log = fetcher.write_log(here)
        gone = fetcher.forget(here) if forget else 0
    if began is not None:
        state_start(log, began)
    result = {"session": str(out), "segments": len(here), "bytes": log.stat().st_size, "forgotten": gone}
    lines = [
        f"{counted(len(here), 'segment')}, {log.stat().st_size / 1000:.0f} kB, in {out}",
        f"look at it with: hotfuel review {typed(out)}",
    ]
    show(result, lines, as_json)


def _text_of(car: Path | None) -> str | None:
    from hotfuel import car as car_file

    if car is None:
        return None
    car_file.load(car)
    return car.read_text(encoding="utf-8")


def _moment(text: str) -> float:
    """Unix seconds of a local date and time in the past."""
    try:
        began = datetime.datetime.fromisoformat(text).astimezone()
        began_s = began.timestamp()
    except (ValueError, OverflowError, OSError):
        raise InputError(f'--started "{text}" is no date and time; write it like "2026-06-01 14:05"') from None
    now = datetime.datetime.now().astimezone()
    if began > now:
        raise InputError(
            f'--started "{text}" lies in the future, it is {now:%Y-%m-%d %H:%M} now: give when the drive began, or set this computer\'s clock'
        )
    return began_s
