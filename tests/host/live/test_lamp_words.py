"""What `board warnings` says first: what the lamp will do. Held against the firmware's own limits, fed the readings around the temperatures it names."""

import re

import pytest
from hotfuel import car as car_file
from hotfuel.live.lamp_words import lamp_will
from hotfuel.risk.limits_card import limits_card
from hotfuel.units import Shown

US = Shown("us")


def said(altitude_m, text=car_file.EXAMPLE, shown=US):
    car = car_file.load(text).model_copy(update={"altitude_m": altitude_m, "station_pressure_kpa": None})
    return lamp_will(car, limits_card(car, shown=shown), shown)


def test_it_names_the_first_place_running_and_standing_with_both_temperatures():
    card = limits_card(car_file.load(car_file.EXAMPLE))
    ends = []
    for state in ("full throttle", "standing"):
        rows = [row for row in card.rows if row.state == state and not (row.behind_needle and state == "standing")]
        first = min(rows, key=lambda row: row.limit_degc - row.uncertainty_degc)
        assert (first.place, first.behind_needle) == ("pump", False)
        ends += [US.text(degc, "temperature", 0) for degc in (first.limit_degc - first.uncertainty_degc, first.limit_degc)]
    assert said(600.0) == (
        f"With this fuel at 1969 ft the lamp gives long blinks (warn) from {ends[0]} and fast ones (act) from {ends[1]} at the pump while the engine runs, "
        f"and gives long blinks (warn) from {ends[2]} and fast ones (act) from {ends[3]} at the pump with it standing."
    )


def test_where_the_pressure_leaves_no_limit_it_says_that_the_lamp_is_on_at_any_temperature():
    text = car_file.EXAMPLE.replace('# suction_idle = "1 inHg"', 'suction_idle = "8 inHg"').replace(
        '# suction_full = "3 inHg"', 'suction_full = "12 inHg"'
    )
    words = said(5200.0, text)
    assert words.startswith(
        "With this fuel at 17060 ft the lamp blinks fast (act) at any temperature, because of the pressure at the pump ("
    )
    assert re.search(r"\), while the engine runs, and gives long blinks \(warn\) from \d+ °F", words)


@pytest.mark.parametrize("system", ["us", "si"])
def test_a_probe_that_can_light_no_lamp_is_left_out(system):
    rubber = car_file.EXAMPLE.replace(
        'mount = "axial", sheath = "1.6 mm", lag = "1.5 s", tolerance = "E230 special"', 'mount = "clamp_rubber"'
    )
    assert "at the pump" in said(600.0, shown=Shown(system))
    assert "at the pump" not in said(600.0, rubber, Shown(system))
