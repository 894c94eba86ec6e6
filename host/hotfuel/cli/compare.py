"""`hotfuel compare`: did a fix lower the temperature?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import (
    Json,
    OutPage,
    Pdf,
    Png,
    Units,
    WithoutNames,
    note,
    open_session,
    page_beside,
    share,
    show,
    told_first,
)
from hotfuel.cli.shared_arguments import gathered, groups, pairs
from hotfuel.cli.shared_plan import Plan, load_plan, reported, told
from hotfuel.cli.shared_pulls import WANTED, chosen, compared, weather_of
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown, parse

if TYPE_CHECKING:
    from hotfuel.car import Car
    from hotfuel.session.recording import Session
    from hotfuel.study.fixes.answers import Comparison
    from hotfuel.study.fixes.pairs import Pair

_TOLD = 4  # how many answers to questions not asked a terminal shows, the largest first


def compare(
    variants: Annotated[list[str] | None, typer.Argument(help="NAME=SESSION[,SESSION...] for each variant.")] = None,
    baseline: Annotated[
        str | None,
        typer.Option(
            "--baseline", help="Which variant the others are compared with. Default: the only one without a fix, else the first."
        ),
    ] = None,
    question: Annotated[
        str | None,
        typer.Option("--question", help='The one question asked before the runs, e.g. "smallest margin at pump, hot soak".'),
    ] = None,
    fix: Annotated[
        list[str] | None,
        typer.Option(
            "--fix",
            help='What was fitted, and where: "ice can=ice before carb_inlet". It fixes the question. '
            "Given again for parts fitted together: the first is asked.",
        ),
    ] = None,
    phase: Annotated[
        str | None, typer.Option("--phase", help='Ask it of this phase instead of the fix\'s own, e.g. "drive".')
    ] = None,
    worth: Annotated[str, typer.Option("--worth-having", help="The smallest difference worth having, with its unit.")] = "3 degC",
    powers: Annotated[
        list[str] | None, typer.Option("--power", help=f"{WANTED}: pulls of a variant, joined into the report.")
    ] = None,
    needs: Annotated[
        list[str] | None,
        typer.Option("--needs", help='What a variant needs, in your words, for the table: "ice can=8 lb of ice an hour".'),
    ] = None,
    weather: Annotated[list[str] | None, typer.Option("--weather", help="Of the pulls, as in hotfuel power.")] = None,
    order: Annotated[
        str | None, typer.Option("--order", help="Of the pulls: their names in the order they were driven, separated by commas.")
    ] = None,
    plan: Plan = None,
    archive: Annotated[
        Path | None,
        typer.Option(
            "--archive",
            help="This car's archive: pairs of runs with the same parts fitted show the effect of running later in the day.",
        ),
    ] = None,
    out: OutPage = None,
    pdf: Pdf = None,
    png: Png = None,
    without_names: WithoutNames = False,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Did a fix lower the temperature? Example: hotfuel compare before=mon,tue,wed shield=thu,fri,sat --out shield.html

    Something switched on the way: give one session under each name, hotfuel compare "fan off=sunday" "fan on=sunday"; it is cut at the marks that
    read "fan off" and "fan on" (or "switch: fan on"). What comes before the first such mark is left out, and so is the time each place takes to settle.

    A repair: where marks such as "hard start" or "died" tell of trouble after a hot stop of the baseline, the other variants' hot stops are held
    against it.
    """
    from hotfuel.report import by_hand, compare_words, complaint_words, input_table, power_words
    from hotfuel.study.evidence import verdicts
    from hotfuel.study.fixes import asking, measured_inputs
    from hotfuel.study.fixes.fitted import together
    from hotfuel.study.fixes.sessions import compare_sessions

    if plan is not None and not variants:
        day = load_plan(plan)
        in_units = Shown(units or day.units)
        page = page_beside(out, pdf, png)
        seen = reported(day, in_units, without_names) if page is not None else None
        standing, said = told(day, in_units, reported=page is not None)
        if page is not None and seen is not None:
            from hotfuel.report import comparison

            with told_first(said, page, as_json) as pages:
                pages += comparison.write(seen[0], page, seen[1], units=in_units.system, pdf=pdf, png=png)
        show({"plan": standing, "report": str(page) if page else None}, said, as_json)
        return
    if question is not None and not question.strip():
        raise UsageError('--question is empty; write it like "smallest margin at pump, hot soak", or leave it out')
    if not variants:
        raise UsageError("say what to compare: NAME=SESSION[,SESSION...] NAME=..., or --plan with a test day's file")
    named = groups(variants, "SESSION")
    each = {path: open_session(path) for paths in named.values() for path in paths}
    archived_of = next(iter(each.values())).car  # by its own name
    share(each.values(), without_names, named)
    opened = {name: [each[path] for path in paths] for name, paths in named.items()}
    first = next(iter(next(iter(opened.values()))))
    shown = Shown(units or (first.car.units if first.car else "si"))
    result = compare_sessions(
        opened,
        baseline,
        primary=asking.parse(question) if question else None,
        fixes={name: together(texts) for name, texts in gathered(fix, "--fix").items()},
        phase=asking.phase(phase) if phase else None,
        delta_degc=parse(worth, "temperature difference"),
        archived=_archived(archive, opened, archived_of) if archive else (),
    )
    files = chosen(powers or [])
    strange = [name for name in files if name not in named]
    if strange:
        raise UsageError(f'--power "{strange[0]}" is none of the variants compared: they are {", ".join(named)}')
    power = None
    if files:
        from hotfuel.study.fixes.fuel_in_pulls import fuel_in_pulls

        base = baseline or result.baseline
        fuel = {name: one for name, one in fuel_in_pulls(opened, base).items() if name in files}
        power = compared(
            files,
            base if baseline or base in files else None,
            order=order,
            weather=weather_of(weather, files),
            fuel_degc={name: one.degc for name, one in fuel.items()},
            fuel_half_degc={name: one.half_degc for name, one in fuel.items()},
        )
    wanted = pairs(needs, "--needs")
    if odd := [name for name in wanted if name not in named]:
        raise UsageError(f'--needs "{odd[0]}" is none of the variants compared: they are {", ".join(named)}')
    lines = [compare_words.finding(result, shown), *compare_words.questions(result)]
    lines += _how_to_say(result)
    elsewhere = (*result.worse_elsewhere, *result.better_elsewhere)
    others = [
        answer
        for answer in result.answers
        if not answer.asked and answer.touched and answer.verdict != verdicts.SEEN and answer not in elsewhere
    ]
    decided = [compare_words.answer(answer, shown) for answer in others if answer.verdict in verdicts.DECIDED]
    judged = [complaint_words.judgement(one, shown) for one in result.judgements]
    lines += map(" ".join, judged)
    lines += decided[:_TOLD]
    if more := len(decided) - len(decided[:_TOLD]):
        lines.append(f"{more} more are decided; the report and --json list them.")
    if len(decided) < len(others):
        lines.append(
            f"{len(others) - len(decided)} further questions are not decided by these runs; the report and --json list them."
        )
    lines += _pulls(result, shown)
    lines += filter(None, [by_hand.sentence(result.runs, (result.baseline, *result.variants), result.drawn.phase, shown)])
    inputs = measured_inputs.of_variants(opened)
    lines += input_table.sentences(inputs, shown)
    lines += compare_words.bad_runs(result, shown)
    lines += [*compare_words.conditions(result, shown), *compare_words.cautions(result, shown)]
    if result.proposed_order:
        lines.append(f"An order for more runs: {', '.join(result.proposed_order)}")
    if power is not None:
        lines += [power_words.finding(power, shown), *power_words.cautions(power)]
    target = page_beside(out, pdf, png)
    if target is not None:
        from hotfuel.report import comparison

        with told_first(lines, target, as_json) as pages:
            pages += comparison.write(result, target, opened, power=power, needs=wanted, units=shown.system, pdf=pdf, png=png)
    plain = compare_words.as_dict(result, shown)
    plain["judgements"] = [complaint_words.as_dict(one, shown) for one in result.judgements]
    show(
        {
            "comparison": plain,
            "inputs": [one.as_dict() for one in inputs],
            "power": power_words.as_dict(power, shown) if power else None,
            "report": str(target) if target else None,
        },
        lines,
        as_json,
    )


