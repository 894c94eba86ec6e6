"""The value of each run of a planned day, and why a run has none: it is known before the run is compared with others, from its own recording."""

from collections.abc import Mapping

import numpy as np

from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import IDLE, PULL, Phase, phases
from hotfuel.study.fixes.called import called
from hotfuel.study.fixes.copies import identity
from hotfuel.study.fixes.lacking import DIVIDED, GUESSED, NO_PHASE, NO_PLACE, NO_SPEED, NOT_COUNTED, NotComplete
from hotfuel.study.fixes.notes import Note
from hotfuel.study.fixes.sessions import runs_of
from hotfuel.study.fixes.summaries import WHOLE_RUN, Cell, has


def values_of(
    sessions: Mapping[int, tuple[str, Session]], baseline: str, cell: Cell
) -> tuple[dict[int, float], list[NotComplete], list[Note]]:
    """({number of the run: its value of that cell, degC, brought to common conditions}, the runs without one, notes).

    sessions: {number: (variant, session)}, one session a run. A run that cannot be divided into phases or lacks the place would take the answer from
    all others, so it is left out before they are brought to common conditions.
    """
    names = called([session for _, session in sessions.values()])
    found, without, groups = {}, {}, dict[str, list[Session]]()
    lacks = {}
    for number, (variant, session) in sessions.items():
        course = of_session(session)
        parts = phases(course)
        why, held = _lacking(course, parts, cell), _held(parts)
        lacks[number] = NotComplete(names[identity(session)], cell, why=why, held=held)
        if why in (NO_PLACE, GUESSED):
            without[number] = lacks[number]
        else:
            groups.setdefault(variant, []).append(session)
    runs, notes = runs_of(groups, baseline if baseline in groups else next(iter(groups))) if groups else ([], [])
    by_session = {run.session: run for run in runs}
    for number, (_, session) in sessions.items():
        run = by_session.get(identity(session))
        if run is not None and has(run, cell):
            found[number] = run.values[cell]
        elif run is not None:
            fault = next((one for one in run.faults if one.touches(cell)), None)
            own = lacks[number]
            without[number] = NotComplete(own.run, cell, fault, own.why or NOT_COUNTED, own.held)
    return found, [without[number] for number in sorted(without)], notes


def _lacking(course: Course, found: list[Phase], cell: Cell) -> str:
    """Why this recording by itself cannot have a value; "" where it can."""
    if cell.place not in course.fuel_places or not np.isfinite(course.degc[cell.place]).any():
        return NO_PLACE
    guessed = found[0].confidence == "low"
    if cell.phase == WHOLE_RUN:
        return "" if guessed else DIVIDED
    if guessed:
        return GUESSED
    if any(phase.kind == cell.phase for phase in found):
        return ""
    measured = np.isfinite(course.inputs["engine_rpm"]).mean() > 0.5
    return NO_SPEED if cell.phase in (PULL, IDLE) and not measured else NO_PHASE


def _held(found: list[Phase]) -> tuple[tuple[str, float], ...]:
    """(kind of phase, seconds of it), the longest first."""
    seconds: dict[str, float] = {}
    for phase in found:
        seconds[phase.kind] = seconds.get(phase.kind, 0.0) + phase.duration_s
    return tuple(sorted(seconds.items(), key=lambda one: -one[1]))
