"""A test day from its file, for `plan`, `record`, `compare` and `power`: what is next, and where it stands. Imports no command."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import open_session, share
from hotfuel.errors import InputError, UsageError
from hotfuel.text import typed
from hotfuel.units import Shown

if TYPE_CHECKING:  # these load numpy and pandas, which --help does not need
    from hotfuel.session.recording import Session
    from hotfuel.study.fixes.answers import Comparison
    from hotfuel.study.fixes.day_plan import DayPlan
    from hotfuel.study.fixes.day_verdict import Standing
    from hotfuel.study.power.power import PowerComparison
    from hotfuel.study.power.pulls import Pull

Plan = Annotated[
    Path | None,
    typer.Option(
        "--plan", help="A test day's file (hotfuel plan): the run's name, what is fitted and where it goes come from it."
    ),
]


def load_plan(path: Path) -> "DayPlan":
    """The plan in a file, with starts from its first run where none were stated."""
    from hotfuel.study.fixes import day_plan

    plan = day_plan.load(path)
    if plan.quantity == day_plan.POWER or plan.start_degc or not plan.driven():
        return plan
    try:
        return day_plan.with_starts(plan, _first_degc(open_session(plan.recording(1))))
    except InputError:  # the first run holds nothing, which `standing` reports
        return plan


def _first_degc(session: "Session") -> dict[str, float]:
    """{place: degC at the start of the run} for the tank and the places that show how warm the engine is."""
    import numpy as np

    if session.car is None:
        return {}
    degc = session.temperatures().iloc[:30]
    wanted = [
        p.name
        for p in session.car.places
        if p.role == "tank" or (p.role == "other" and p.name in ("block", "engine", "coolant", "oil", "head"))
    ]
    first = {
        name: float(np.nanmedian(degc[f"{name}_degc"]))
        for name in wanted
        if degc.get(f"{name}_degc") is not None and degc[f"{name}_degc"].notna().any()
    }
    return {name: float(round(value, 1)) for name, value in first.items()}


def next_number(plan: "DayPlan") -> int:
    """The number of the run to drive next: one that held no answer comes before a new one. Raises InputError once all are recorded."""
    if again := plan.to_drive_again():
        return again
    number = plan.driven() + 1
    if number > len(plan.order):
        raise InputError(f"all {len(plan.order)} runs of {plan.path.name} are recorded: more runs need a plan of their own")
    return number


def next_words(plan: "DayPlan", shown: Shown) -> str:
    """For example "Next is run 5 of 12: ice can; start when the tank is below 95 °F. Record it with: hotfuel record --plan sunday.toml"."""
    from hotfuel.report import day_words

    number = plan.driven() + 1
    if number > len(plan.order):
        return f"All {len(plan.order)} runs are recorded."
    if plan.interrupted():
        return (
            f"{day_words.run(plan, number).capitalize()} was cut off: hotfuel record --plan {typed(plan.path)} goes on with it, if its last byte is under two "
            "hours old and board and car are the same; else it is driven again."
        )
    starts = day_words.start(plan, shown)
    path = plan.run_path(number)
    goes = f"Record it with: hotfuel record --plan {typed(plan.path)}"
    if path.suffix == ".csv":
        goes = f"Its CSV goes to {path}. Then: hotfuel power --plan {typed(plan.path)}"
    return f"Next is {day_words.run(plan, number)}{f'; {starts}' if starts else ''}. {goes}"


def report_words(plan: "DayPlan") -> str:
    """The command that writes the report of a day at its end."""
    command = "power" if plan.run_path(1).suffix == ".csv" else "compare"
    return f"Its report: hotfuel {command} --plan {typed(plan.path)} --out {typed(plan.path.with_suffix('.html'))}"


def about_run(plan: "DayPlan", number: int, shown: Shown) -> dict[str, str]:
    """The metadata for the session of that run."""
    from hotfuel.report import day_words
    from hotfuel.study.fixes.fitted import what_and_where

    title, when = day_words.run(plan, number), day_words.start_when(plan, shown)
    values = {"title": title, "test_day": title, **({"start_when": when} if when else {})}
    if fix := plan.fixes.get(plan.order[number - 1]):
        what, before = what_and_where(fix)
        values |= {"fix": what, **({"before": before} if before else {})}
    return values


def standing(plan: "DayPlan", shown: Shown, corrected: bool | None = None) -> "tuple[Standing, list[str], list[int]]":
    """(where the day stands after its complete blocks, sentences on runs without a number, those runs). Runs of an incomplete block are not looked at."""
    from hotfuel.study.fixes import day_plan, day_verdict

    width = len(plan.variants)
    complete = plan.driven() // width * width
    numbers = range(1, complete + 1)
    if plan.quantity == day_plan.POWER:
        if complete < 2 * width:
            return day_verdict.standing(plan, dict.fromkeys(numbers, 0.0)), [], []
        from hotfuel.study.fixes import day_power

        return day_power.power_standing(plan, _read(plan, numbers), corrected), [], []
    values, notes = _values(plan, numbers, shown)
    return day_verdict.standing(plan, values), notes, [n for n in numbers if n not in values]


def _read(plan: "DayPlan", numbers: Iterable[int]) -> "dict[int, Pull]":
    """{number of the run: its pull}, named as its file. Raises InputError for a file that does not hold exactly one."""
    from hotfuel.study.power import pulls

    read = {}
    for n in numbers:
        found = pulls.read(plan.run_path(n))
        if len(found) != 1:
            raise InputError(
                f"{plan.run_path(n).name} holds {len(found)} pulls: a run of a plan is one pull, keep one in the file"
            )
        read[n] = replace(found[0], name=plan.run_path(n).stem)
    return read


def _values(plan: "DayPlan", numbers: Iterable[int], shown: Shown) -> tuple[dict[int, float], list[str]]:
    """({number of the run: its value}, sentences: first on each run without a value, then what was adjusted or left out)."""
    from hotfuel.report import compare_notes, run_words
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.fixes.copies import copies
    from hotfuel.study.fixes.day_values import values_of

    sessions, unreadable = {}, []
    for n in numbers:
        try:
            session = open_session(plan.recording(n))
            of_session(session)
            sessions[n] = plan.order[n - 1], session
        except InputError as error:
            unreadable.append(
                f"{error}. Its block is not complete: hotfuel record --plan {typed(plan.path)} drives the run again."
            )
    recorded = list(sessions)
    for i, j in copies([session for _, session in sessions.values()]):
        if sessions.pop(recorded[j], None) is not None:
            unreadable.append(
                f"{plan.recording(recorded[j])} is the same recording as {plan.recording(recorded[i])}, whole or in part, and a run counts once. "
                f"Its block is not complete: hotfuel record --plan {typed(plan.path)} drives the run again."
            )
    if not sessions:
        return {}, unreadable
    names = [name for name, _ in sessions.values()]
    values, without, notes = values_of(sessions, plan.variants[0] if plan.variants[0] in names else names[0], plan.cell)
    said = [f"{run_words.not_complete(one)} hotfuel record --plan {typed(plan.path)} drives the run again." for one in without]
    if instead := next((held for one in without if (held := run_words.instead(one))), ""):
        said.append(
            f"If that cannot be driven, make a new plan that asks of what these runs hold: hotfuel plan with --phase {typed(instead)} and another --out."
        )
    return values, [*unreadable, *said, *filter(None, (compare_notes.note(one, shown) for one in notes))]


def _at_its_end(plan: "DayPlan", shown: Shown, corrected: bool | None = None) -> "Standing":
    """Where a day stands that is decided, or whose runs are all driven. Raises UsageError before that."""
    from hotfuel.report import day_words

    driven = plan.driven()
    found, _, again = standing(plan, shown, corrected) if driven and driven % len(plan.variants) == 0 else (None, [], [])
    if found is None or again or not (found.decided or driven == len(plan.order)):
        following = f"Next is {day_words.run(plan, again[0])}, again." if again else next_words(plan, shown)
        raise UsageError(
            f"the report is written once the day is decided or all its {len(plan.order)} runs are driven: {following}"
        )
    return found


def reported(plan: "DayPlan", shown: Shown, private: bool) -> "tuple[Comparison, dict[str, list[Session]]]":
    """(the comparison, its sessions by variant) of a day of temperatures at its end. Raises UsageError before that, and for a day of power."""
    from hotfuel.study.fixes import day_plan, day_verdict
    from hotfuel.study.fixes.sessions import compare_sessions

    if plan.quantity == day_plan.POWER:
        raise UsageError(
            f"{plan.path.name} asks of power: its report is written by hotfuel power --plan {typed(plan.path)} --out"
        )
    found = _at_its_end(plan, shown)
    opened: dict[str, list[Session]] = {name: [] for name in plan.variants}
    for n in range(1, plan.driven() + 1):
        opened[plan.order[n - 1]].append(open_session(plan.recording(n)))
    share([one for each in opened.values() for one in each], private)
    result = compare_sessions(opened, plan.variants[0], primary=plan.cell, delta_degc=plan.difference)
    return day_verdict.answered(plan, result, found), opened


def reported_power(plan: "DayPlan", shown: Shown, corrected: bool | None) -> "PowerComparison":
    """The pulls of a day of power at its end, compared as the plan's looks allow. Raises UsageError before that, and for a day of temperatures."""
    from hotfuel.study.fixes import day_plan, day_power

    if plan.quantity != day_plan.POWER:
        raise UsageError(
            f"{plan.path.name} asks of temperature: its report is written by hotfuel compare --plan {typed(plan.path)} --out"
        )
    found = _at_its_end(plan, shown, corrected)
    return day_power.power_answered(plan, _read(plan, range(1, plan.driven() + 1)), found, corrected)