def _how_to_say(result: "Comparison") -> list[str]:
    """The options that supply what the comparison lacks; its own sentences name no options, because they are printed on paper too."""
    from hotfuel.study.fixes.fitted import Question
    from hotfuel.study.fixes.notes import AirGuessed, AirNotNoted, FixNotNamed

    lines = []
    if any(isinstance(one, Question) and one.guessed for one in result.questions):
        lines.append('If that is not what was fitted, say it with --fix: "NAME=cooler before carb_inlet".')
    if any(isinstance(one, FixNotNamed) for one in result.conditions):
        lines.append('Name what was fitted with --fix: "NAME=cooler before carb_inlet".')
    if result.unanswered:
        lines.append('Another phase is named with --phase: "drive", "hot soak", "whole run".')
    if any(isinstance(one, AirNotNoted | AirGuessed) for one in result.conditions):
        lines.append('Outside air is noted with hotfuel review SESSION --about ambient_degc="88 degF".')
    return lines


def _pulls(result: "Comparison", shown: Shown) -> list[str]:
    """What full-throttle pulls did at the last place of the line, variant by variant, in one line."""
    from hotfuel.report import line_words

    places = [place for one in result.pulls[:1] for place in one.places]
    for place in reversed(places):
        said = [words for one in result.pulls if (words := line_words.pulls(one, place, shown))]
        if said:
            return [f"As read in full-throttle pulls, {'; '.join(said)}."]
    return []


def _archived(archive: Path, opened: dict[str, list["Session"]], car: "Car | None") -> "list[Pair]":
    """Pairs of runs of one day with the same parts fitted, from this car's archive, without the runs compared now. Raises InputError without a car file."""
    from hotfuel.report import compare_words
    from hotfuel.session import archive as store
    from hotfuel.session.listing import Failed
    from hotfuel.study.fixes.copies import copies
    from hotfuel.study.fixes.sessions import pairs_of_sessions

    if car is None:
        raise InputError("without a car file it is not known which car to look for in the archive: give the sessions one")
    bad: list[Failed] = []
    rows = store.find(archive, car=car.name, say=note, bad=bad.append)
    for failed in bad:
        note(str(failed))
    now = [session for sessions in opened.values() for session in sessions]
    kept = [open_session(archive / store.SESSIONS / name) for name in rows["session"]]
    compared_now = {j - len(now) for i, j in copies([*now, *kept]) if i < len(now)}
    found = pairs_of_sessions([one for number, one in enumerate(kept) if number not in compared_now], car.name)
    note(compare_words.archived(len(found), car.name))
    return found
