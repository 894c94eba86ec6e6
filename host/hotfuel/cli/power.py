"""`hotfuel power`: what a change did for power, or how many pulls to make."""

from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Baseline, Json, OutPage, Units, groups, pairs, show
from hotfuel.cli.shared_plan import load_plan, told
from hotfuel.cli.shared_pulls import compared, weather_of
from hotfuel.errors import UsageError
from hotfuel.units import Shown, parse


def power(
    variants: Annotated[list[str] | None, typer.Argument(help="NAME=CSV[,CSV...] for each variant.")] = None,
    baseline: Baseline = None,
    weather: Annotated[
        list[str] | None,
        typer.Option(
            "--weather", help='"98.0 kPa, 30 degC, 50 %": station pressure, intake air, humidity; NAME=... for one variant.'
        ),
    ] = None,
    standard: Annotated[
        str, typer.Option("--standard", help='"SAE J1349" or "older standard" (29.92 inHg, 60 degF).')
    ] = "SAE J1349",
    corrected: Annotated[
        bool | None,
        typer.Option("--corrected/--uncorrected", help="Whether the files are corrected already, where a header leaves it open."),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option("--column", help="ROLE=HEADER or ROLE=NUMBER: rpm, torque, power, time, fuel, lambda, air."),
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", help="ROLE=UNIT where a header has none, e.g. torque=lb-ft.")
    ] = None,
    fuel: Annotated[
        list[str] | None,
        typer.Option(
            "--fuel", help='NAME=TEMPERATURE of the fuel at the carburettor where the files have none: cooler="74 degF".'
        ),
    ] = None,
    order: Annotated[
        str | None, typer.Option("--order", help="Pull names in the order they were driven, separated by commas.")
    ] = None,
    plan: Annotated[
        str | None,
        typer.Option(
            "--plan", help='Before the runs: "0.7 % at 0.5 %" (gain to find, spread from pull to pull); or a test day\'s file.'
        ),
    ] = None,
    out: OutPage = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print the report to this PDF (needs Chromium).")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What a change did for power, or how many pulls to make. Example: hotfuel power before=a1.csv,a2.csv cooler=b1.csv,b2.csv"""
    shown = Shown(units or "si")
    if plan is not None and plan.endswith(".toml"):
        day = load_plan(Path(plan))
        told_of, said = told(day, shown)
        show({"plan": told_of}, said, as_json)
        return
    if plan is not None:
        _plan(plan, [text.partition("=")[0] for text in variants or ["before", "after"]], as_json)
        return
    if not variants:
        raise UsageError("say which pulls to compare: NAME=CSV[,CSV...] NAME=CSV[,CSV...]")
    mapping = {role: int(name) if name.isdigit() else name for role, name in pairs(column, "--column").items()}
    files = groups(variants, "CSV")
    air = weather_of(weather, files)
    result = compared(
        files, baseline, shown, mapping, pairs(unit, "--unit"), air, standard, corrected, order, _fuels(fuel, files)
    )
    lines = [f"{name}: {', '.join(columns)}" for name, columns in result.mapping.items()]
    lines += [sentence for gain in result.gains for sentence in gain.sentences]
    lines += [*result.cautions, "Single pulls prove nothing: runs differ by more than most fixes give."]
    page = None
    if out is not None or pdf is not None:
        from hotfuel.report import comparison

        page = comparison.write_power(result, out or Path(str(pdf)).with_suffix(".html"), units=shown.system, pdf=pdf)
        lines.append(f"report: {page}")
    show({"power": result.as_dict(), "report": str(page) if page else None}, lines, as_json)


def _fuels(texts: list[str] | None, variants: dict[str, Any]) -> dict[str, float]:
    """{variant: degC} from --fuel options."""
    found = {name.strip(): parse(value, "temperature") for name, value in pairs(texts, "--fuel").items()}
    strange = [name for name in found if name not in variants]
    if strange:
        raise UsageError(f'--fuel is for "{strange[0]}": the variants are {", ".join(variants)}')
    return found


def _plan(text: str, names: list[str], as_json: bool) -> None:
    from hotfuel.study.evidence.plan import plan as make

    gain, at, spread = text.partition(" at ")
    if not at:
        raise UsageError(f'--plan "{text}" is not understood; write "0.7 % at 0.5 %"')
    made = make(names, parse(gain, "percent"), parse(spread, "percent"))
    show({"plan": made.as_dict()}, list(made.sentences), as_json)
