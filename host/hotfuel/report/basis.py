"""What a review is based on: how each limit was found, how it was measured and computed, and the calibration."""

import numpy as np
from hotfuel_wire.alarm import DEADBAND

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.report.table import Table
from hotfuel.risk.assumptions import assumptions
from hotfuel.risk.margin import Channel, temperature_uncertainty_degc
from hotfuel.risk.pressure import air_basis
from hotfuel.session import Session
from hotfuel.session.frame import channels_of
from hotfuel.session.summary import Summary
from hotfuel.study.line.hose import FLOW_U
from hotfuel.text import counted, listed
from hotfuel.units import Shown, expanded


def limits(session: Session, summary: Summary, shown: Shown) -> Table:
    """One row a place: the absolute pressure at its smallest margin, the vapour it copes with, how the pressure was found."""
    table = Table(("Place", "Pressure then", "Vapour it copes with", "How the pressure was found"), numbers=(1, 2))
    margins = session.margin_table.places if session.car is not None else {}
    for p in summary.places.values():
        if p.place in margins:
            kpa = p.pressure_there_kpa if np.isfinite(p.pressure_there_kpa) else p.no_limit_kpa
            pressure = shown.text(kpa, "pressure") if np.isfinite(kpa) else "–"
            table.rows.append((place_words(p.place), pressure, margins[p.place].criterion.ratio, p.basis))
    return table


def assumed(session: Session, summary: Summary, shown: Shown) -> list[str]:
    """Assumptions behind the limits in the table: the source of the vapour each place copes with, the air pressure, and defaults for what was not measured."""
    if session.car is None:
        return []
    copes: dict[str, list[str]] = {}
    for p in summary.places.values():
        if p.criterion:
            copes.setdefault(p.criterion, []).append(words.where(p.place))
    said = [f"vapour {listed(places)}: {text}" for text, places in copes.items()]
    air = air_basis(session.car, session.input_arrays()["ambient_pressure_kpa"])
    then = "pressure then: absolute, at the place's smallest margin"
    return [then, *said, f"air pressure: {air}", *assumptions(session.car, shown, session.fuel.density_15c_kg_m3)]


def reading_half_degc(session: Session, place: str) -> float:
    """The 95 % uncertainty of a reading at a place, from its probe and amplifier; nan without a car file that names it."""
    car = session.car
    found = next((one for one in car.places if one.name == place), None) if car is not None else None
    if car is None or found is None:
        return float("nan")
    channel = channels_of(session.descriptions, car, session.calibration).get(place, Channel())
    return float(expanded(float(np.max(temperature_uncertainty_degc(car, found, car.engine.idle_flow_l_h, channel)))))


def method(session: Session, shown: Shown) -> list[str]:
    """How temperatures, limits and uncertainties were obtained, in sentences."""
    lines = [
        "Type K thermocouples in the fuel, voltages recorded raw; temperatures by NIST ITS-90 with cold-junction compensation.",
        "A reading that a chip or the board marked as faulty is left out and counted, never filled in.",
        "Hottest and smallest margin are those of ten-second means, in every table; durations count every reading.",
    ]
    if session.car:
        lines += [
            "The limit at each place is the temperature at which this fuel, at the absolute pressure there, forms the vapour named in the table of limits. "
            "Margin is limit minus temperature.",
            "Behind the needle the fuel drops from line to bowl pressure and takes up no heat; its limit is given as the line's temperature.",
            "± holds in 95 of 100 cases: probe, amplifier, placement, pressure and fuel together. A warning starts when the margin has been smaller than half "
            f"of it for 4 s, and ends when it has been larger by {shown.text(DEADBAND / 100, 'temperature difference')} for a minute; so for the limit itself.",
        ]
    lines.append(
        "The line between two places: plug flow with heat exchange, fitted to the part in which the temperatures move most, the probes' lags removed. Flow "
        f"is worked out from engine speed, displacement and mixture (±{100 * expanded(FLOW_U):.0f} %) plus the declared return; without it only the time "
        "in the line can be found. A pump in the section adds its own heat. A dash: this recording does not show it."
    )
    lines.append(
        "Shares of the heat are counted over the sections that take heat up, not over one that takes it out. They differ from shares of the degrees: a "
        "rise is weighted by the fuel flowing at that time, and heat that went into boiling raises no temperature."
    )
    lines.append("Curves show the smallest and the largest value of each stretch; the export holds every reading.")
    return lines


def calibration(session: Session, shown: Shown) -> list[str]:
    """One line a calibrated channel, or that there is none."""
    if session.calibration is None:
        return ["None was used: the tolerances of the probes' and amplifiers' data sheets are used."]
    return [
        f"{place_words(line.place)} (channel {number}): {line.gain:.4f} × reading, in °C, {line.offset_degc:+.2f} °C; "
        f"±{shown.text(expanded(line.uncertainty_degc), 'temperature difference', 2)}, made on {line.made_on.isoformat()} "
        f"with {counted(len(line.points), 'bath')}."
        for number, line in sorted(session.calibration.channels.items())
    ] or ["The calibration file holds no channel."]
