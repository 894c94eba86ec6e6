"""`hotfuel power`: what a change did for power, or how many pulls to make."""

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import (
    Baseline,
    Json,
    OutPage,
    Pdf,
    Png,
    WithoutNames,
    note,
    open_session,
    page_beside,
    share,
    show,
    told_first,
)
from hotfuel.cli.shared_arguments import pairs
from hotfuel.cli.shared_plan import load_plan, reported_power, told
from hotfuel.cli.shared_pulls import WANTED, Chosen, Options, chosen, compared, listed, per_file, quantity, read, weather_of
from hotfuel.errors import UsageError
from hotfuel.units import Shown

if TYPE_CHECKING:  # they bring numpy and pandas with them, which --help does without
    from hotfuel.session.recording import Session
    from hotfuel.study.fixes.answers import Comparison
    from hotfuel.study.power.power import PowerComparison
    from hotfuel.study.power.pulls import Pull

_TABLE = (  # label, dimension, number of Said
    ("peak power", "power", lambda one: one.power_kw.value),
    ("at rpm", "peak", lambda one: one.power_kw),
    ("peak torque", "torque", lambda one: one.torque_nm.value),
    ("at rpm", "peak", lambda one: one.torque_nm),
    ("mean power", "power", lambda one: sum(one.mean_power_kw) / len(one.mean_power_kw)),
    ("mean torque", "torque", lambda one: sum(one.mean_torque_nm) / len(one.mean_torque_nm)),
    ("fuel", "temperature", lambda one: one.fuel_degc),
    ("margin to boiling", "temperature difference", lambda one: one.margin_degc),
    ("intake air", "temperature", lambda one: one.intake_degc),
    ("lambda", "ratio", lambda one: one.lambda_ratio),
    ("spark, deg", "", lambda one: one.spark_deg),
    ("air flow", "", lambda one: one.air_flow),
)


def power(
    variants: Annotated[
        list[str] | None,
        typer.Argument(help=f"{WANTED} for each variant; a session folder among the files gives the fuel's temperature."),
    ] = None,
    list_only: Annotated[bool, typer.Option("--list", help="Only list the pulls in the files; NAME= is not needed.")] = False,
    baseline: Baseline = None,
    weather: Annotated[
        list[str] | None,
        typer.Option(
            "--weather",
            help='"98.0 kPa, 30 degC, 50 %": station pressure, intake air, humidity; NAME=... for one variant. Default: as stated in the files.',
        ),
    ] = None,
    standard: Annotated[
        str, typer.Option("--standard", help='"SAE J1349" or "older standard" (29.92 inHg, 60 degF).')
    ] = "SAE J1349",
    corrected: Annotated[
        bool | None,
        typer.Option(
            "--corrected/--uncorrected", help="Whether the files' figures are corrected already, if the files do not state it."
        ),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", help="[FILE:]ROLE=HEADING or ROLE=NUMBER: rpm, torque, power, time, fuel, lambda, air, intake ..."
        ),
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", help="[FILE:]ROLE=UNIT where a heading has none, e.g. torque=lb-ft.")
    ] = None,
    fuel: Annotated[
        list[str] | None,
        typer.Option("--fuel", help='NAME=TEMPERATURE of the fuel at the carburettor, if the files have none: cooler="74 degF".'),
    ] = None,
    order: Annotated[
        str | None, typer.Option("--order", help="Pull names in the order they were driven, separated by commas.")
    ] = None,
    band: Annotated[
        str | None,
        typer.Option("--band", help='Engine speeds averaged over: "3000 to 6000 rpm". Default: all that the pulls share.'),
    ] = None,
    plan: Annotated[
        str | None,
        typer.Option(
            "--plan", help='Before the runs: "0.7 % at 0.5 %" (gain to find, spread from pull to pull); or a test day\'s file.'
        ),
    ] = None,
    out: OutPage = None,
    pdf: Pdf = None,
    png: Png = None,
    without_names: WithoutNames = False,
    units: Annotated[
        str | None, typer.Option("--units", help="Units shown: si or us. Default: the car's, with sessions, else the files'.")
    ] = None,
    as_json: Json = False,
) -> None:
    """What a change did for power, or how many pulls to make. Example: hotfuel power before=run1.csv,run4.csv cooler=run2.csv,run3.csv

    Several pulls in one file: hotfuel power --list day.csv lists them, and hotfuel power before=day.csv:1,4-5 cooler=day.csv:2,3,6 selects them.

    Fuel temperature and power together: put the sessions of the same pulls beside the files, before=monday,day.csv:1,4 cooler=tuesday,day.csv:2,3.
    """
    if plan is not None and plan.endswith(".toml"):
        _test_day(
            Path(plan), corrected, Shown(units or load_plan(Path(plan)).units), page_beside(out, pdf, png), pdf, png, as_json
        )
        return
    columns, own_units = per_file(column, "--column"), per_file(unit, "--unit")
    if list_only:
        _list(variants or [], columns, own_units, Shown(units) if units else None, as_json)
        return
    if plan is not None:
        _plan(plan, [text.partition("=")[0] for text in variants or ["before", "after"]], as_json)
        return
    if not variants:
        raise UsageError(f"give the pulls to compare: {WANTED} {WANTED}")
    from hotfuel.report import compare_words, input_table, power_words
    from hotfuel.study.fixes import measured_inputs

    files, sessions = _apart(chosen(variants))
    share((), without_names, files)
    opened, degrees, options, car_units = _temperatures(sessions, files, baseline, units, without_names)
    options["fuel_degc"] |= _fuels(fuel, files)
    options["weather"] = weather_of(weather, files)
    options["standard"] = standard
    options["already_corrected"] = corrected
    options["band_rpm"] = _band(band)
    result = compared(files, baseline, columns=columns, units=own_units, order=order, **options)
    shown = Shown(units or car_units or result.units)
    inputs = measured_inputs.of_variants(opened or {})
    lines = _lines(result, degrees, input_table.sentences(inputs, shown), shown)
    target = page_beside(out, pdf, png)
    if target is not None:
        from hotfuel.report import power as report

        with told_first(lines, target, as_json) as pages:
            pages += report.write(result, target, degrees, opened, units=shown.system, pdf=pdf, png=png)
    show(
        {
            "power": power_words.as_dict(result, shown),
            "temperature": compare_words.as_dict(degrees, shown) if degrees else None,
            "inputs": [one.as_dict() for one in inputs],
            "report": str(target) if target else None,
        },
        lines,
        as_json,
    )


