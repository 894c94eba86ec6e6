"""`hotfuel plan`: plan a test day, and see where it stands."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import Json, Units, named, show
from hotfuel.cli.shared_arguments import pairs
from hotfuel.cli.shared_plan import load_plan, next_words, told
from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown, parse

if TYPE_CHECKING:
    from hotfuel.car import Car


def plan(
    names: Annotated[
        list[str],
        typer.Argument(
            help="The variants, the one without a fix first, with which the others are compared; or the file of a plan."
        ),
    ],
    fix: Annotated[
        list[str] | None, typer.Option("--fix", help='What is fitted, and where: "ice can=ice before carb_inlet".')
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="Where the temperature is asked. Default: behind the fix.")] = None,
    phase: Annotated[
        str | None, typer.Option("--phase", help='In which phase. Default: the fix\'s own, e.g. "full-throttle pull".')
    ] = None,
    difference: Annotated[
        str, typer.Option("--difference", help='The difference worth having: "5 degF", or of power "0.7 %".')
    ] = "3 degC",
    spread: Annotated[
        str | None, typer.Option("--spread", help="From run to run, known or assumed. Default: 1.5 degC, or 0.5 %.")
    ] = None,
    start: Annotated[
        list[str] | None,
        typer.Option("--start", help='Every run begins below: "tank=95 degF". Default: as the first one begins.'),
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file: its places and units.")] = None,
    out: Annotated[Path, typer.Option("--out", help="The plan's file; recordings go beside it.")] = Path("test-day.toml"),
    sheet: Annotated[Path | None, typer.Option("--sheet", help="Also a sheet to print, an HTML file.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="The sheet as PDF (needs Chromium).")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """A test day: how many runs, in which order. Example: hotfuel plan "as built" "ice can" --difference "5 degF" --out sunday.toml

    Then: hotfuel record --plan sunday.toml for every run; hotfuel plan sunday.toml tells what is next and, after every complete block, the verdict so far.
    Pulls of a test stand: --difference "0.7 %", and the CSV of each pull goes beside the plan under the name it tells.
    """
    from hotfuel import car as car_file
    from hotfuel.report import day_words, run_words
    from hotfuel.study.evidence import looks
    from hotfuel.study.fixes import day_plan
    from hotfuel.study.fixes.baseline import without_fix
    from hotfuel.study.fixes.fitted import kind_of

    if len(names) == 1 and Path(names[0]).suffix == ".toml":
        made = load_plan(Path(names[0]))
        result, lines = told(made, Shown(units or made.units))
        must = run_words.must_hold(made)
        lines += [must] if must and result["next"] and not any(must in line for line in lines) else []
        show({"plan": result}, lines, as_json)
        return
    if twice := [name for name in names if names.count(name) > 1]:
        raise UsageError(
            f'"{twice[0]}" is given twice: every variant needs a name of its own, the one that the others are compared with first'
        )
    described = car_file.load(car) if car else None
    shown = Shown(units or (described.units if described else "us" if "F" in difference else "si"))
    is_power = difference.strip().endswith("%")
    fixes = pairs(fix, "--fix")
    if strange := [name for name in fixes if name not in names]:
        raise UsageError(f'--fix is for "{strange[0]}", which is none of the variants: they are {", ".join(names)}')
    base = without_fix(names, fixes, {name: kind for name in names if (kind := fixes.get(name) or kind_of(name))}) or names[0]
    if base in fixes:
        raise UsageError(
            f'--fix is for "{base}", with which the others are compared: name a variant without a fix first, for example "as built"'
        )
    given, names = names, [base, *(name for name in names if name != base)]
    asked = ("", "") if is_power else _asked(names, fixes, place, phase, described)
    dimension, spread_of_runs = (
        ("percent", day_plan.SPREAD_PERCENT) if is_power else ("temperature difference", day_plan.SPREAD_DEGC)
    )
    if spread:
        spread_of_runs = parse(spread, dimension)
    spread_words = f"{spread_of_runs:g} %" if is_power else shown.text(spread_of_runs, "temperature difference")
    try:
        made = day_plan.made(
            out,
            names,
            quantity=day_plan.POWER if is_power else day_plan.TEMPERATURE,
            place=asked[0],
            phase=asked[1],
            difference=parse(difference, dimension),
            spread=spread_of_runs,
            start_degc={name.strip(): parse(value, "temperature") for name, value in pairs(start, "--start").items()},
            fixes=fixes,
            units=shown.system,
        )
    except looks.TooSmall:  # said with the units it was asked in
        assumed = "" if spread else ", assumed: give what you know with --spread"
        raise InputError(
            f'--difference "{difference}" cannot be found where runs alike spread by {spread_words}{assumed}: it takes more than {looks.MOST_BLOCKS} runs '
            "of each variant; make the runs more alike, or look for a larger difference"
        ) from None
    day_plan.write(made)
    lines = [
        f"Asked: {day_words.question(made)}; {day_words.difference(made, shown)} is worth having, and runs alike spread by {spread_words}"
        f"{'' if spread else ' (an assumption: give what you know with --spread)'}.",
        *filter(None, [run_words.must_hold(made)]),
        f"{len(made.order)} runs at most, {made.last_block} of each; a verdict is looked for after every block from the second on.",
        *([f"Compared with {base}, the only one of which no fix is known."] if base != given[0] else []),
        f"The order: {', '.join(made.order)}.",
        f"plan: {out}",
    ]
    files: list[Path] = []
    if sheet is not None or pdf is not None:
        from hotfuel.report import day_sheet

        files = day_sheet.write(made, sheet or Path(str(pdf)).with_suffix(".html"), shown, pdf)
        lines += named(files, "sheet")
    lines.append(next_words(made, shown))
    result, _ = told(made, shown)
    show(
        {"plan": {**result, "order": list(made.order), "blocks": made.last_block}, "sheet": str(files[0]) if files else None},
        lines,
        as_json,
    )


def _asked(names: list[str], fixes: dict[str, str], place: str | None, phase: str | None, car: "Car | None") -> tuple[str, str]:
    """(place, phase) of the question, from what is fitted; one for all fixes, because a day has one question. Raises UsageError where that is not clear."""
    from hotfuel.places import place_from_words
    from hotfuel.study.fixes import asking
    from hotfuel.study.fixes.fitted import Fitted, kind_of, questions
    from hotfuel.study.fixes.fitted import parse as parse_fix

    known = {
        name: parse_fix(fixes[name]) if name in fixes else Fitted(kind, guessed=True) if (kind := kind_of(name)) else None
        for name in names[1:]
    }
    given = place_from_words(place) if place else ""
    wet = [p.name for p in car.places if p.kind.has_limit] if car is not None else []
    if wet and given and given not in wet:
        raise UsageError(f'the car file has no fuel at "{place}": allowed are {", ".join(wet)}')
    wanted = phase and asking.phase(phase)
    if given and wanted:
        return given, wanted
    unknown = [name for name, one in known.items() if one is None]
    if unknown:
        raise UsageError(
            f'nothing says what "{unknown[0]}" is: say it with --fix "{unknown[0]}=cooler before carb_inlet", or give --place and --phase'
        )
    fitted = {name: Fitted(one.kind, given or one.before, one.guessed) for name, one in known.items() if one}
    places = wet or list(dict.fromkeys(one.before for one in fitted.values() if one.before))
    if not places:
        raise UsageError('where is it asked? Give --place "carb inlet", or --fix with the place behind it, or --car')
    found, _ = questions(fitted, places, pulled=car.engine.pulled if car is not None else True, phase=wanted)
    if len(found) > 1:
        raise UsageError(
            f"the fixes act at different places or in different phases ({'; '.join(one.cells[0].words() for one in found)}): give --place and --phase for all"
        )
    return found[0].cells[0].place, found[0].cells[0].phase
