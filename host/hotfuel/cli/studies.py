"""What helped: compare, power, forecast, cooler, archive."""

import re
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.app import Json, Units, app, show
from hotfuel.errors import UsageError
from hotfuel.units import Shown, parse

Baseline = Annotated[
    str | None, typer.Option("--baseline", help="Which variant the others are held against. Default: the first.")
]
OutPage = Annotated[Path | None, typer.Option("--out", help="HTML report to write.")]


def groups(arguments: list[str], what: str) -> dict[str, list[Path]]:
    """NAME=PATH[,PATH...] arguments as {name: paths}. A name may stand more than once."""
    found: dict[str, list[Path]] = {}
    for text in arguments:
        name, equals, paths = text.partition("=")
        if not equals or not name.strip() or not paths.strip(","):
            raise UsageError(f'"{text}" is not NAME={what}[,{what}...]; write for example before=monday,tuesday after=friday')
        found.setdefault(name.strip(), []).extend(Path(path) for path in paths.split(",") if path)
    return found


@app.command(short_help="Did a fix lower the temperature?")
def compare(
    variants: Annotated[list[str], typer.Argument(help="NAME=SESSION[,SESSION...] for each variant.")],
    baseline: Baseline = None,
    question: Annotated[
        str | None,
        typer.Option("--question", help='The one question asked before the runs, e.g. "smallest margin at pump, hot soak".'),
    ] = None,
    worth: Annotated[str, typer.Option("--worth-having", help="The smallest difference worth having, with its unit.")] = "3 degC",
    powers: Annotated[
        list[str] | None, typer.Option("--power", help="NAME=CSV[,CSV...]: pulls of a variant, joined into the report.")
    ] = None,
    weather: Annotated[list[str] | None, typer.Option("--weather", help="Of the pulls, as in hotfuel power.")] = None,
    out: OutPage = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print the report to this PDF (needs Chromium).")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Did a fix lower the temperature? Example: hotfuel compare before=mon,tue,wed shield=thu,fri,sat --out shield.html

    Something switched on the way: give one session under each name, hotfuel compare "fan off=sunday" "fan on=sunday"; it is cut at the marks that
    read "fan off" and "fan on" (or "switch: fan on"). What comes before the first of them is left out, and so is the time each place takes to settle.

    A repair: where marks such as "hard start" or "died" tell of trouble after a hot stop of the baseline, the other variants' hot stops are held
    against it.
    """
    from hotfuel import session as sessions
    from hotfuel.study.evidence import verdicts
    from hotfuel.study.fixes.sessions import compare_sessions

    named = groups(variants, "SESSION")
    each = {path: sessions.open(path) for paths in named.values() for path in paths}
    opened = {name: [each[path] for path in paths] for name, paths in named.items()}
    first = next(iter(next(iter(opened.values()))))
    shown = Shown(units or (first.car.units if first.car else "si"))
    result = compare_sessions(
        opened, baseline, primary=_cell(question), delta_degc=parse(worth, "temperature difference"), shown=shown
    )
    files = groups(powers or [], "CSV")
    strange = [name for name in files if name not in named]
    if strange:
        raise UsageError(f'--power "{strange[0]}" is none of the variants compared: they are {", ".join(named)}')
    power = _power(files, baseline, shown, weather=_weather(weather, files)) if files else None
    lines = [result.finding()]
    others = [answer for answer in result.answers if not answer.primary]
    told = [answer.sentence for answer in others if answer.verdict in verdicts.DECIDED]
    lines += [" ".join(one.sentences) for one in result.judgements]
    lines += told
    if len(told) < len(others):
        lines.append(
            f"{len(others) - len(told)} further questions are not decided by these runs; the report and --json list them."
        )
    lines += [*result.conditions, *result.cautions]
    if result.proposed_order:
        lines.append(f"An order for more runs: {', '.join(result.proposed_order)}")
    if power is not None:
        lines += [power.finding(), *power.cautions]
    if out is not None or pdf is not None:
        from hotfuel.report import comparison

        page = comparison.write(
            result, out or Path(str(pdf)).with_suffix(".html"), opened, power=power, units=shown.system, pdf=pdf
        )
        lines.append(f"report: {page}")
    show(
        {"comparison": result.as_dict(), "power": power.as_dict() if power else None, "report": str(out) if out else None},
        lines,
        as_json,
    )


def _cell(question: str | None) -> Any:
    """The declared question as a cell of the comparison."""
    from hotfuel.car import place_name
    from hotfuel.study.fixes.summaries import Cell

    if question is None:
        return None
    match = re.fullmatch(r"(.+) at (.+), (.+)", question.strip())
    if match is None:
        raise UsageError(f'--question "{question}" is not understood; write it like "smallest margin at pump, hot soak"')
    quantity, place, phase = match.groups()
    return Cell(quantity, place_name(place), phase)


@app.command()
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
        str | None, typer.Option("--plan", help='Before the runs: "0.7 % at 0.5 %" (gain to find, spread from pull to pull).')
    ] = None,
    out: OutPage = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Also print the report to this PDF (needs Chromium).")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What a change did for power, or how many pulls to make. Example: hotfuel power before=a1.csv,a2.csv cooler=b1.csv,b2.csv"""
    shown = Shown(units or "si")
    if plan is not None:
        _plan(plan, [text.partition("=")[0] for text in variants or ["before", "after"]], as_json)
        return
    if not variants:
        raise UsageError("say which pulls to compare: NAME=CSV[,CSV...] NAME=CSV[,CSV...]")
    mapping = {role: int(name) if name.isdigit() else name for role, name in _pairs(column, "--column").items()}
    files = groups(variants, "CSV")
    air = _weather(weather, files)
    result = _power(files, baseline, shown, mapping, _pairs(unit, "--unit"), air, standard, corrected, order, _fuels(fuel, files))
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
    found = {name.strip(): parse(value, "temperature") for name, value in _pairs(texts, "--fuel").items()}
    strange = [name for name in found if name not in variants]
    if strange:
        raise UsageError(f'--fuel is for "{strange[0]}": the variants are {", ".join(variants)}')
    return found


def _pairs(texts: list[str] | None, option: str) -> dict[str, str]:
    found = {}
    for text in texts or []:
        key, equals, value = text.partition("=")
        if not equals or not key or not value:
            raise UsageError(f'{option} "{text}" is not NAME=VALUE')
        found[key] = value
    return found


def _weather(texts: list[str] | None, variants: dict[str, Any]) -> dict[str, Any] | None:
    """{variant: Weather} from --weather options; one without a name counts for all."""
    from hotfuel.study.power import correction

    if not texts:
        return None
    found: dict[str, Any] = {}
    for text in texts:
        name, equals, rest = text.partition("=")
        if equals and name.strip() not in variants:
            raise UsageError(f'--weather "{text}" is for "{name.strip()}": the variants are {", ".join(variants)}')
        parts = [part.strip() for part in (rest if equals else text).split(",")]
        if len(parts) != 3:
            raise UsageError(
                f'--weather "{text}" needs station pressure, intake temperature and humidity: "98.0 kPa, 30 degC, 50 %"'
            )
        one = correction.weather(
            parse(parts[0], "pressure"), parse(parts[1], "temperature"), relative_humidity_percent=parse(parts[2], "percent")
        )
        found |= {name.strip(): one} if equals else {known: one for known in variants if known not in found}
    return found


def _power(
    files: dict[str, list[Path]],
    baseline: str | None,
    shown: Shown,
    mapping: dict[str, Any] | None = None,
    unit: dict[str, str] | None = None,
    weather: dict[str, Any] | None = None,
    standard: str = "SAE J1349",
    corrected: bool | None = None,
    order: str | None = None,
    fuel_degc: dict[str, float] | None = None,
) -> Any:
    from hotfuel.study.power import pulls
    from hotfuel.study.power.power import compare_pulls

    paths = [path for each in files.values() for path in each]
    alike = {path for path in paths if sum(other.stem == path.stem for other in paths) > 1}  # mon/run1.csv and tue/run1.csv
    read = {
        name: [
            replace(pull, name=f"{path.parent.name}/{pull.name}") if path in alike else pull
            for path in each
            for pull in pulls.read(path, mapping=mapping, units=unit)
        ]
        for name, each in files.items()
    }
    driven = [name.strip() for name in order.split(",")] if order else None
    return compare_pulls(
        read,
        baseline,
        weather=weather,
        standard=standard,
        already_corrected=corrected,
        order=driven,
        fuel_degc=fuel_degc,
        shown=shown,
    )


def _plan(text: str, names: list[str], as_json: bool) -> None:
    from hotfuel.study.evidence.plan import plan as make

    gain, at, spread = text.partition(" at ")
    if not at:
        raise UsageError(f'--plan "{text}" is not understood; write "0.7 % at 0.5 %"')
    made = make(names, parse(gain, "percent"), parse(spread, "percent"))
    show({"plan": made.as_dict()}, list(made.sentences), as_json)


@app.command()
def forecast(
    session: Annotated[Path, typer.Argument(help="Session folder to start from.")],
    cooler: Annotated[
        str | None, typer.Option("--cooler", help="A cooler before a place: PLACE=EFFECTIVENESS, e.g. carb_inlet=0.6.")
    ] = None,
    insulation: Annotated[
        str | None, typer.Option("--insulation", help="The section before a place: PLACE=SHARE of its heat kept out.")
    ] = None,
    fuel: Annotated[str | None, typer.Option("--fuel", help='Another fuel, e.g. "D4814 C-3".')] = None,
    higher: Annotated[str | None, typer.Option("--higher", help='More altitude, e.g. "1500 m".')] = None,
    hotter: Annotated[str | None, typer.Option("--hotter", help='A hotter day, e.g. "15 degC" or "20 degF" more.')] = None,
    outside: Annotated[
        str | None, typer.Option("--outside", help='Outside air during the session, if it is not noted: "28 degC".')
    ] = None,
    tank_pump: Annotated[bool, typer.Option("--tank-pump", help="An electric pump in the tank instead.")] = False,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What a fix, a fuel, a pass or a hotter day would do. Example: hotfuel forecast sunday --cooler carb_inlet=0.6 --hotter "10 degC" """
    from hotfuel import session as sessions
    from hotfuel.car import place_words
    from hotfuel.fuel.named import fuel_named
    from hotfuel.study.line.forecast import Change
    from hotfuel.study.line.forecast import forecast as forecasts

    changes = []
    if cooler:
        place, share = _share(cooler, "--cooler")
        changes.append(Change(f"a cooler before {place_words(place)}", cooler_effectiveness=share, cooler_before=place))
    if insulation:
        place, share = _share(insulation, "--insulation")
        changes.append(Change(f"insulation before {place_words(place)}", insulation_share=share, insulated_before=place))
    if fuel:
        changes.append(Change(f"the fuel {fuel}", fuel=fuel_named(fuel)))
    if higher:
        metres = parse(higher, "length")
        changes.append(Change(f"{higher.strip(' -')} {'lower' if metres < 0 else 'higher'}", higher_m=metres))
    if hotter:
        more = parse(hotter, "temperature difference")
        changes.append(Change(f"a day {hotter.strip(' -')} {'cooler' if more < 0 else 'hotter'}", hotter_degc=more))
    if tank_pump:
        changes.append(Change("a pump in the tank", submerged_pump=True))
    if not changes:
        raise UsageError("say what would change: --cooler, --insulation, --fuel, --higher, --hotter or --tank-pump")
    opened = sessions.open(session, car)
    if outside:
        opened.metadata["ambient_degc"] = parse(outside, "temperature")
    made = forecasts(opened, changes, shown=Shown(units) if units else None)
    lines = [line for one in made for line in (*one.sentences, *(f"  assumed: {text}" for text in one.assumptions))]
    show({"forecasts": [one.as_dict() for one in made]}, lines, as_json)


def _share(text: str, option: str) -> tuple[str, float]:
    from hotfuel.car import place_name

    place, equals, number = text.partition("=")
    place = place_name(place)
    try:
        value = float(number)
    except ValueError:
        equals = ""
        value = 0.0
    if not equals or not 0 < value <= 1:
        raise UsageError(f'{option} "{text}" is not PLACE=SHARE with a share above 0 and up to 1')
    return place, value


@app.command(short_help="How good a cooler in the line is, and elsewhere.")
def cooler(
    session: Annotated[Path, typer.Argument(help="Session folder with a probe before the cooler and one behind it.")],
    before: Annotated[str, typer.Option("--before", help="The place just behind the cooler; the place before it is the inlet.")],
    coolant: Annotated[
        str | None,
        typer.Option("--coolant", help='"25 degC", or the place of a probe in it. Default: outside air; ice water with --ice.'),
    ] = None,
    flow: Annotated[
        str | None, typer.Option("--flow", help='Fuel flow as a meter read it, "12 L/h". Default: from engine speed.')
    ] = None,
    flow_within: Annotated[str, typer.Option("--flow-within", help="Standard uncertainty of --flow.")] = "10 %",
    capacity: Annotated[
        str | None,
        typer.Option("--coolant-capacity", help='Its mass flow x specific heat, "40 W/K". Default: it stays at one temperature.'),
    ] = None,
    arrangement: Annotated[
        str, typer.Option("--arrangement", help="With --coolant-capacity: counterflow, parallel flow, crossflow.")
    ] = "crossflow",
    hose_behind: Annotated[
        str | None,
        typer.Option(
            "--hose-behind",
            help='What the hose from the cooler to that place holds, "0.05 L". Default: anything up to its whole section.',
        ),
    ] = None,
    at_flow: Annotated[str | None, typer.Option("--at-flow", help='The same cooler at another flow, "60 L/h".')] = None,
    at_inlet: Annotated[str | None, typer.Option("--at-inlet", help='... with fuel entering at "60 degC".')] = None,
    at_coolant: Annotated[str | None, typer.Option("--at-coolant", help='... with its coolant at "35 degC".')] = None,
    ice: Annotated[
        str | None, typer.Option("--ice", help='It is a coil in ice water: how long this much ice lasts, "5 kg".')
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """How good a cooler in the line is, and what it would do elsewhere. Example: hotfuel cooler sunday --before carb_inlet --at-flow "60 L/h" """
    from hotfuel import session as sessions
    from hotfuel.car import PLACE_NAME
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.line import line_cooler
    from hotfuel.study.line.hose import flow_from_meter

    opened = sessions.open(session, car)
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    beside: float | str | None = line_cooler.MELTING_DEGC if ice and coolant is None else coolant
    if isinstance(beside, str) and not PLACE_NAME.fullmatch(beside):
        beside = parse(beside, "temperature")
    seen = line_cooler.in_session(
        of_session(opened),
        before,
        beside,
        None if flow is None else flow_from_meter(parse(flow, "volume flow"), parse(flow_within, "percent") / 100),
        arrangement=arrangement,
        hose_behind_l=parse(hose_behind, "volume") if hose_behind else None,
        **({} if capacity is None else {"coolant_w_k": parse(capacity, "heat conductance")}),
    )
    lines = seen.sentences(shown)
    result: dict[str, Any] = {"cooler": seen.as_dict(), "elsewhere": None, "ice": None}
    heat_w, heat_u_w = seen.cooler.heat_w, seen.cooler.heat_u_w
    if at_flow or at_inlet or at_coolant:
        other = line_cooler.there(
            seen,
            parse(at_inlet, "temperature") if at_inlet else None,
            parse(at_coolant, "temperature") if at_coolant else None,
            parse(at_flow, "volume flow") if at_flow else None,
        )
        lines.append(other.sentence(shown))
        result["elsewhere"] = asdict(other)
        heat_w, heat_u_w = other.cooled.heat_w, other.cooled.heat_u_w
    if ice:
        lasting = line_cooler.ice(parse(ice, "mass"), heat_w, heat_u_w)
        lines.append(lasting.sentence)
        result["ice"] = asdict(lasting)
    show(result, lines, as_json)
