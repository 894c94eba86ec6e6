"""Full-throttle pulls: numbers by hand on a drive made for it, the arrival by volume and flow, and the overlay's band against scipy's t interval."""

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.live.plain import pull_text
from hotfuel.report import line_words
from hotfuel.session.pulls import Extent
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import phases
from hotfuel.study.line import full_throttle, overlaid
from hotfuel.units import Shown
from scipy import stats

CAR = load(EXAMPLE)


def drive(starts=(120,), drop_degc=12.0, name="run", wait=60):
    """Idle and cruise, then sweeps of 9 s from 2000 to 6000 rpm; the inlet falls by drop_degc during each of them, to its lowest 2 s after the end."""
    count = starts[-1] + 9 + wait
    rpm = np.full(count, 2000.0)
    rpm[:60] = 800.0
    inlet = np.full(count, 60.0)
    for at in starts:
        rpm[at : at + 9] = np.linspace(2000, 6000, 9)
        rpm[at + 9 : at + 12] = (5000, 3500, 2500)
        inlet[at : at + 11] = 60.0 - drop_degc * np.arange(11) / 10
        inlet[at + 11 : at + 31] = 60.0 - drop_degc * np.arange(20)[::-1] / 20
    blank = np.full(count, np.nan)
    inputs = {
        "engine_rpm": rpm,
        "fuel_pressure_kpa": blank,
        "ignition": blank,
        "ambient_pressure_kpa": blank,
        "running": np.ones(count),
    }
    degc = {"tank": np.full(count, 35.0), "pump": np.full(count, 50.0), "carb_inlet": inlet}
    margin = {"margin_degc": 70.0 - inlet, "state": np.zeros(count)}
    margin |= {key: blank for key in ("limit_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio")}
    return Course(name, np.arange(count) * 1.0, degc, {"carb_inlet": margin}, inputs, (), np.nan, CAR)


def test_one_pull_in_numbers():
    (pull,) = full_throttle.pulls(drive())
    assert 119 <= pull.start_s <= 122
    assert 8 <= pull.duration_s <= 12
    inlet, tank = pull.places["carb_inlet"], pull.places["tank"]
    assert inlet.start_degc == pytest.approx(60.0, abs=1.3)
    assert inlet.lowest_degc == pytest.approx(48.0)
    assert pull.start_s + inlet.lowest_after_s == 130
    assert inlet.smallest_margin_degc == pytest.approx(10.0, abs=1.3)
    assert (tank.start_degc, tank.end_degc, tank.arrival_s) == (35.0, 35.0, 0.0)
    assert list(pull.places) == ["tank", "pump", "carb_inlet"]
    assert (
        pull_text(inlet, "carb_inlet", Shown("us"))
        == f"carb inlet {inlet.start_degc * 1.8 + 32:.0f} to 118 °F in {inlet.lowest_after_s:.0f} s"
    )
    assert pull_text(Extent(np.nan, 40.0, np.nan, np.nan, 9.0), "carb_inlet", Shown("us")) == ""
    assert pull_text(Extent(40.0, 50.0, 40.0, 0.0, 9.0), "pump", Shown("si")) == "pump 40 to 50 °C in 9 s"


def test_the_tanks_fuel_arrives_when_the_flow_has_moved_the_lines_volume():
    course = drive(wait=300)
    (pull,) = full_throttle.pulls(course)
    flow = full_throttle.flow_of(course)
    at = pull.places["carb_inlet"]
    holds_l = sum(CAR.place(name).volume_from_previous_l for name in ("pump", "carb_inlet"))
    assert holds_l == pytest.approx(0.23)
    rows = slice(int(pull.start_s), int(pull.start_s + at.arrival_s) + 1)
    assert flow.litres_h[rows].sum() / 3600 == pytest.approx(holds_l, rel=0.1)
    assert at.arrival_least_s < at.arrival_s
    assert not at.arrival_greatest_s <= at.arrival_s
    assert at.margin_degc == pytest.approx(
        70 - np.interp(pull.start_s + at.arrival_s, course.time_s, course.degc["carb_inlet"]), abs=1.5
    )


def test_pulls_of_sessions_are_aligned_at_their_starts():
    drops = (10.0, 12.0, 17.0)
    found = overlaid.overlay(
        [drive((120, 220), drops[0], "a"), drive((150,), drops[1], "b"), drive((130,), drops[2], "c")], "carb_inlet"
    )
    assert found.names == ("a, full-throttle pull 1", "a, full-throttle pull 2", "b, full-throttle pull", "c, full-throttle pull")
    at = int(np.nanargmin(found.mean_degc))
    assert found.traces[:, at] == pytest.approx([60 - drop for drop in (10.0, 10.0, 12.0, 17.0)])
    lowest = [50.0, 48.0, 43.0]  # each session's mean is one value
    low, high = stats.t.interval(0.95, 2, loc=np.mean(lowest), scale=stats.sem(lowest))
    assert (found.mean_degc[at], found.low_degc[at], found.high_degc[at]) == pytest.approx((47.0, low, high))
    assert found.unit == "session"
    assert found.time_s[0] == -5


def test_missing_pulls_or_places_are_reported():
    quiet = drive()
    quiet.inputs["engine_rpm"][:] = 2000.0
    assert full_throttle.pulls(quiet) == ()
    with pytest.raises(InputError, match="no full-throttle pull"):
        overlaid.overlay([quiet], "pump")
    with pytest.raises(InputError, match="measured in none"):
        overlaid.overlay([drive()], "bowl")


def test_pulls_of_one_session_have_their_own_spread():
    course = drive((120, 220), 10.0)
    course.degc["carb_inlet"][200:] += 2.0
    found = overlaid.overlay([course], "carb_inlet")
    at = int(np.nanargmin(found.mean_degc))
    low, high = stats.t.interval(0.95, 1, loc=51.0, scale=stats.sem([50.0, 52.0]))
    assert (found.unit, found.low_degc[at], found.high_degc[at]) == ("pull", pytest.approx(low), pytest.approx(high))


def test_variants_in_numbers():
    drives = {
        "as built": [drive((120, 220), 10.0, "a"), drive((150,), 14.0, "b")],
        "shield": [drive((130,), 6.0, "c")],
        "parked": [drive()],
    }
    drives["parked"][0].inputs["engine_rpm"][:] = 2000.0
    built, shield = overlaid.of_variants({name: [(one, phases(one)) for one in each] for name, each in drives.items()})
    inlet = built.places["carb_inlet"]
    assert (built.variant, built.count, built.sessions) == ("as built", 3, 2)
    assert (inlet.lowest_degc, inlet.fall_degc) == pytest.approx((48.0, inlet.start_degc - 48.0))
    assert inlet.fall_half_degc == pytest.approx(12.706 * np.std([10, 14], ddof=1) / np.sqrt(2), rel=0.1)
    assert np.isnan(shield.places["carb_inlet"].fall_half_degc)
    start = f"{inlet.start_degc:.0f}"
    assert (
        line_words.pulls(built, "carb_inlet", Shown("si"))
        == f"as built: carb inlet {start} to 48 °C (mean of 3 pulls in 2 sessions)"
    )
    assert line_words.pulls(shield, "carb_inlet", Shown("si")).endswith("to 54 °C (1 pull in 1 session)")
    assert set(built.as_dict()["places"]) == {"tank", "pump", "carb_inlet"}
