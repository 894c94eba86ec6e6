"""Altitude, acceleration, suction and fuel together: every place has a limit or the reason for having none, every set of board
tables loads, and nothing raises."""

import datetime
import itertools

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.fuel import fuel_named
from hotfuel.risk.board_limits import ChannelSetting, board_tables
from hotfuel.risk.level import NO_LIMIT, Level
from hotfuel.risk.limits_card import limits_card
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel_wire import alarm
from hotfuel_wire import limit_tables as wire
from hotfuel_wire.messages import CHIPS

MADE = datetime.datetime(2026, 6, 1, tzinfo=datetime.UTC)
SETTINGS = dict.fromkeys(range(3), ChannelSetting(CHIPS["MAX31856"], 32, 19))
CORNERS = list(itertools.product((0, 3000, 4500), (0.0, 1.2), (0, 8), ("D4814 A-1", "D4814 E-5")))
EVERYWHERE = list(
    itertools.product(range(0, 4501, 500), (0.0, 0.3, 1.0, 1.2), (0, 2, 5, 8), ("D4814 A-1", "D4814 C-3", "D4814 E-5"))
)
WITHOUT = {Level(number).words for number in NO_LIMIT}


def car_at(acceleration_g, suction_inhg):
    text = f'[fuel]\nclass = "A"\nstandard = "D4814"\n[suction]\nlift = "0.4 m"\nline_length = "3 m"\nacceleration = "{acceleration_g} g"\n'
    return car_file.load(text + (f'suction_full = "{suction_inhg} inHg"\n' if suction_inhg else ""))


def check(altitude_m, acceleration_g, suction_inhg, fuel):
    car = car_at(acceleration_g, suction_inhg).model_copy(update={"altitude_m": float(altitude_m)})
    card = limits_card(car, fuel)
    for row in card.rows:
        assert np.isfinite(row.limit_degc) != (row.no_limit in WITHOUT), row
    made = board_tables(car, fuel, SETTINGS, MADE)
    head, references, limits = wire.check(made.head, list(made.pieces))
    for row in limits:
        state = "full throttle" if row["state"] == wire.RUNNING else "standing"
        place = car.places[row["channel"]].name
        (mine,) = [
            r for r in card.rows if (r.place, r.state, r.behind_needle) == (place, state, row["where"] == wire.BEHIND_NEEDLE)
        ]
        margin = wire.margin_centi(references[row["channel"]], row, 0, 6400, head["air_units"])
        here = head["air_units"] + row["offset"]
        assert margin == (alarm.IMPOSSIBLE if here <= 0 else alarm.TOO_LOW if here < 2500 else margin)
        if abs(here - 2500) > 2:  # the board's pressures are rounded to 10 Pa
            assert bool(mine.no_limit) == (margin < alarm.NO_NUMBER)
        assert row["warn_centi"] > 0
    return sum(bool(row.no_limit) for row in card.rows)


# slow: a minute
@pytest.mark.parametrize(
    "cells", [pytest.param(CORNERS, id="corners"), pytest.param(EVERYWHERE, id="everywhere", marks=pytest.mark.slow)]
)
def test_every_combination_has_a_limit_or_a_reason(cells):
    fuels = {name: fuel_named(name) for name in {cell[3] for cell in cells}}
    without = [check(*cell[:3], fuels[cell[3]]) for cell in cells]
    assert 0 < sum(count > 0 for count in without) < len(cells), "both kinds are among them"


def test_a_boiling_pump_at_altitude_is_never_quiet():
    """The example car at 3000 m with 1 g: it has a limit, and where there is none it counts as beyond the limit."""
    car = car_file.load(car_file.EXAMPLE).model_copy(update={"altitude_m": 3000.0, "station_pressure_kpa": None})
    suction = car.suction.model_copy(update={"acceleration_m_s2": 9.80665})
    for car_now in (car, car.model_copy(update={"suction": suction})):
        found = margins(car_now, car_now.fuel(), {"pump": [85.0]}, Conditions(running=1.0))["pump"]
        assert Level(int(found.state[0])).beyond
