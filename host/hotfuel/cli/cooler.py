"""`hotfuel cooler`: how good a cooler in the line is, and what it would do elsewhere."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Json, OutPage, Pdf, Png, Units, WithoutNames, open_session, page_beside, share, show, told_first
from hotfuel.units import Shown, parse


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
            help='What the hose from the cooler to that place holds, "0.05 L". Default: unknown, up to the whole section.',
        ),
    ] = None,
    at_flow: Annotated[str | None, typer.Option("--at-flow", help='The same cooler at another flow, "60 L/h".')] = None,
    at_inlet: Annotated[str | None, typer.Option("--at-inlet", help='... with fuel entering at "60 degC".')] = None,
    at_coolant: Annotated[str | None, typer.Option("--at-coolant", help='... with its coolant at "35 degC".')] = None,
    ice: Annotated[
        str | None, typer.Option("--ice", help='It is a coil in ice water: how long this much ice lasts, "5 kg".')
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    out: OutPage = None,
    pdf: Pdf = None,
    png: Png = None,
    without_names: WithoutNames = False,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """How good a cooler in the line is, and what it would do elsewhere. Example: hotfuel cooler sunday --before carb_inlet --at-flow "60 L/h" """
    from hotfuel.car import PLACE_NAME
    from hotfuel.places import place_from_words
    from hotfuel.report import cooler_words
    from hotfuel.report.line_words import in_words
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.line import line_cooler
    from hotfuel.study.line.cooler import SpanError
    from hotfuel.study.line.hose import flow_from_meter
    from hotfuel.study.line.line_cooler import CoolantError, NotCooledError

    opened = open_session(session, car)
    share([opened], without_names)
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    beside: float | str | None = line_cooler.MELTING_DEGC if ice and coolant is None else coolant
    if isinstance(beside, str) and not PLACE_NAME.fullmatch(beside):
        beside = parse(beside, "temperature")
    course = of_session(opened)
    try:
        seen = line_cooler.in_session(
            course,
            place_from_words(before),
            beside,
            None if flow is None else flow_from_meter(parse(flow, "volume flow"), parse(flow_within, "percent") / 100),
            arrangement=arrangement,
            hose_behind_l=parse(hose_behind, "volume") if hose_behind else None,
            **({} if capacity is None else {"coolant_w_k": parse(capacity, "heat conductance")}),
        )
    except (SpanError, NotCooledError, CoolantError) as error:
        raise cooler_words.refused(error, shown) from None
    lines = cooler_words.sentences(seen, shown)
    result: dict[str, Any] = {"cooler": in_words(seen.as_dict()), "elsewhere": None, "ice": None}
    heat_w, heat_u_w = seen.cooler.heat_w, seen.cooler.heat_u_w
    if at_flow or at_inlet or at_coolant:
        other = line_cooler.there(
            seen,
            parse(at_inlet, "temperature") if at_inlet else None,
            parse(at_coolant, "temperature") if at_coolant else None,
            parse(at_flow, "volume flow") if at_flow else None,
        )
        lines.append(cooler_words.elsewhere(other, shown))
        result["elsewhere"] = asdict(other)
        result["elsewhere"]["cooled"]["assumption"] = cooler_words.ASSUMPTION
        heat_w, heat_u_w = other.cooled.heat_w, other.cooled.heat_u_w
    if ice:
        lasting = line_cooler.ice(parse(ice, "mass"), heat_w, heat_u_w)
        lines.append(cooler_words.ice(lasting, ice.strip()))
        result["ice"] = asdict(lasting) | {"sentence": lines[-1]}
    target = page_beside(out, pdf, png)
    if target is not None:
        from hotfuel.report import cooler as page
        from hotfuel.report import written

        with told_first(lines, target, as_json) as files:
            files += written.write(page.make(opened, course, seen, lines[3:], shown), target, shown, pdf, png)
    if hose_behind is None and (seen.behind is None or not seen.behind.given):
        lines.append('The volume of the hose behind the cooler can be given: --hose-behind "0.05 L".')
    show(result | {"report": str(target) if target else None}, lines, as_json)
