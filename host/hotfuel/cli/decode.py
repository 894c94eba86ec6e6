"""`hotfuel decode`: temperatures, margins and inputs as a table for other programs."""

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Json, WithoutNames, notes, open_session, recording, share, show
from hotfuel.errors import InputError
from hotfuel.text import counted


def decode(
    logs: Annotated[list[Path], typer.Argument(help="Session folders or wire.log files.")],
    out: Annotated[
        Path, typer.Option("--out", help="File to write: .csv, .parquet or .mf4; of several sessions one each, named after them.")
    ],
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    units: Annotated[
        str | None,
        typer.Option(
            "--units", help="us: degF and psi in the columns, named so. Default: degC and kPa, whatever the car file shows."
        ),
    ] = None,
    without_names: WithoutNames = False,
    positions: Annotated[
        bool,
        typer.Option("--positions", help="Also the car's position, if a receiver was recorded. Private, so left out by default."),
    ] = False,
    as_json: Json = False,
) -> None:
    """Temperatures, margins and inputs as a table for other programs. Example: hotfuel decode sunday --out sunday.csv"""
    from hotfuel.report.headline import not_read
    from hotfuel.report.session_notes import all_notes
    from hotfuel.session import export

    export.require_library(out)
    written: list[dict[str, Any]] = []
    lines: list[str] = []
    for path in logs:
        opened = recording(open_session(path, car))
        if not len(opened.temperatures()):
            raise InputError(
                f"{opened.name} has no reading in it, so no table was written: record first, or give another session"
            )
        share([opened], without_names)
        name = re.sub(r"[^\w.]+", "-", opened.name)  # characters that every file system allows
        target = out if len(logs) == 1 else out.with_name(f"{out.stem}-{name}{out.suffix}")
        if any(target == Path(row["file"]) for row in written):
            target = target.with_name(f"{target.stem}-{len(written) + 1}{target.suffix}")
        export.write(opened, target, units or "si", positions)
        rows = len(opened.temperatures())
        unread = [f"{said}." for said in [not_read(opened.summary())] if said]
        written.append({"file": str(target), "rows": rows, "notes": [*unread, *all_notes(opened)]})
        lines += [f"{counted(rows, 'row')} in {target}", *unread, *notes(opened)]
    show({"files": written}, lines, as_json)
