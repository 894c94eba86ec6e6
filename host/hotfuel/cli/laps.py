"""`hotfuel laps`: a table of laps, and which sector of the lap costs margin."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import Json, Units, notes, open_session, recording, show
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.text import counted
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.study.drive.laps import Lap

_TOLD = 40  # how many laps a terminal shows; --json and the page have all


def laps(
    session: Annotated[Path, typer.Argument(help="Session folder or wire.log.")],
    line: Annotated[
        str | None,
        typer.Option(
            "--line", help='The line laps are counted at, and the direction it is crossed in: "48.0712 11.2650 heading 275".'
        ),
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep the line beside the log, so that it need not be given again.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="HTML page to write, with the path drawn to scale: anyone who gets it sees where you drove."),
    ] = None,
    positions: Annotated[
        bool, typer.Option("--positions", help="Also print the line's position, which is private by default.")
    ] = False,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """A table of laps, and which sector of the lap costs margin. Example: hotfuel laps sunday --line "48.0712 11.2650 heading 275" --keep

    Without --line: the line kept with --keep, else where the mark "lap line" was set, else where the path crosses itself; without a receiver, marks
    that read "lap".
    """
    from hotfuel.files import whole
    from hotfuel.report import lap_words
    from hotfuel.session.folder import LAP_LINE
    from hotfuel.study.drive import ground
    from hotfuel.study.drive.laps import laps as laps_of

    given = ground.parse(line) if line else None
    opened = recording(open_session(session, car))
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    found = laps_of(opened, given)
    kept = opened.folder.path / LAP_LINE
    if keep:
        if found.line is None:
            raise InputError(f"{opened.name} has laps by marks only, so there is no line to keep: give one with --line")
        with whole(kept) as part:
            part.write_text(f"{found.line}\n", encoding="utf-8")
    lines = lap_words.sentences(found, shown)
    lines += [_row(lap, found.period_s, shown) for lap in found.laps[:_TOLD]]
    if len(found.laps) > _TOLD:
        lines.append(
            f"{counted(sum(lap.count for lap in found.laps[_TOLD:]), 'more lap is', 'more laps are')} in --json and on the page."
        )
    lines += [f"line kept: {kept}"] if keep else []
    if positions and found.line is not None:
        lines.append(f"line: {found.line}")
    told = {"laps": lap_words.as_dict(found, positions), "report": str(out) if out else None}
    if out is not None:
        from hotfuel.report import lap_page

        lines.append(f"report: {lap_page.write(found, opened, out, shown)}")
    show(told, [*lines, *notes(opened)], as_json)


def _row(lap: "Lap", period_s: float, shown: Shown) -> str:
    """One lap as a line of a terminal."""
    from hotfuel.report.lap_words import lap_time, note, numbers
    from hotfuel.risk.level import is_beyond

    which = f"lap {lap.number:>2}" if lap.count == 1 else f"laps {numbers(lap)}"
    parts = [f"{which}  {lap_time(lap, period_s)}"]
    if lap.hottest_place:
        parts.append(f"{place_words(lap.hottest_place)} up to {shown.text(lap.hottest_degc, 'temperature', 0)}")
    if lap.margin_place:
        size = shown.text(abs(lap.margin_degc), "temperature difference", 0)
        parts.append(f"{size} {'past' if is_beyond(lap.margin_degc) else 'left'} at {place_words(lap.margin_place)}")
    return "  ".join([*parts, *([note(lap)] if lap.note else [])])
