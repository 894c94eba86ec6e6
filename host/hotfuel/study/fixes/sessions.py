"""Recordings compared in three steps: cut into runs, brought to common conditions (one fuel and air pressure, one outside air), summarised."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import probe_of
from hotfuel.session.recording import Session
from hotfuel.study.drive.complaint import judge_variants
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import PULL, Phase
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.answers import Comparison
from hotfuel.study.fixes.bad_runs import overlapping
from hotfuel.study.fixes.baseline import fixes_of, require_one, without_fix
from hotfuel.study.fixes.brought import bring
from hotfuel.study.fixes.common import common_places
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.copies import distinct
from hotfuel.study.fixes.cut import Stretch, all_stretches
from hotfuel.study.fixes.fitted import Fitted, Question, questions
from hotfuel.study.fixes.lapped import doubled, is_lapped
from hotfuel.study.fixes.notes import ComparedWith, FixNotNamed, Note
from hotfuel.study.fixes.one_run import run_of
from hotfuel.study.fixes.pairs import Pair, pairs_of
from hotfuel.study.fixes.summaries import MEAN, Cell, Run
from hotfuel.study.line import overlaid


def compare_sessions(
    groups: Mapping[str, Sequence[Session]],
    baseline: str | None = None,
    *,
    primary: Cell | None = None,
    delta_degc: float = verdicts.DELTA_DEGC,
    fixes: Mapping[str, Fitted] | None = None,
    phase: str | None = None,
    archived: Sequence[Pair] = (),
) -> Comparison:
    """Compare variants, each with its sessions {name: [hotfuel.session.Session, ...]}, with the baseline (default: the only one without a fix, else the
    first name).

    A session given under several names is cut at the marks that carry these names. Other arguments as `compare_runs`. The question follows from `primary`,
    else from what was fitted: `fixes` {name: Fitted}, else the sessions' metadata, else the car file, else the variant's name; `phase` asks it of another
    phase than the fix's own. archived: as `compare_runs`, from `pairs_of_sessions`. `hotfuel.report.compare_words` says the result.
    Raises InputError, one sentence, for an empty session, one without a car file among others with one, different cars, no common place, a name
    that no mark carries, a recording given twice, whole or in part (a copied folder), or fixes that leave open what they are compared with.
    """
    _refuse_empty(groups, baseline)
    stretches = all_stretches(groups)
    known = fixes_of(stretches, fixes or {})
    found = without_fix(list(groups), fixes or {}, known)
    base = baseline or found or next(iter(groups))
    asked: list[Question] = []
    unknown: list[str] = []
    if primary is None:
        if baseline is None and found is None:
            require_one(list(groups), known, _asked(stretches, known, phase)[0])
        # with a fix on the baseline's side alone, its question is that of the difference all the same
        between = {name: known.get(name) or (None if (own := known.get(base)) is None or own.guessed else own) for name in groups}
        asked, unknown = _asked(stretches, {name: fix for name, fix in between.items() if name != base}, phase)
    runs, notes = _runs(stretches, base)
    if baseline is None and base != next(iter(groups)):
        notes.insert(0, ComparedWith(base))
    notes += [FixNotNamed(tuple(unknown))] if unknown else []
    notes += overlapping(runs)
    result = compare_runs(runs, base, primary, questions=asked, delta_degc=delta_degc, archived=archived)
    return replace(
        result,
        conditions=(*notes, *result.conditions),
        judgements=judge_variants([(one.variant, one.course) for one in stretches], base),
        settlings=tuple(dict.fromkeys(each for one in stretches for each in one.settlings)),
        fitted={name: fix.said for name, fix in known.items() if fix.said},
        pulls=overlaid.of_variants(_pulled(stretches, runs, result.primary.place)),
    )


def _refuse_empty(groups: Mapping[str, Sequence[Session]], baseline: str | None) -> None:
    """Raises InputError for groups that cannot be compared."""
    if not groups or (baseline is not None and baseline not in groups):
        raise InputError(f'there is no variant "{baseline or ""}" to compare with: there are {", ".join(groups) or "none"}')
    for name, sessions in groups.items():
        if not sessions:
            raise InputError(f"{name} has no session: give at least one for each variant")


def _runs(stretches: Sequence[Stretch], baseline: str) -> tuple[list[Run], list[Note]]:
    """(a run for each stretch, notes)."""
    brought, terms, notes = bring(stretches, baseline)
    return [run_of(one, terms, own.found) for one, own in zip(brought, stretches, strict=True)], notes


def _pulled(stretches: Sequence[Stretch], runs: Sequence[Run], asked: str) -> dict[str, list[tuple[Course, list[Phase]]]]:
    """Each variant's courses with their phases, without runs that a fault takes out of pulls at the place asked or at the last one.

    Other places that a fault touches count as not read.
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
    stretches: Sequence[Stretch], fitted: Mapping[str, Fitted | None], phase: str | None
) -> tuple[list[Question], list[str]]:
    """(the questions that follow from what was fitted, the variants of which nothing is known)."""
    courses = [one.course for one in stretches]
    places, _ = common_places(courses)
    many = doubled([one.found for one in stretches])
    laps = all(is_lapped(one.found) for number, one in enumerate(stretches) if number not in many)
    pulled = all(course.car is None or course.car.engine.pulled for course in courses)
    return questions(fitted, places, pulled=pulled, phase=phase, lapped=laps)


def runs_of(groups: Mapping[str, Sequence[Session]], baseline: str) -> tuple[list[Run], list[Note]]:
    """(runs with their summaries, notes on what was adjusted or left out)."""
    return _runs(all_stretches(groups), baseline)


def runs_and_stretches(groups: Mapping[str, Sequence[Session]], baseline: str) -> list[tuple[Run, Stretch]]:
    """Each run with its faults, and the stretch of a recording from which it was made."""
    stretches = all_stretches(groups)
    return list(zip(_runs(stretches, baseline)[0], stretches, strict=True))


def pairs_of_sessions(sessions: Sequence[Session], car: str) -> list[Pair]:
    """Pairs of runs of one day with the same parts fitted. Sessions of another car, copies, and those that cannot be read, make none."""
    groups: dict[str, list[Session]] = {}
    for session in sessions:
        if session.car is not None and session.car.name == car:
            fitted = str(session.metadata.get("fix") or session.car.fix or "as built")
            groups.setdefault(fitted.strip().casefold(), []).append(session)
    runs = []
    for name, same in groups.items():
        try:
            runs += runs_of({name: distinct(same)}, name)[0]
        except InputError:  # recordings without a temperature or a common place are no evidence, and were not what was asked
            continue
    return pairs_of(runs)
