"""What a change reckons with, in sentences: one for each of its parts."""

from typing import TYPE_CHECKING

from hotfuel.places import place_words
from hotfuel.study.line.change import Change, words_of
from hotfuel.study.line.cooling import Cooling
from hotfuel.units import expanded

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

WALL_U = 0.3  # of what insulation saves (assumption)


def said(to: "Changed", change: Change, cooling: Cooling | None) -> list[str]:
    """One sentence for each part of a change that acts on what the fuel takes up."""
    lines: list[str] = []
    say = lines.append
    places = {
        "insulation": (change.insulation_share, change.insulated_before),
        "a shield": (change.shield_share, change.shielded_before),
    }
    for what, (share, place) in places.items():
        if share is None:
            continue
        before = to.grid.before(place) or "the tank"
        pumped = to.pump_in(place, before)
        part = "a tenth to all of the rise" if pumped else f"the rise (±{100 * expanded(WALL_U):.0f} %)"
        say(
            f"With {what}, {part} from {place_words(before)} to {place_words(place)} is heat from outside"
            f"{', the rest is the pump itself' if pumped else ''}; while fuel flows it is cut "
            f"by {words_of(share)}, and standing it delays more than it lowers."
        )
    if change.spacer_share is not None:
        say(
            f"Hardly any to nearly all of what the {change.spacer_under} puts into the fuel comes through its flange (assumption); "
            f"the spacer cuts that by {words_of(change.spacer_share)}."
        )
    if change.return_l_h is not None:
        known = "" if to.known_flow else "; the flow is not known, so how much faster the fuel passes is not in it"
        say(
            f"{words_of(change.return_l_h, 'L/h')} more flow through the whole line; what comes back loses up to two fifths of its heat on the way{known}."
        )
    if change.submerged_pump or change.pump_moved:
        say(_pump(to, change))
    if cooling:
        lines += cooling.said
    if not to.grid.on.any() and change.acts_on_temperature:
        say("The engine never ran in this session, and without flow a fix in the line does nothing.")
    return lines


def _pump(to: "Changed", change: Change) -> str:
    roles = {p.name: p.role for p in to.car.places}
    names = {role: next((p for p in to.grid.chain if roles.get(p) in role), "") for role in (("tank",), ("pump", "suction"))}
    tank, pump = names.values()
    if tank and pump and to.car.pump.kind == "mechanical":
        told = f"a third to all of the rise from {place_words(tank)} to {place_words(pump)} is the old pump's heat and goes while fuel flows"
    elif tank and pump:
        told = f"the temperatures are left as recorded, to within a third of the rise from {place_words(tank)} to {place_words(pump)}"
    else:
        told = "no probes at tank and pump tell what the old pump's heat does, so the temperatures are left as recorded"
    what = (
        "With a pump in the tank the line to the engine stands under its pressure while it runs, and under the air's as soon as it stops"
        if change.submerged_pump
        else "With an electric pump near the tank the line to the engine stands under its pressure while it runs, and the pump draws through a short line"
    )
    return f"{what}; {told}."
