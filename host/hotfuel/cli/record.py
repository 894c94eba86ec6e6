"""`hotfuel record`: record a drive and warn while it lasts."""

import subprocess
import sys
from pathlib import Path
from typing import Annotated

import typer

from hotfuel import car as car_file
from hotfuel.cli.shared import CAUTION, About, Json, Units, about, note, show, the_port
from hotfuel.cli.shared_record import record_from
from hotfuel.errors import InputError
from hotfuel.units import Shown


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


def _views(folder: Path, page: bool, terminal: bool, units: str) -> list[subprocess.Popen[bytes]]:
    """Page and terminal are followers in processes of their own: killing or hanging them touches nothing."""
    views = []
    for wanted, option in ((page, "--page"), (terminal, "--terminal")):
        if wanted:
            views.append(subprocess.Popen([sys.executable, "-m", "hotfuel", "follow", str(folder), option, "--units", units]))
    return views
