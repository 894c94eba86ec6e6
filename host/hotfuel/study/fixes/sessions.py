"""Recordings made comparable: runs cut out, limits for one common fuel and air pressure, temperatures as rise over one common outside air."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_from_words, probe_of
from hotfuel.session.recording import Session
from hotfuel.study.drive.complaint import judge_variants
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import LAP, PULL, Phase
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.alike import stops_alike
from hotfuel.study.fixes.answers import Comparison
from hotfuel.study.fixes.bad_runs import cold_notes, cold_readings, faults, overlapping
from hotfuel.study.fixes.common import Common, common_places, not_first_of_their_day, settled_places
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.cut import Stretch, all_stretches, identity
from hotfuel.study.fixes.difference import SLOPE
from hotfuel.study.fixes.faults import PARKED, Fault
from hotfuel.study.fixes.fitted import Fitted, Question, kind_of, questions
from hotfuel.study.fixes.lapped import extremes, is_lapped, whole_laps
from hotfuel.study.fixes.one_run import run_of
from hotfuel.study.fixes.pairs import LEAST_PAIRS, Pair, pairs_of
from hotfuel.study.fixes.read_by_hand import medians
from hotfuel.study.fixes.summaries import MEAN, WHOLE_RUN, Cell, Run, has
from hotfuel.study.line import overlaid, settling
from hotfuel.units import Shown

NOT_SAID, NOTE_AIR = "Nothing says what was fitted", "note it with the session"  # how it is typed is the command line's to say
GUESSED_AIR_U_DEGC = 3.0  # a tank that stood over night is seldom more than 5 degC from the outside air, either way


def compare_sessions(
    groups: Mapping[str, Sequence[Session]],
    baseline: str | None = None,
    *,
    primary: Cell | None = None,
    delta_degc: float = verdicts.DELTA_DEGC,
    fixes: Mapping[str, Fitted] | None = None,
    phase: str | None = None,
    archived: Sequence[Pair] = (),
    shown: Shown | None = None,
) -> Comparison:
    """Compare variants, each with its sessions {name: [hotfuel.session.Session, ...]}, with the baseline (default: the first name).

    A session given under several names is cut at the marks that carry these names. Other arguments as `compare_runs`. The question goes by `primary`,
    else by what was fitted: `fixes` {name: Fitted}, else the sessions' own word for it, else the car file's, else the variant's name; `phase` names
    another phase than the fix's own. archived: as `compare_runs`, from `pairs_of_sessions`.
    Raises InputError, one sentence, for an empty session, one without a car file among others with one, different cars, no common place, or a name
    that no mark carries.
    """
    names = list(groups)
    base = baseline if baseline is not None else (names[0] if names else "")
    if base not in groups:
        raise InputError(f'there is no variant "{base}" to compare with: there are {", ".join(names) or "none"}')
    empty = [name for name in names if not groups[name]]
    if empty:
        raise InputError(f"{empty[0]} has no session: give at least one for each variant")
    for name, sessions in groups.items():
        if len({identity(session) for session in sessions}) < len(sessions):
            raise InputError(f"{name} has the same recording twice: a run counts once, give each session once")
    stretches = all_stretches(groups)
    units = shown or Shown(_units(groups[base][0]))
    runs, notes = _runs(stretches, base, units)
    asked: list[Question] = []
    if primary is None:
        asked, unknown = _asked(stretches, base, fixes or {}, phase)
        if unknown:
            notes.append(
                f"{NOT_SAID} with {', '.join(unknown)}: say what it is and which place lies behind it, as in cooler before carb_inlet."
            )
    notes += overlapping(runs)
    result = compare_runs(runs, base, primary, questions=asked, delta_degc=delta_degc, archived=archived, shown=units)
    judged = judge_variants([(one.variant, one.course) for one in stretches], base)
    settled = tuple(dict.fromkeys(each for one in stretches for each in one.settlings))
    cautions = (*settling.sentences(settled), *result.cautions)
    pulls = overlaid.of_variants(_pulled(stretches, runs, result.primary.place))
    return replace(
        result, conditions=(*notes, *result.conditions), cautions=cautions, judgements=judged, settlings=settled, pulls=pulls
    )


def _pulled(stretches: Sequence[Stretch], runs: Sequence[Run], asked: str) -> dict[str, list[tuple[Course, list[Phase]]]]:
    """Each variant's courses with their phases, but for runs that a fault takes out as a whole, or in pulls at the place asked or the last one.

    Where it touches other places only, these count as not read.
    """
    groups: dict[str, list[tuple[Course, list[Phase]]]] = {}
    for one, run in zip(stretches, runs, strict=True):
        fuel = one.course.fuel_places
        out = {place for place in one.course.degc if any(fault.touches(Cell(MEAN, place, PULL)) for fault in run.faults)}
        if out & {probe_of(asked), *fuel[-1:]}:
            continue
        nothing = np.full(len(one.course.time_s), np.nan)
        course = (
            replace(one.course, degc={p: nothing if p in out else v for p, v in one.course.degc.items()}) if out else one.course
        )
        groups.setdefault(one.variant, []).append((course, one.found))
    return groups


def _asked(
    stretches: Sequence[Stretch], base: str, fixes: Mapping[str, Fitted], phase: str | None
) -> tuple[list[Question], list[str]]:
    """(the questions by what was fitted, the variants of which nothing is known)."""
    if strange := [name for name in fixes if name not in {one.variant for one in stretches}]:
        raise InputError(
            f'"{strange[0]}" is none of the variants: they are {", ".join(dict.fromkeys(one.variant for one in stretches))}'
        )
    known = {one.variant: fixes.get(one.variant) or _noted(one) for one in stretches if one.variant != base}
    courses = [one.course for one in stretches]
    places, _ = common_places(courses)
    laps = all(is_lapped(one.found) for one in stretches)
    pulled = all(course.car is None or course.car.engine.pulled for course in courses)
    return questions(known, places, pulled=pulled, phase=phase, lapped=laps)


def _noted(stretch: Stretch) -> Fitted | None:
    """What the session, the car file or at last the variant's name says was fitted."""
    noted, car = stretch.session.metadata, stretch.course.car
    texts = ((noted.get("fix"), noted.get("before")), (car.fix, car.before) if car is not None else (None, None))
    for what, where in texts:
        kind = kind_of(what or "")
        if kind is not None:
            return Fitted(kind, place_from_words(where) if where else "")
    kind = kind_of(stretch.variant)
    return None if kind is None else Fitted(kind, guessed=True)