def _test_day(
    plan: Path, corrected: bool | None, shown: Shown, page: Path | None, pdf: Path | None, png: Path | None, as_json: bool
) -> None:
    """Where a planned day stands; page: where to write its report as well, once it is decided or all runs are driven."""
    day = load_plan(plan)
    result = reported_power(day, shown, corrected) if page is not None else None
    standing, said = told(day, shown, corrected, reported=page is not None)
    if page is not None and result is not None:
        from hotfuel.report import power as report

        with told_first(said, page, as_json) as pages:
            pages += report.write(result, page, units=shown.system, pdf=pdf, png=png)
    show({"plan": standing, "report": str(page) if page else None}, said, as_json)


def _lines(result: "PowerComparison", degrees: "Comparison | None", inputs: list[str], shown: Shown) -> list[str]:
    """The lines of the terminal: the answer first, the sources last. inputs: sentences on the car file's further inputs."""
    from hotfuel.report import by_hand, compare_words, power_words
    from hotfuel.study.drive.phases import PULL

    told = [power_words.said(result, gain, shown) for gain in result.gains]
    lines = [one.headline for one in told]
    lines += [compare_words.finding(degrees, shown)] if degrees else []
    lines += [sentence for one in told for sentence in (one.peaks, *one.rest)]
    if degrees:
        lines += filter(None, [by_hand.sentence(degrees.runs, (degrees.baseline, *degrees.variants), PULL, shown)])
    lines += ["", *_table(result, shown), "", *inputs, *power_words.cautions(result)]
    lines.append(
        f"The order of the pulls: by {by}."
        if (by := power_words.order_by(result))
        else "The order of the pulls is not known; it is named with --order."
    )
    lines += [f"To decide it, pull in this order: {', '.join(result.proposed_order)}."] if result.proposed_order else []
    read = [(names, power_words.read_from(result, names[0])) for names, _ in result.read_from()]
    read_from = [f"{', '.join(names)}: {', '.join(said)}" for names, said in read if said]
    return [*lines, *(["", "Read from:"] if read_from else []), *read_from]


def _table(result: "PowerComparison", shown: Shown) -> list[str]:
    """A row for each number that some variant has, a column for each variant."""
    from hotfuel.report.gain_words import speeds

    rows = [["", *(one.name for one in result.said)]]
    for label, dimension, number in _TABLE:
        if dimension == "peak":
            rows.append([label, *(speeds(number(one)) for one in result.said)])
            continue
        values = [float(number(one)) for one in result.said]
        if any(value == value for value in values):
            if dimension in ("", "ratio"):
                texts = [f"{value:.3f}" if dimension else f"{value:.0f}" for value in values]
                texts = [text if text != "nan" else "–" for text in texts]
            else:
                texts = [shown.text(value, dimension) for value in values]
            rows.append([label, *texts])
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _apart(variants: dict[str, list[Chosen]]) -> tuple[dict[str, list[Chosen]], dict[str, list[Path]]]:
    """(files of pulls, sessions) by variant; a folder or a .log file is a session."""
    files: dict[str, list[Chosen]] = {}
    sessions: dict[str, list[Path]] = {}
    for name, each in variants.items():
        for one in each:
            if one.path.is_dir() or one.path.suffix == ".log":
                sessions.setdefault(name, []).append(one.path)
            else:
                files.setdefault(name, []).append(one)
    lonely = [name for name in sessions if name not in files]
    if lonely:
        raise UsageError(
            f"{lonely[0]} has sessions and no pulls: give its pulls too, or compare temperature alone with hotfuel compare"
        )
    without = [name for name in files if sessions and name not in sessions]
    if without:
        raise UsageError(f"{without[0]} has pulls and no session, and others have: give sessions for every variant or for none")
    return files, sessions


