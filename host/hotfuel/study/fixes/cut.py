"""Recordings cut into what is compared: a session of one variant, or the stretches that its marks assign to each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hotfuel.errors import InputError
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import Phase, phases
from hotfuel.study.fixes.called import called
from hotfuel.study.fixes.copies import each_once, identity
from hotfuel.study.fixes.faults import Fault
from hotfuel.study.line import settling


@dataclass(frozen=True)
class Stretch:
    """A session of one variant, or the stretch of it that its marks assign to that variant. settlings: of the session from which it was cut.

    faults, cold_degc and perhaps_degc are as in `Run`, and known once all stretches were brought to common conditions.
    """

    variant: str
    session: Session
    course: Course
    found: list[Phase]
    settlings: tuple[settling.Settling, ...] = ()
    faults: tuple[Fault, ...] = ()
    cold_degc: dict[str, float] | None = None
    perhaps_degc: dict[str, float] | None = None


def all_stretches(groups: Mapping[str, Sequence[Session]]) -> list[Stretch]:
    """Every variant's stretches; a session under several names is cut at the marks that carry them.

    Raises InputError where no mark does, and where one recording would count as two runs.
    """
    each_once(groups)
    names = called([session for sessions in groups.values() for session in sessions])
    return [
        one
        for name, sessions in groups.items()
        for session in sessions
        for one in _stretches(name, session, names[identity(session)], groups)
    ]


def _stretches(variant: str, session: Session, own_name: str, groups: Mapping[str, Sequence[Session]]) -> list[Stretch]:
    """The session as one course, or, where it is given under several names, the stretches that its marks assign to this one."""
    course = replace(of_session(session), name=own_name)
    found = phases(course)
    sharing = [name for name, sessions in groups.items() if any(identity(other) == identity(session) for other in sessions)]
    if len(sharing) == 1:
        return [Stretch(variant, session, course, found)]
    switched = [(second, text.casefold().removeprefix("switch:").strip()) for second, text in course.marks]
    named = [(second, text) for second, text in switched if text in [name.casefold() for name in sharing]]
    ends = [*(second for second, _ in named), float(course.time_s[-1]) + 1.0][1:]
    settled = tuple(settling.settlings(course, named, ends[-1])) if named else ()
    mine = [
        Stretch(variant, session, course.cut(start, end, f"{course.name}, {text} {number}"), _within(found, start, end), settled)
        for number, ((start, text), end) in enumerate(zip(named, ends, strict=True), start=1)
        if text == variant.casefold()
    ]
    if not mine:
        raise InputError(
            f'{course.name} is given for {" and ".join(sharing)}, and no mark in it reads "{variant}": set a mark with that text at each change, '
            "or give separate sessions"
        )
    return mine


def _within(found: Sequence[Phase], start_s: float, end_s: float) -> list[Phase]:
    """The phases of a whole session between two moments: a stretch alone would not show that its engine had been started long before."""
    return [
        replace(phase, start_s=max(phase.start_s, start_s), end_s=min(phase.end_s, end_s))
        for phase in found
        if phase.start_s < end_s and phase.end_s > start_s
    ]
