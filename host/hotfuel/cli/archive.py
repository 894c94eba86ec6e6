"""`hotfuel archive`: many sessions: add, list, find, page, recompute."""

import contextlib
import functools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import Json, Units, WithoutNames, bar, note, show
from hotfuel.errors import HotfuelError, InputError
from hotfuel.places import place_from_words, place_words
from hotfuel.text import listed, told_apart
from hotfuel.units import Shown, parse

if TYPE_CHECKING:
    import pandas as pd

    from hotfuel.session.listing import Failed

archive = typer.Typer(
    help="Many sessions: add, list, find, page, recompute.", no_args_is_help=True, rich_markup_mode=None, add_completion=False
)


Folder = Annotated[Path, typer.Option("--archive", help="The archive's folder.", envvar="HOTFUEL_ARCHIVE")]
DEFAULT_ARCHIVE = Path("hotfuel-archive")


@archive.command("add")
def archive_add(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders.")],
    folder: Folder = DEFAULT_ARCHIVE,
    as_json: Json = False,
) -> None:
    """Add sessions. Example: hotfuel archive add monday tuesday"""
    from hotfuel.cli.shared_came import hold_in_archive
    from hotfuel.session import archive as store

    added, failed, came = [], [], []
    for path in sessions:
        try:
            _ask_what_was_fitted(path)
            added.append(store.add(folder, path, note))
            came += hold_in_archive(folder, added[-1])
        except HotfuelError as error:
            failed.append(f"{path}: {error}")
    lines = [f"{_sessions(len(added))} added to {folder}"] if added else []
    show({"added": added, "failed": failed, "came": came}, [*lines, *came], as_json)
    _end(failed, len(sessions), "could not be added")


def _ask_what_was_fitted(path: Path) -> None:
    """Ask a person at a terminal once what was fitted, if the session does not say: comparisons choose their question by it. Never waits in a script."""
    from hotfuel import session as sessions
    from hotfuel.session import folder as session_folder
    from hotfuel.study.fixes.fitted import kind_of, what_and_where

    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return
    opened = sessions.open(path)
    if opened.metadata.get("fix") or (opened.car is not None and opened.car.fix):
        return
    said = typer.prompt(
        f'{opened.name}: what was fitted, and where? ("cooler before carb_inlet"; Enter: as built)',
        default="",
        show_default=False,
        err=True,
    )
    what, where = what_and_where(said)
    if what and kind_of(what) is None:
        note(f'"{what}" is not a known kind of fix; it is kept as written')
    values = {"fix": what or "as built", **({"before": where} if where else {})}
    session_folder.update(session_folder.find(path), values)


@archive.command("list")
def archive_list(folder: Folder = DEFAULT_ARCHIVE, units: Units = None, as_json: Json = False) -> None:
    """All sessions. Example: hotfuel archive list"""
    from hotfuel.session import archive as store

    bad: list[Failed] = []
    _rows(folder, store.listed(folder, note, bad.append), units, as_json, bad)