def runs_of(groups: Mapping[str, Sequence[Session]], baseline: str, shown: Shown = Shown("si")) -> tuple[list[Run], list[str]]:
    """(runs with their summaries, sentences about what was adjusted or left out)."""
    return _runs(all_stretches(groups), baseline, shown)


def runs_and_stretches(groups: Mapping[str, Sequence[Session]], baseline: str) -> list[tuple[Run, Stretch]]:
    """Each run with its faults, and the stretch of a recording it was made of."""
    stretches = all_stretches(groups)
    return list(zip(_runs(stretches, baseline, Shown("si"))[0], stretches, strict=True))


def pairs_of_sessions(sessions: Sequence[Session], car: str, shown: Shown) -> tuple[list[Pair], str]:
    """(pairs of runs of one day with the same parts fitted, a sentence on how many). Sessions of another car, and those that cannot be read, make none."""
    groups: dict[str, list[Session]] = {}
    for session in sessions:
        if session.car is not None and session.car.name == car:
            fitted = str(session.metadata.get("fix") or session.car.fix or "as built")
            groups.setdefault(fitted.strip().casefold(), []).append(session)
    runs = []
    for name, same in groups.items():
        try:
            runs += runs_of({name: same}, name, shown)[0]
        except InputError:  # recordings without a temperature or a common place: no evidence, and not what was asked
            continue
    found = pairs_of(runs)
    enough = "" if len(found) >= LEAST_PAIRS else f"; at least {LEAST_PAIRS} are needed before they count"
    return found, f"The archive holds {len(found)} pairs of runs of one day with the same parts fitted on {car}{enough}."


