"""A test day as `plan`, `record`, `compare` and `power` take it from its file: what is next, and where it stands. Imports no command."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import open_session, share
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown

Plan = Annotated[
    Path | None,
    typer.Option(
        "--plan", help="A test day's file (hotfuel plan): the run's name, what is fitted and where it goes come from it."
    ),
]


def load_plan(path: Path) -> Any:
    """The plan, its starts taken from the first run where none were stated."""
    from hotfuel.study.fixes import day_plan

    plan = day_plan.load(path)
    if plan.quantity == day_plan.POWER or plan.start_degc or not plan.driven():
        return plan
    try:
        return day_plan.with_starts(plan, _first_degc(open_session(plan.recording(1))))
    except InputError:  # the first run holds nothing: where the day stands says so
        return plan


def _first_degc(session: Any) -> dict[str, float]:
    """{place: degC as the run began} of the tank and of the places that show how warm the engine is."""
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


def next_number(plan: Any) -> int:
    """The run to be driven next, the first that held no answer before a new one. Raises InputError when all are."""
    if again := plan.to_drive_again():
        return int(again)
    number = plan.driven() + 1
    if number > len(plan.order):
        raise InputError(f"all {len(plan.order)} runs of {plan.path.name} are recorded: more runs need a plan of their own")
    return int(number)


def next_words(plan: Any, shown: Shown) -> str:
    """For example "next is run 5 of 12: ice can; start when the tank is below 95 °F"."""
    number = plan.driven() + 1
    if number > len(plan.order):
        return f"All {len(plan.order)} runs are recorded."
    if plan.interrupted():
        return (
            f"{plan.run_words(number).capitalize()} was cut off: hotfuel record --plan {plan.path} goes on with it, if its last byte is under two hours "
            "old and board and car are the same; else it is driven again."
        )
    starts = plan.start_words(shown)
    path = plan.run_path(number)
    goes = f" Its CSV goes to {path}." if path.suffix == ".csv" else ""
    return f"Next is {plan.run_words(number)}{f'; {starts}' if starts else ''}.{goes}"


def about_run(plan: Any, number: int, shown: Shown) -> dict[str, str]:
    """The metadata that the session of that run gets."""
    starts = plan.start_words(shown)
    values = {"title": plan.run_words(number), "test_day": f"{plan.run_words(number)}{f'; {starts}' if starts else ''}"}
    if fix := plan.fixes.get(plan.order[number - 1]):
        what, _, before = fix.partition(" before ")
        values |= {"fix": what, **({"before": before} if before else {})}
    return values


def standing(plan: Any, shown: Shown, corrected: bool | None = None) -> tuple[Any, list[str], list[int]]:
    """(where the day stands after its complete blocks, sentences on runs that have no number, those runs). Runs of a block not complete are not looked at."""
    from hotfuel.study.fixes import day_plan, day_verdict

    width = len(plan.variants)
    complete = plan.driven() // width * width
    numbers = range(1, complete + 1)
    if plan.quantity == day_plan.POWER:
        if complete < 2 * width:
            return day_verdict.standing(plan, dict.fromkeys(numbers, 0.0), shown), [], []
        from hotfuel.report import power_words
        from hotfuel.study.fixes import day_power

        found = day_power.power_standing(plan, _read(plan, numbers), shown, corrected)
        return replace(found, sentences=tuple(power_words.standing(found, plan, shown))), [], []
    values, notes = _values(plan, numbers, shown)
    return day_verdict.standing(plan, values, shown), notes, [n for n in numbers if n not in values]


def _read(plan: Any, numbers: Iterable[int]) -> dict[int, Any]:
    """{number of the run: its pull}, named as its file. Raises InputError for a file that does not hold one."""
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


def _values(plan: Any, numbers: Iterable[int], shown: Shown) -> tuple[dict[int, float], list[str]]:
    """({number of the run: what is asked of it}, a sentence on each run that has none, then the others)."""
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.fixes.sessions import values_of

    sessions, unreadable = {}, []
    for n in numbers:
        try:
            session = open_session(plan.recording(n))
            of_session(session)
            sessions[n] = plan.order[n - 1], session
        except InputError as error:
            unreadable.append(f"{error}. Its block is not complete: hotfuel record --plan {plan.path} drives the run again.")
    if not sessions:
        return {}, unreadable
    names = [name for name, _ in sessions.values()]
    values, notes = values_of(sessions, plan.variants[0] if plan.variants[0] in names else names[0], plan.cell, shown)
    return values, [*unreadable, *notes]


def _at_its_end(plan: Any, shown: Shown, corrected: bool | None = None) -> Any:
    """Where a day stands that is decided, or whose runs are all driven. Raises UsageError before."""
    driven = plan.driven()
    found, _, again = standing(plan, shown, corrected) if driven and driven % len(plan.variants) == 0 else (None, [], [])
    if found is None or again or not (found.decided or driven == len(plan.order)):
        following = f"Next is {plan.run_words(again[0])}, again." if again else next_words(plan, shown)
        raise UsageError(
            f"the report is written once the day is decided or all its {len(plan.order)} runs are driven: {following}"
        )
    return found


def reported(plan: Any, shown: Shown, private: bool) -> tuple[Any, dict[str, list[Any]]]:
    """(the comparison, its sessions by variant) of a day of temperatures at its end. Raises UsageError before, and for a day of power."""
    from hotfuel.study.fixes import day_plan, day_verdict
    from hotfuel.study.fixes.sessions import compare_sessions

    if plan.quantity == day_plan.POWER:
        raise UsageError(f"{plan.path.name} asks of power: its report is written by hotfuel power --plan {plan.path} --out")
    found = _at_its_end(plan, shown)
    opened: dict[str, list[Any]] = {name: [] for name in plan.variants}
    for n in range(1, plan.driven() + 1):
        opened[plan.order[n - 1]].append(open_session(plan.recording(n)))
    share([one for each in opened.values() for one in each], private)
    result = compare_sessions(opened, plan.variants[0], primary=plan.cell, delta_degc=plan.difference, shown=shown)
    return day_verdict.answered(plan, result, found, shown), opened


def reported_power(plan: Any, shown: Shown, corrected: bool | None) -> Any:
    """The pulls of a day of power at its end, compared as the plan's looks allow. Raises UsageError before, and for a day of temperatures."""
    from hotfuel.study.fixes import day_plan, day_power

    if plan.quantity != day_plan.POWER:
        raise UsageError(
            f"{plan.path.name} asks of temperature: its report is written by hotfuel compare --plan {plan.path} --out"
        )
    found = _at_its_end(plan, shown, corrected)
    return day_power.power_answered(plan, _read(plan, range(1, plan.driven() + 1)), found, corrected)


def told(plan: Any, shown: Shown, corrected: bool | None = None) -> tuple[dict[str, Any], list[str]]:
    """(for JSON, lines): after a complete block the verdict so far; between blocks only what is next, or that the last run holds no answer."""
    from hotfuel.study.fixes import day_plan

    driven = plan.driven()
    lines: list[str] = []
    again: list[int] = []
    verdict = None
    if driven and driven % len(plan.variants) == 0:
        verdict, notes, again = standing(plan, shown, corrected)
        lines += [*verdict.sentences, *notes]
    elif (
        driven and plan.quantity != day_plan.POWER
    ):  # said at once, while there is time to drive it again; its number is not told
        values, notes = _values(plan, [driven], shown)
        again = [driven] if driven not in values else []
        lines += notes if again else []
    plan.note_again(range(1, driven + 1) if verdict is not None else [driven] if driven else [], again)
    if again:
        lines.append(f"Next is {plan.run_words(again[0])}, again.")
    elif verdict is None or not verdict.decided:
        lines.append(next_words(plan, shown))
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
        "standing": verdict.as_dict() if verdict else None,
    }, lines