def _standing_words(plan: "DayPlan", found: "Standing", shown: Shown) -> list[str]:
    from hotfuel.report import day_words
    from hotfuel.study.fixes import day_plan

    if plan.quantity != day_plan.POWER:
        return day_words.standing(plan, found, shown)
    from hotfuel.report import power_words

    return power_words.standing(found, plan, shown)


def told(
    plan: "DayPlan", shown: Shown, corrected: bool | None = None, *, reported: bool = False
) -> tuple[dict[str, Any], list[str]]:
    """(for JSON, lines): after a complete block the verdict so far; between blocks only what is next, or that the last run holds no answer.

    reported: the report is being written, and need not be named.
    """
    from hotfuel.report import day_words, run_words
    from hotfuel.study.fixes import day_plan

    driven = plan.driven()
    lines: list[str] = []
    again: list[int] = []
    verdict, sentences = None, list[str]()
    if driven and driven % len(plan.variants) == 0:
        verdict, notes, again = standing(plan, shown, corrected)
        sentences = _standing_words(plan, verdict, shown)
        lines += [*sentences, *notes]
    elif driven and plan.quantity != day_plan.POWER:
        # reported at once, while there is time to drive it again, and without its value
        values, notes = _values(plan, [driven], shown)
        again = [driven] if driven not in values else []
        lines += notes if again else []
    plan.note_again(range(1, driven + 1) if verdict is not None else [driven] if driven else [], again, run_words.NO_ANSWER)
    if again:
        lines.append(f"Next is {day_words.run(plan, again[0])}, again.")
    elif verdict is None or not verdict.decided:
        lines.append(next_words(plan, shown))
    if not again and not reported and verdict is not None and (verdict.decided or driven == len(plan.order)):
        lines.append(report_words(plan))
    following = driven + 1 if driven < len(plan.order) else None
    return {
        "plan": str(plan.path),
        "driven": driven,
        "runs": len(plan.order),
        "again": again,
        "interrupted": plan.interrupted(),
        "next": {"number": following, "variant": plan.order[driven], "path": str(plan.run_path(following))}
        if following
        else None,
        "standing": {**verdict.as_dict(), "sentences": sentences} if verdict else None,
    }, lines
