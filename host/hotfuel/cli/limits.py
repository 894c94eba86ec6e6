"""The night before: limits, printed as a card."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import Json, Units, open_session, out, show
from hotfuel.cli.shared_car import altitude_m, fuel_of
from hotfuel.errors import UsageError
from hotfuel.places import at_place, narrow_words
from hotfuel.units import Shown, expanded

if TYPE_CHECKING:
    from hotfuel.risk.limits_card import LimitsCard
    from hotfuel.study.drive.own_limit import OwnLimit  # imports pandas, which --help must not load

_CAUTION = (
    "These limits hold for this fuel, this pressure and a pump in good order; fuel can also boil where there is no probe. "
    "They are no promise that an engine or a line is safe."
)


def limits(
    car: Annotated[Path | None, typer.Option("--car", help="Car file.")] = None,
    fuel: Annotated[
        str | None,
        typer.Option(
            "--fuel",
            help='A fuel by class, e.g. "D4814 A-1" or "EN 228 D1", or a blend, "60 % D4814 E-5 and 40 % D4814 A-1"; instead of the car file\'s.',
        ),
    ] = None,
    altitude: Annotated[
        str | None, typer.Option("--altitude", help='Height above sea level, e.g. "1600 m" or "5200 ft".')
    ] = None,
    learn: Annotated[
        list[Path] | None,
        typer.Option(
            "--learn-from", help='A session of this car with marks such as "stumbled" or "ran through"; may be given often.'
        ),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", help="Also write limit against altitude, with fuels as curves, to this HTML file.")
    ] = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """At what temperature this fuel boils at each place of this car. Example: hotfuel limits --car car.toml --altitude "1600 m" """
    from hotfuel import car as car_file
    from hotfuel.fuel.named import fuel_named
    from hotfuel.risk.limits_card import altitude_curves, limits_card

    if car is None and fuel is None:
        raise UsageError("name a car or a fuel: --car FILE, --fuel NAME, or both")
    named = f'name = "a car like most"\n[fuel]\nclass = {json.dumps(fuel, ensure_ascii=False)}\n'
    described = car_file.load(car or named)
    shown = Shown(units or (described.units if car else "si"))
    chosen = fuel_named(fuel, shown) if fuel else fuel_of(described, car, shown)
    height_m = altitude_m(altitude) if altitude is not None else None
    card = limits_card(described, chosen, height_m, shown=shown)
    if figure is not None:
        from hotfuel.report import figures, html

        curves = altitude_curves(
            {card.fuel: chosen, **{name: fuel_named(name) for name in ("D4814 A-1", "D4814 C-3", "D4814 E-5")}}
        )
        drawn = figures.altitude(curves, shown, card.altitude_m)
        html.write_figure(figure, drawn, title=f"Limit against altitude: {card.car}")
    own = _own_limit(learn, car)
    own_words = _own_limit_words(own, shown) if own else ""
    if as_json:
        found = {"limits": card.as_dict(), "own_limit": {**vars(own), "sentence": own_words} if own else None}
        show(found | ({"figure": str(figure)} if figure else {}), [], True)
        return
    _print(card, shown)
    if own is not None:
        out.print(own_words, markup=False)
    if figure is not None:
        out.print(f"figure: {figure}", markup=False)


def _own_limit(learn: list[Path] | None, car: Path | None) -> "OwnLimit | None":
    """The car's own limit by the events of these sessions; None if none was given."""
    if not learn:
        return None
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.drive.own_limit import events, own_limit

    return own_limit([event for path in learn for event in events(of_session(open_session(path, car)))])


def _own_limit_words(own: "OwnLimit", shown: Shown) -> str:
    from hotfuel.report import limit_words  # brings pandas with it, as above

    return limit_words.own_limit(own, shown)


def _print(card: "LimitsCard", shown: Shown) -> None:
    import numpy as np
    from rich import box
    from rich.table import Table

    table = Table(
        title=f"{card.car}: where the fuel's limit is",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    for heading in ("place", "state", "limit", "boiling begins", "give or take (95 %)", "pressure"):
        left = heading in ("place", "state")
        table.add_column(heading, justify="left" if left else "right", overflow="fold", min_width=8)  # the longest word
    for row in card.rows:
        table.add_row(
            narrow_words(row.name),
            row.state,
            "beyond" if row.no_limit else shown.text(row.limit_degc, "temperature", 0),
            shown.text(row.onset_degc, "temperature", 0),
            shown.text(float(expanded(row.uncertainty_degc)), "temperature difference", 0),
            shown.text(row.pressure_kpa, "pressure") if row.pressure_kpa > 0 else "below zero",
        )
    out.print(card.sentence, markup=False)
    if card.questions:  # before whatever else follows from the figures in doubt
        out.print(f"Check the fuel first: {' '.join(card.questions)}", markup=False)
    out.print(card.at_rest, markup=False)
    if card.until_driven:
        out.print(card.until_driven, markup=False)
    out.print(table)
    lines = [sentence for sentence in card.fuel_sentences if sentence not in card.questions]
    lines.append(f"Air pressure {shown.text(card.ambient_pressure_kpa, 'pressure')} ({card.ambient_source}).")
    per_1000_ft = card.drop_per_1000_m_degc * (0.3048 if shown.system == "us" else 1.0)
    if np.isfinite(per_1000_ft):
        lines.append(
            f"Each {'1000 ft' if shown.system == 'us' else '1000 m'} higher takes {shown.text(per_1000_ft, 'temperature difference')} off; "
            f"each {'psi' if shown.system == 'us' else 'kPa'} of suction "
            f"{shown.text(card.drop_per_kpa_degc * (6.894757 if shown.system == 'us' else 1.0), 'temperature difference')}."
        )
    criteria = dict.fromkeys(row.criterion for row in card.rows)
    bases = {row.name: row.pressure_basis for row in card.rows}
    lines += [f"Pressure {at_place(name)}: {basis}." for name, basis in bases.items()]
    lines += [*criteria, *(note for note in card.notes if note not in card.questions), _CAUTION]
    for line in lines:
        out.print(line, markup=False)
