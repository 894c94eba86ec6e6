"""Looking at what was recorded: review, and the numbers a person wants first."""

from pathlib import Path
from typing import Annotated, Any

import typer
from hotfuel_wire.framing import FRAME_MAX

from hotfuel.cli.app import Json, Units, app, show
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown, parse

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


@app.command()
def review(
    session: Annotated[Path, typer.Argument(help="Session folder or wire.log.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="HTML file to write. Default: review.html in the session folder.")
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print it to this PDF (needs Chromium).")] = None,
    complaint: Annotated[
        Path | None,
        typer.Option(
            "--complaint", help="The session with the trouble, before the repair: this one's hot stops are held against it."
        ),
    ] = None,
    facts: About = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What happened, as a page and a sheet for the customer. Example: hotfuel review sunday --out sunday.html

    After a repair: hotfuel review friday --complaint monday. A stop counts only if it was as hard as the one with the trouble.
    """
    from hotfuel import session as sessions
    from hotfuel.report import review as report
    from hotfuel.session import folder as session_folder
    from hotfuel.study.line import transport

    if facts:
        session_folder.update(session_folder.find(session), about(facts))
    opened = recording(sessions.open(session, car))
    target = out or (opened.folder.path / "review.html")
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    told = _story(opened, shown, complaint)
    written = report.write(opened, target, shown.system, pdf, told)
    judgement = told.judgement if told else None
    sections = told.sections if told else ()
    most = transport.told(sections)
    show(
        {
            "report": str(written),
            "summary": opened.summary().as_dict(),
            "sections": [one.as_dict() for one in sections],
            "story": told.as_dict() if told else None,
            "notes": opened.all_notes(),
        },
        [
            *findings(opened, shown),
            *([most.sentence] if most else []),
            *(judgement.sentences if judgement else ()),
            *opened.all_notes(),
            f"report: {written}",
        ],
        as_json,
    )


def recording(opened: Any) -> Any:
    """The session; raises InputError for a file that has nothing to do with a board, which an empty or cut recording is not."""
    losses = opened.losses
    if not losses.frames and losses.bytes_damaged > FRAME_MAX:
        raise InputError(
            f"{opened.folder.log_path.name} is no recording: none of its {losses.bytes_total} bytes come from a board"
        )
    return opened


def _story(opened: Any, shown: Shown, complaint: Path | None) -> Any:
    """The session's story, None for one without a temperature."""
    from hotfuel import session as sessions
    from hotfuel.study import story

    before = sessions.open(complaint) if complaint else None
    if before is not None and before.folder.log_path.resolve() == opened.folder.log_path.resolve():
        raise UsageError(f"--complaint {complaint} is the session under review itself: name the one from before the repair")
    try:
        return story.tell(opened, shown, before)
    except InputError:
        if before is not None:
            raise
        return None


def findings(opened: Any, shown: Shown) -> list[str]:
    """The numbers a person wants first, in a few lines."""
    summary = opened.summary()
    if summary.hottest is None:
        return ["there is no temperature in this session"]
    from hotfuel.car import place_words
    from hotfuel.report.words import Clock

    clock = Clock(opened.ticks.timeline.anchored, opened.metadata.get("utc_offset_min"))
    hottest, lines = summary.hottest, []

    def when(at: Any) -> str:
        return f"{clock.moment(at)} {'after the start' if not clock.dates else clock.zone}"

    lines.append(
        f"hottest: {place_words(hottest.place)} {shown.text(hottest.hottest_degc, 'temperature')} at {when(hottest.hottest_at)}"
    )
    if summary.smallest is not None:
        near = summary.smallest
        lines.append(
            f"smallest margin: {place_words(near.place)} {shown.text(near.smallest_margin_degc, 'temperature difference')}"
            f" (give or take {shown.text(near.uncertainty_degc, 'temperature difference')}) at {when(near.smallest_margin_at)},"
            f" limit {shown.text(near.limit_there_degc, 'temperature')} at {shown.text(near.pressure_there_kpa, 'pressure')} absolute"
        )
        for place in summary.places.values():
            if place.beyond_limit_s > 0:
                lines.append(f"{place_words(place.place)} was beyond its limit for {place.beyond_limit_s / 60:.1f} min")
    return lines
