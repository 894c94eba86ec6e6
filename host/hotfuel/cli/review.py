"""`hotfuel review`: what happened, as a page and a sheet for the customer."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import (
    About,
    Json,
    Png,
    Units,
    WithoutNames,
    about,
    findings,
    notes,
    open_session,
    recording,
    share,
    show,
    told_first,
)
from hotfuel.cli.shared_came import held_with
from hotfuel.errors import InputError, UsageError
from hotfuel.text import first_upper
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.session.recording import Session
    from hotfuel.study.story import Story


def review(
    session: Annotated[Path, typer.Argument(help="Session folder or wire.log.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="HTML file to write. Default: review.html in the session folder.")
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print it to this PDF (needs Chromium).")] = None,
    png: Png = None,
    complaint: Annotated[
        Path | None,
        typer.Option(
            "--complaint", help="The session with the trouble, before the repair: this one's hot stops are compared with it."
        ),
    ] = None,
    forecast: Annotated[
        Path | None,
        typer.Option(
            "--forecast", help="The session that a forecast was kept with (forecast --keep): it is checked against this drive."
        ),
    ] = None,
    without_names: WithoutNames = False,
    facts: About = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What happened, as a page and a sheet for the customer. Example: hotfuel review sunday --out sunday.html

    After a repair: hotfuel review friday --complaint monday. A stop counts only if it was as hard as the one with the trouble.
    """
    from hotfuel.report import complaint_words, line_words, story_words, written
    from hotfuel.report import review as report
    from hotfuel.report.session_notes import all_notes
    from hotfuel.session import folder as session_folder
    from hotfuel.study.line import transport

    if facts:
        session_folder.update(session_folder.find(session), about(facts))
    opened = recording(open_session(session, car))
    if not len(opened.temperatures()):
        raise InputError(f"{opened.name} has no reading in it, so no report was written: record first, or give another session")
    target = out or (opened.folder.path / "review.html")
    shown = Shown(units or opened.units)
    before = _before(opened, complaint)
    share([one for one in (opened, before) if one is not None], without_names)
    told = _story(opened, before)
    came, arrived = None, []
    if forecast:
        from hotfuel.report import came_words  # brings the forecasts' room with it

        came = held_with(opened, forecast)
        arrived = came_words.sentences(came, shown)
    made = report.make(opened, shown.system, told, came)
    said = story_words.sentences(told, shown) if told else []
    judged = complaint_words.judgement(told.judgement, shown) if told and told.judgement else []
    sections = told.sections if told else ()
    most = transport.changed_most(sections)
    lines = [
        made.answer,
        *findings(opened, shown),
        *_doubted_probes(told, shown),
        *([first_upper(line_words.section(most, shown))] if most else []),
        *_pulls(told, shown),
        *judged,
        *arrived,
        *notes(opened),
    ]
    with told_first(lines, target, as_json) as files:
        files += written.write(made, target, shown, pdf, png)
    show(
        {
            "report": str(files[0]),
            "summary": opened.summary().as_dict(),
            "sections": [line_words.as_dict(one, shown) for one in sections],
            "story": _plain(told, said, shown) if told else None,
            "came": line_words.in_words(came.as_dict()) if came else None,
            "suspected": _suspected(opened),
            "notes": all_notes(opened),
        },
        lines,
        as_json,
    )


def _plain(told: "Story", said: list[str], shown: Shown) -> dict[str, Any]:
    """The story for JSON, with its sentences; its sections are a field of their own."""
    from hotfuel.report import complaint_words, heat_words, limit_words, story_words
    from hotfuel.report.line_words import in_words

    plain = {"sentences": said, **{name: part for name, part in told.as_dict().items() if name != "sections"}}
    if told.nearest is not None and told.nearest.reason is not None:
        plain["nearest"]["reason"] = story_words.WHY[told.nearest.reason]
    plain["own_limit"]["sentence"] = limit_words.own_limit(told.own_limit, shown)
    for one, fields in zip(told.pressures, plain["pressures"], strict=True):
        fields["sentence"] = story_words.pressure(one, shown, told.needle)
    if told.heat is not None:
        plain["heat"] = in_words(plain["heat"]) | {"sentence": heat_words.sentence(told.heat, shown)}
    if told.judgement is not None:
        plain["judgement"] = complaint_words.as_dict(told.judgement, shown)
    return plain


def _suspected(opened: "Session") -> list[dict[str, Any]]:
    """Readings that count although they may be none, for JSON: times as ISO text, or in s after the start."""
    rows = opened.suspected().to_dict("records")
    return [{str(key): _moment(value) if key in ("start", "end") else value for key, value in row.items()} for row in rows]


def _moment(at: Any) -> Any:
    return at.isoformat() if hasattr(at, "tz_convert") else at.total_seconds()


def _doubted_probes(told: "Story | None", shown: Shown) -> list[str]:
    """Which probes seem to read wrong or to be swapped."""
    if told is None:
        return []
    from hotfuel.report.probe_words import apart_why, apart_words, exchanged_words

    return [
        *(
            [f"{apart_words(told.apart, shown)}: {apart_why(told.apart)}; check it in ice water and in boiling water"]
            if told.apart
            else []
        ),
        *([exchanged_words(told.exchanged, shown)] if told.exchanged else []),
    ]


def _pulls(told: "Story | None", shown: Shown) -> list[str]:
    """The last full-throttle pull at the last place of the line, in one line."""
    if told is None or not told.pulls:
        return []
    from hotfuel.live.plain import pull_text

    last = told.pulls[-1]
    said = [words for place in reversed(last.places) if (words := pull_text(last.places[place], place, shown))]
    count = f"{len(told.pulls)} full-throttle pulls, the last: " if len(told.pulls) > 1 else "one full-throttle pull: "
    return [count + said[0]] if said else []


def _before(opened: "Session", complaint: Path | None) -> "Session | None":
    """The complaint's session, None without one."""
    before = open_session(complaint) if complaint else None
    if before is not None and before.folder.log_path.resolve() == opened.folder.log_path.resolve():
        raise UsageError(f"--complaint {complaint} is the session under review itself: name the one from before the repair")
    return before


def _story(opened: "Session", before: "Session | None") -> "Story | None":
    """The session's story, None for one without a temperature."""
    from hotfuel.study import story

    try:
        return story.tell(opened, before)
    except InputError:
        if before is not None:
            raise
        return None
