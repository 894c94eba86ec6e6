"""What the lamp in the car will do with the limits that were loaded, in one sentence."""

from hotfuel.car import Car
from hotfuel.places import at_place
from hotfuel.risk.limits_card import LimitRow, LimitsCard, where
from hotfuel.risk.pressure import ambient
from hotfuel.units import Shown

# as the board decides: whatever runs counts as full throttle, and launch is on no lamp
_STATES = (("full throttle", "while the engine runs"), ("standing", "with it standing"))


def lamp_will(car: Car, card: LimitsCard, shown: Shown) -> str:
    """From which temperature it warns and acts, running and standing, at the place that comes first; or that it is on at any temperature, and why."""
    told = [f"{_does(rows, shown)} {when}" for state, when in _STATES if (rows := _on_the_lamp(car, card, state))]
    return f"With this fuel at {where(car, ambient(car, shown), shown)} the lamp {', and '.join(told)}."


def _on_the_lamp(car: Car, card: LimitsCard, state: str) -> list[LimitRow]:
    """The rows of places that can light it: a probe on rubber has no limit, and boiling over after a hot stop raises no alarm."""
    return [
        row
        for row in card.rows
        if row.state == state
        and car.place(row.place).probe.mount != "clamp_rubber"
        and not (state == "standing" and car.limit_places[row.name][1].percolates)
    ]


def _does(rows: list[LimitRow], shown: Shown) -> str:
    without = [row for row in rows if row.no_limit]
    if without:
        places = " and ".join(at_place(row.name) for row in without)
        return f"blinks fast (act) at any temperature, because of the pressure {places} ({without[0].no_limit}),"
    first = min(rows, key=lambda row: row.limit_degc - row.uncertainty_degc)
    warn, act = (shown.text(degc, "temperature", 0) for degc in (first.limit_degc - first.uncertainty_degc, first.limit_degc))
    return f"gives long blinks (warn) from {warn} and fast ones (act) from {act} {at_place(first.name)}"