def _temperatures(
    sessions: dict[str, list[Path]], files: Iterable[str], baseline: str | None, units: str | None, private: bool
) -> "tuple[dict[str, list[Session]] | None, Comparison | None, Options, str | None]":
    """(the opened sessions or None, the comparison of their temperatures or None, options for the comparison of pulls, the car's units or None)."""
    if not sessions:
        return None, None, {"fuel_degc": {}, "fuel_half_degc": {}}, None
    from hotfuel.study.fixes.fuel_in_pulls import fuel_in_pulls
    from hotfuel.study.fixes.sessions import compare_sessions

    each = {path: open_session(path) for paths in sessions.values() for path in paths}
    share(each.values(), private)
    opened = {name: [each[path] for path in sessions[name]] for name in files}
    car = next((one.car for one in each.values() if one.car), None)
    shown = Shown(units or (car.units if car else "si"))
    result = compare_sessions(opened, baseline)
    fuel = fuel_in_pulls(opened, baseline)
    if not fuel:
        note("On some side the sessions contain no pull or drive that counts: the gain has no fuel temperature beside it.")
    given: Options = {
        "fuel_degc": {name: one.degc for name, one in fuel.items()},
        "fuel_half_degc": {name: one.half_degc for name, one in fuel.items()},
        "margin_degc": {name: one.margin_degc for name, one in fuel.items()},
    }
    return opened, result, given, shown.system


def _list(
    variants: list[str], columns: dict[str, dict[str, str]], units: dict[str, dict[str, str]], shown: Shown | None, as_json: bool
) -> None:
    from hotfuel.report import power_words
    from hotfuel.study.power.power import units_of
    from hotfuel.study.power.pulls import numbers

    if not variants:
        raise UsageError("give the files to list: hotfuel power --list day.csv")
    named = [text for text in variants if "=" in text and not Path(text).exists()]
    paths = [Path(text) for text in variants if text not in named]
    paths += [one.path for each in chosen(named).values() for one in each]
    held = {path: read(path, columns, units) for path in dict.fromkeys(paths)}
    lines = [line for path, each in held.items() for line in listed(path, each, shown or Shown(units_of(each) or "si"))]
    told = {
        str(path): [
            {"number": number, "name": one.name, "rpm": [one.rpm[0], one.rpm[-1]], "peak_power_kw": one.power_kw.max(),
             "peak_torque_nm": one.torque_nm.max(), "corrected": one.corrected, "read": one.mapping,
             "notes": list(map(power_words.remark, one.remarks)), **_facts(one)}
            for number, one in zip(numbers(each), each, strict=True)
        ]
        for path, each in held.items()
    }  # fmt: skip
    show({"files": told}, lines, as_json)


def _facts(pull: "Pull") -> dict[str, Any]:
    plain = {key: value for key, value in vars(pull.facts).items() if key != "weather"}
    return {**plain, "weather": vars(pull.facts.weather) if pull.facts.weather else None}


def _band(text: str | None) -> tuple[float, float] | None:
    """The engine speeds of --band."""
    if text is None:
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:rpm)?\s*(?:to|-|–)\s*(\d+(?:\.\d+)?)\s*(?:rpm)?\s*", text)
    if match is None or not float(match.group(1)) < float(match.group(2)):
        raise UsageError(f'--band "{text}" is not understood; write it like "3000 to 6000 rpm"')
    return float(match.group(1)), float(match.group(2))


def _fuels(texts: list[str] | None, variants: Iterable[str]) -> dict[str, float]:
    """{variant: degC} from --fuel options."""
    found = {name.strip(): quantity(value, "temperature", "--fuel") for name, value in pairs(texts, "--fuel").items()}
    strange = [name for name in found if name not in variants]
    if strange:
        raise UsageError(f'--fuel is for "{strange[0]}": the variants are {", ".join(variants)}')
    return found


def _plan(text: str, names: list[str], as_json: bool) -> None:
    from hotfuel.report import power_words
    from hotfuel.study.evidence.plan import plan as make

    gain, at, spread = text.partition(" at ")
    if not at:
        raise UsageError(f'--plan "{text}" is not understood; write "0.7 % at 0.5 %"')
    made = make(names, quantity(gain, "percent", "--plan"), quantity(spread, "percent", "--plan"))
    sentences = power_words.plan(made)
    show({"plan": {**made.as_dict(), "sentences": sentences}}, sentences, as_json)
