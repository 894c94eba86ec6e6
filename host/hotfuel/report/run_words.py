"""What a run must hold to answer what a test day asks, said before it is driven; and, after one that does not, why not."""

from hotfuel.places import place_words
from hotfuel.report import compare_notes, words
from hotfuel.session import pulls
from hotfuel.study.drive.phases import (
    COLD_START,
    DRIVE,
    IDLE,
    LAP,
    PULL,
    RESTART,
    SHORTEST_DRIVE_S,
    SHORTEST_IDLE_S,
    SOAK,
    STANDING,
)
from hotfuel.study.fixes import lacking
from hotfuel.study.fixes.day_plan import POWER, DayPlan
from hotfuel.study.fixes.lacking import NotComplete
from hotfuel.study.fixes.summaries import WHOLE_RUN
from hotfuel.text import listed

_MUST = {
    PULL: (
        f"a full-throttle pull: in one gear from low engine speed to the top, without lifting, {pulls.LEAST_S:g} s at least and better 10 s. It is recognised "
        f"by the engine's speed, which must be wired and rise by {pulls.RISE_RPM_S:g} rpm a second or more, to {100 * pulls.SHARE:g} % of the run's highest"
    ),
    DRIVE: f"a drive of {SHORTEST_DRIVE_S:g} s at least, better some minutes. It is told from idling by the engine's speed, which should be wired",
    IDLE: f"an idle of {SHORTEST_IDLE_S:g} s at least. It is recognised by the engine's speed, which must be wired",
    SOAK: "a hot stop: the engine switched off hot, and the recording left on, as long in every run. It is recognised by engine speed or ignition; without "
    "these, mark it: key off",
    RESTART: "a start of the engine after a hot stop, with the recording left on. It is recognised by engine speed or ignition; without these, mark it: "
    "restart",
    COLD_START: "a start of the cold engine, with the recording begun before it. It is recognised by engine speed or ignition, and by places that all have "
    "nearly one temperature",
    LAP: "laps: by a satellite receiver, or a mark that reads lap at the end of each, two marks at least",
    WHOLE_RUN: "no more than the drive as a whole; it is compared only where neither engine speed nor ignition is recorded",
}


NO_ANSWER = "This recording holds no answer to the plan's question: the run is driven again."


def must_hold(plan: DayPlan) -> str:
    """What every run of the plan must hold, and by what that is recognised; "" of power."""
    return "" if plan.quantity == POWER else f"Every run must hold {_MUST[plan.phase]}."


def not_complete(one: NotComplete) -> str:
    """A run of a planned day that has to be driven again: why, and what it must hold."""
    if one.fault is not None:
        return f"{compare_notes.fault(one.run, one.fault)} Its block is not complete:"
    said = f"{one.run} has no {one.cell.words()}: {_why(one)}."
    if one.why in (lacking.NO_PHASE, lacking.NO_SPEED, lacking.GUESSED):
        said += f" Every run must hold {_MUST[one.cell.phase]}."
    return f"{said} Its block is not complete:"


def _why(one: NotComplete) -> str:
    phase = "lap" if one.cell.phase == LAP else one.cell.phase
    if one.why == lacking.NO_PLACE:
        return f"the {place_words(one.cell.place)} was not read: look at its probe and its plug"
    if one.why == lacking.GUESSED:
        return "neither engine speed nor ignition was recorded, so its phases can only be guessed"
    if one.why == lacking.NO_SPEED:
        return f"no engine speed was recorded, and without it no {phase} is recognised"
    if one.why == lacking.DIVIDED:
        return "engine speed or ignition was recorded, and such runs are compared by phase: name a phase in a new plan"
    if one.why == lacking.NOT_COUNTED:
        return f"it holds a {phase} that does not count beside those of the other runs: drive all runs alike, with as many stops"
    held = [f"{words.duration(seconds)} of {kind}" for kind, seconds in one.held]
    return f"no {phase} was recognised in it, only {listed(held)}" if held else f"no {phase} was recognised in it"


def instead(one: NotComplete) -> str:
    """The phase that such a run held longest and that a plan could ask of, where it held another than the one asked; else ""."""
    if one.fault is not None or one.why not in (lacking.NO_PHASE, lacking.NO_SPEED):
        return ""
    return next((kind for kind, _ in one.held if kind not in (STANDING, one.cell.phase)), "")
