"""`hotfuel forecast`: what a fix, a fuel, a pass or a hotter day would do."""

from pathlib import Path
from typing import Annotated

import typer

from hotfuel.cli.shared import Json, Units, open_session, show
from hotfuel.errors import UsageError
from hotfuel.units import Shown, parse


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
    from hotfuel.fuel.named import fuel_named
    from hotfuel.places import place_words
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
    opened = open_session(session, car)
    if outside:
        opened.metadata["ambient_degc"] = parse(outside, "temperature")
    made = forecasts(opened, changes, shown=Shown(units) if units else None)
    lines = [line for one in made for line in (*one.sentences, *(f"  assumed: {text}" for text in one.assumptions))]
    show({"forecasts": [one.as_dict() for one in made]}, lines, as_json)


def _share(text: str, option: str) -> tuple[str, float]:
    from hotfuel.places import place_from_words

    place, equals, number = text.partition("=")
    place = place_from_words(place)
    try:
        value = float(number)
    except ValueError:
        equals = ""
        value = 0.0
    if not equals or not 0 < value <= 1:
        raise UsageError(f'{option} "{text}" is not PLACE=SHARE with a share above 0 and up to 1')
    return place, value