@archive.command("find")
def archive_find(
    car: Annotated[str | None, typer.Option("--car", help="Part of the car's name.")] = None,
    place: Annotated[str | None, typer.Option("--place", help="A place that was measured.")] = None,
    fix: Annotated[str | None, typer.Option("--fix", help="Part of the fix's name.")] = None,
    since: Annotated[str | None, typer.Option("--since", help="First day, 2026-06-01.")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Last day.")] = None,
    hotter: Annotated[str | None, typer.Option("--hotter-than", help='Hottest fuel above, e.g. "150 degF".')] = None,
    margin: Annotated[str | None, typer.Option("--margin-below", help='Smallest margin below, e.g. "5 degC".')] = None,
    folder: Folder = DEFAULT_ARCHIVE,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Sessions by car, place, fix, date, hottest, smallest margin. Example: hotfuel archive find --margin-below "3 degC" """
    from hotfuel.session import archive as store

    degrees: Callable[[str | None, str], float | None] = lambda text, dimension: parse(text, dimension) if text else None  # noqa: E731
    bad: list[Failed] = []
    found = store.find(
        folder,
        car=car,
        place=place_from_words(place) if place else None,
        fix=fix,
        since=since,
        until=until,
        hotter_than_degc=degrees(hotter, "temperature"),
        margin_below_degc=degrees(margin, "temperature difference"),
        say=note,
        bad=bad.append,
    )
    if place and found.empty and place_from_words(place) not in (known := store.places(folder)):
        names = [f'"{place_words(one)}"' for one in known]
        note(f'no session has a place called "{place}": there are {listed(names)}')
    elif found.empty:
        note("no session matches")
    _rows(folder, found, units, as_json, bad)


@archive.command("page")
def archive_page(
    out: Annotated[
        Path | None, typer.Option("--out", help="HTML file to write. Default: notebook.html in the archive's folder.")
    ] = None,
    car: Annotated[str | None, typer.Option("--car", help="Part of the car's name; default: all cars.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print it to this PDF (needs Chromium).")] = None,
    without_names: WithoutNames = False,
    folder: Folder = DEFAULT_ARCHIVE,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """The car's notebook: each session with one number and one picture, and what was fitted when. Example: hotfuel archive page --car saloon"""
    from hotfuel import session as sessions
    from hotfuel.report import html, notebook
    from hotfuel.session import archive as store

    bad: list[Failed] = []
    rows = _records(store.find(folder, car=car, say=note, bad=bad.append))
    if not rows:
        raise InputError(f'no session of a car called "{car}" is in {folder}: `hotfuel archive list` names them')
    _say_what_is_not_whole(rows)
    of_car = {row["car"]: known for row in rows if (known := _units(folder, row))}  # of each car its last session's
    with bar("drawing") as progress:
        done = iter(range(1, len(rows) + 1))
        written = notebook.write(
            rows, lambda row: sessions.open(folder / store.SESSIONS / row["session"]), out or folder / "notebook.html",
            lambda row: Shown(units or of_car.get(row["car"], "si")), without_names=without_names, progress=lambda: progress(next(done) / len(rows)),
        )  # fmt: skip
    if pdf is not None:
        html.write_pdf(written, pdf, html.paper(Shown(units or of_car.get(rows[-1]["car"], "si"))))
    show(
        {"page": str(written), "sessions": len(rows), "failed": list(map(str, bad))},
        [f"{_sessions(len(rows))} in {written}", *([f"PDF: {pdf}"] if pdf else [])],
        as_json,
    )
    _end(list(map(str, bad)), len(rows), "are not on the page, or no longer from their logs")


@archive.command("recompute")
def archive_recompute(
    calibration: Annotated[
        Path | None, typer.Option("--calibration", help="A new calibration for all sessions of its board.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option("--cluster", help="Address of a Dask scheduler; default: all cores here.")
    ] = None,
    folder: Folder = DEFAULT_ARCHIVE,
    as_json: Json = False,
) -> None:
    """Work everything out again, with this version's models. Example: hotfuel archive recompute"""
    from hotfuel.session import archive as store

    with bar("working out again") as progress:
        done = store.recompute(folder, calibration=calibration, cluster=cluster, progress=progress, say=note)
    show({"recomputed": done}, [f"{_sessions(done)} recomputed in {folder}"], as_json)


def _sessions(count: int) -> str:
    return f"{count} session{'' if count == 1 else 's'}"


def _end(failed: list[str], count: int, what: str) -> None:
    """Raises InputError that lists what went wrong, if anything did; everything else has been done."""
    if failed:
        raise InputError(f"{len(failed)} of {_sessions(count)} {what}: {'; '.join(failed)}" if count > 1 else failed[0])


def _records(frame: "pd.DataFrame") -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _rows(folder: Path, frame: "pd.DataFrame", units: str | None, as_json: bool, bad: "list[Failed]") -> None:
    rows = _records(frame)
    titles = [row["title"] or row["session"] for row in rows]
    titles = told_apart(
        titles, [_began(folder, row) if titles.count(title) > 1 else "" for title, row in zip(titles, rows, strict=True)]
    )
    lines = [
        _line({**row, "title": title}, Shown(units or _units(folder, row) or "si"))
        for title, row in zip(titles, rows, strict=True)
    ]
    show({"sessions": rows, "failed": list(map(str, bad))}, lines, as_json)
    _say_what_is_not_whole(rows)
    known = {row["session"] for row in rows} | {failed.session for failed in bad}
    _end(list(map(str, bad)), len(known), "cannot be listed, or no longer from their logs")


def _say_what_is_not_whole(rows: list[dict[str, Any]]) -> None:
    for row in rows:
        if row["not_whole"]:
            note(f"{row['session']} is not whole: {row['not_whole']}")


def _began(folder: Path, row: dict[str, Any]) -> str:
    """Day and time of a session's start, local where it has its offset from UTC."""
    from hotfuel.report.words import Clock, began
    from hotfuel.session import archive as store
    from hotfuel.session import metadata
    from hotfuel.session.folder import METADATA

    about, _ = metadata.read(folder / store.SESSIONS / row["session"] / METADATA)
    return began(Clock(True, about.get("utc_offset_min")), row["started_utc"])


def _units(folder: Path, row: dict[str, Any]) -> str | None:
    """The units of a session's car; None without a readable car file."""
    from hotfuel.session import archive as store
    from hotfuel.session.folder import CAR

    with contextlib.suppress(OSError, ValueError):  # a session without a readable car file is listed all the same
        return _units_in((folder / store.SESSIONS / row["session"] / CAR).read_text(encoding="utf-8"))
    return None


@functools.cache
def _units_in(text: str) -> str | None:
    """The units that a car file's text asks for; the sessions of one car mostly hold the same text."""
    from hotfuel import car

    try:
        return car.load(text + "\n").units
    except InputError:
        return None


def _line(row: dict[str, Any], shown: Shown) -> str:
    """One session as a person reads it; its folder's name in the archive comes last."""
    from hotfuel.report.words import duration

    def at(value: str, place: str, dimension: str) -> str:
        return f"{shown.text(row[value], dimension)} at {place_words(row[place])}" if isinstance(row[place], str) else "–"

    def most(names: list[str]) -> str:
        return "up to " if len(names) > 1 else ""

    silent = [place_words(place) for place in row["unread_places"].split()] if isinstance(row["unread_places"], str) else []
    unread = f"{listed(silent)} not read for {most(silent)}{duration(row['unread_s'])}" if silent else ""
    doubted = (
        [place_words(place) for place in row["suspected_places"].split()] if isinstance(row["suspected_places"], str) else []
    )
    perhaps = (
        f"{listed(doubted)} perhaps not read for {most(doubted)}{duration(row['suspected_s'])}: see its review" if doubted else ""
    )
    beside = f" ({'; '.join(filter(None, (unread, perhaps)))})" if unread or perhaps else ""
    return " ".join(
        (
            f"{row['date']}: {row['title'] or row['session']}, {row['car']}, {duration(row['duration_s'])},",
            f"hottest {at('hottest_degc', 'hottest_place', 'temperature')},",
            f"smallest margin {at('smallest_margin_degc', 'smallest_margin_place', 'temperature difference')}{beside};",
            *([f"fix: {row['fix']};"] if isinstance(row["fix"], str) and row["fix"] else []),
            row["session"],
        )
    )