def values_of(
    sessions: Mapping[int, tuple[str, Session]], baseline: str, cell: Cell, shown: Shown
) -> tuple[dict[int, float], list[str]]:
    """({number of the run: its value of that cell, degC, brought to common conditions}, a sentence on each that has none or a fault).

    sessions: {number: (variant, session)}, one session a run.
    """
    groups: dict[str, list[Session]] = {baseline: []}
    for variant, session in sessions.values():
        groups.setdefault(variant, []).append(session)
    runs, notes = runs_of(groups, baseline, shown)
    by_session = {run.session: run for run in runs}
    found, bad = {}, []
    for number, (_, session) in sessions.items():
        run = by_session[identity(session)]
        if has(run, cell):
            found[number] = run.values[cell]
        else:
            why = run.faults[0].sentence(run.name) if run.faults else f"{run.name} has no {cell.words()}."
            bad.append(f"{why} Its block is not complete: the run is driven again.")
    return found, [*bad, *notes]


def _runs(stretches: Sequence[Stretch], baseline: str, shown: Shown) -> tuple[list[Run], list[str]]:
    courses = [one.course for one in stretches]
    cars = {course.car.name for course in courses if course.car is not None}
    if len(cars) > 1:
        raise InputError(f"the sessions are of different cars ({', '.join(sorted(cars))}): compare runs of one car")
    without = [course.name for course in courses if course.car is None]
    if without and len(without) < len(stretches):
        raise InputError(f"{without[0]} has no usable car file and the others have one: give it one to compare them")
    places, notes = common_places(courses)
    places = settled_places(places, stretches)
    notes += [note for course in courses for note in course.notes]
    common = Common.of(next(one.course for one in stretches if one.variant == baseline), courses, shown)
    notes += common.notes
    warm = not_first_of_their_day(stretches)
    if warm:
        notes.append(
            f"Outside air was not noted for {', '.join(warm)}, and a car that ran before on that day does not tell it by its fuel: "
            f"{NOTE_AIR}."
        )
    air = [np.nan if one.course.name in warm else one.course.ambient_degc for one in stretches]
    reference = float(np.mean(air)) if np.isfinite(air).all() else np.nan
    if np.isfinite(reference) and any(course.ambient_guessed for course in courses):
        notes.append(
            f"Where outside air was taken from the fuel, the interval allows for {shown.text(GUESSED_AIR_U_DEGC, 'temperature difference')} (standard) "
            f"a side: {NOTE_AIR}."
        )
    faulty = faults(stretches, places)
    cold = cold_readings(stretches, places)
    notes += cold_notes(stretches, cold, shown)
    whole_only = any(
        one.found[0].confidence == "low"
        for one, found in zip(stretches, faulty, strict=True)
        if PARKED not in [f.kind for f in found]
    )
    if whole_only:
        notes.append("Phases can only be guessed from the temperatures of at least one session, so whole runs are compared.")
    cut, told = stops_alike([(one.course.name, _sound(one.found, found)) for one, found in zip(stretches, faulty, strict=True)])
    notes += [] if whole_only else told
    runs = []
    for one, outside, found, wrong, read_cold in zip(stretches, air, cut, faulty, cold, strict=True):
        course = one.course
        shift = SLOPE * (reference - outside) if np.isfinite(reference) else 0.0
        parts: dict[str, np.ndarray] = {} if not whole_only else {WHOLE_RUN: np.ones(len(course.time_s), dtype=bool)}
        laps = whole_laps(found)
        for phase in [] if whole_only else found:
            if phase.kind == LAP and phase not in laps:
                continue
            rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
            parts[phase.kind] = parts.get(phase.kind, np.zeros(len(rows), dtype=bool)) | rows
        course = common.apply(course)
        run = run_of(one, course, parts, places, shift)
        if LAP in parts:
            run = replace(run, values={**run.values, **extremes(course, laps, run.values, shift)}, laps=len(laps))
        guess_u = GUESSED_AIR_U_DEGC if course.ambient_guessed and np.isfinite(reference) else 0.0
        run = replace(run, faults=(*wrong, *run.faults), cold_degc=read_cold, by_hand=medians(one.course, parts))
        runs.append(replace(run, ambient_degc=outside, ambient_u_degc=guess_u, brought_to_degc=reference))
    return runs, list(dict.fromkeys(notes))


def _sound(found: Sequence[Phase], wrong: Sequence[Fault]) -> list[Phase]:
    """The phases that no fault of the whole run takes out, so that a broken-off stop does not shorten everybody's."""
    return [phase for phase in found if not any(not f.places and (not f.phases or phase.kind in f.phases) for f in wrong)]


def _units(session: Session) -> str:
    return session.car.units if session.car is not None else "si"
