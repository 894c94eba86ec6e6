"""`hotfuel readings`: what a person read with a thermometer, a camera or a gauge."""

import re
from pathlib import Path
from typing import Annotated

import typer

from hotfuel.cli.shared import Json, Units, notes, open_session, recording, show
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.text import counted
from hotfuel.units import UNITS, Shown

_ROWS_MOST = 40


def readings(
    session: Annotated[Path, typer.Argument(help="Session folder.")],
    tables: Annotated[
        list[Path] | None,
        typer.Argument(help='CSV files to join: a column "time" (or "time_s"), the others headed like "block (degF)".'),
    ] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Readings by hand: list them, or join a table of them. Example: hotfuel readings sunday camera.csv

    While recording, a mark with place, value and unit is a reading too: "block 183 degF", "fuel pressure 5.5 psi". A column "fuel flow (L/h)", of a
    meter in the line, or "fuel used (L/h)", gives pressures and coolers their flow.
    """
    import pandas as pd

    from hotfuel.files import whole
    from hotfuel.report.session_notes import all_notes
    from hotfuel.session import by_hand
    from hotfuel.session.summary import index_seconds

    opened = recording(open_session(session))
    if tables and opened.folder.log_path.name != "wire.log":
        raise InputError(f"{session} is a lone log: tables are kept in a session folder, give that")
    offset = opened.metadata.get("utc_offset_min")
    lines: list[str] = []
    for path in tables or []:
        text = by_hand.text_of(path)
        found, remarks = by_hand.of_table(text, path.name, float(opened.ticks.seconds[0]), opened.ticks.timeline.anchored, offset)
        inside = sum(opened.ticks.seconds[0] <= one.seconds <= opened.ticks.seconds[-1] for one in found)
        if not inside:
            raise InputError(
                f"no reading of {path.name} lies within {opened.name}: check its times, and the clock of what wrote it"
            )
        target = opened.folder.path / f"readings-{re.sub(r'[^A-Za-z0-9._]+', '-', path.stem)}.csv"
        if target.exists() and target.read_text(encoding="utf-8") != text:
            raise InputError(
                f"{target} already exists with other values: give the new table another name; nothing is overwritten"
            )
        with whole(target) as part:
            part.write_text(text, encoding="utf-8")
        lines += [
            f"{inside} of {counted(len(found), 'reading')} of {path.name} {'lies' if inside == 1 else 'lie'} within {opened.name}; "
            f"kept as {target}",
            *remarks,
        ]
    if tables:
        opened = recording(open_session(session))
    told = opened.by_hand()
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    first = opened.ticks.seconds[0] if len(opened.ticks.seconds) else 0.0
    seconds = index_seconds(pd.Index(told["time"])) - first if len(told) else []
    rows = list(zip(seconds, told["place"], told["dimension"], told["value"], strict=True))
    lines += [
        f"{at / 60:6.1f} min  {place_words(place)} {_text(value, dimension, shown)}"
        for at, place, dimension, value in rows[:_ROWS_MOST]
    ]
    if len(rows) > _ROWS_MOST:
        lines.append(f"{len(rows) - _ROWS_MOST} more; hotfuel decode writes all of them as columns.")
    lines += [by_hand.DOUBT] if rows else ["There is no reading by hand in this recording."]
    listed = [
        {"time_s": float(at), "place": place, "dimension": dimension, "value": float(value), "unit": next(iter(UNITS[dimension]))}
        for at, place, dimension, value in rows
    ]
    show(
        {"readings": listed, "notes": all_notes(opened)},
        [*lines, *[note for note in notes(opened) if note != by_hand.DOUBT]],
        as_json,
    )


def _text(value: float, dimension: str, shown: Shown) -> str:
    return f"{value:.2f} V" if dimension == "voltage" else shown.text(value, dimension)
