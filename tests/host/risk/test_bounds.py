"""Bounds and terms of the risk room that few drives reach, each just inside and just outside, or against another library."""

from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.fuel import Fuel
from hotfuel.places import ROLES
from hotfuel.risk import limit, margin, pressure, suction, trend
from hotfuel.risk.assumptions import assumptions
from hotfuel.risk.criterion import criterion
from hotfuel.risk.findings import pressure_findings
from hotfuel.risk.level import Level
from hotfuel.risk.limits_card import altitude_curves, limits_card
from hotfuel.risk.margin import alarm_inputs, margins
from hotfuel.risk.pressure import Conditions, ambient, at_places, lowest_recent, standard_atmosphere_kpa
from hotfuel.risk.probes import Traced
from hotfuel.units import Shown
from hotfuel_wire import alarm
from scipy import stats

NAN = np.nan


@pytest.fixture(scope="module")
def fuel():
    return Fuel.from_measurements(vapour_pressure_kpa=60, t10_degc=55, t50_degc=100, t90_degc=165)


def car(text=""):
    return car_file.load('[fuel]\nclass = "D4814 A-1"\n' + text)


def test_levels_have_names_and_urgencies():
    assert {level.name: level.beyond for level in Level} == {
        "QUIET": False, "WARN": False, "ACT": True, "LOST": False, "NO_MARGIN": False, "LOW_PRESSURE": True, "IMPOSSIBLE_PRESSURE": True,
    }  # fmt: skip
    assert Level.QUIET.urgency == 0 < Level.WARN.urgency < Level.ACT.urgency
    assert Level.LOST.urgency < Level.WARN.urgency
    assert Level.ACT.urgency < Level.LOW_PRESSURE.urgency < Level.IMPOSSIBLE_PRESSURE.urgency
    assert (Level.WARN.words, Level.LOST.words) == ("warn", "sensor lost")


def test_a_traced_probe_gives_the_alarm_a_lead_upward_only():
    """Margin of the fuel 2 degC, lead 3 degC: the reading's own margin is 5; minus 1.4 leads 0.8. Its uncertainty excludes the lag's share of 0.9."""
    lead = np.array([300, -300, 0, 300, 50], np.int16)
    place = SimpleNamespace(
        margin_degc=np.array([2.0, 2.0, 2.0, NAN, 2.0]), uncertainty_degc=np.array([1.5, 1.5, 1.5, 1.5, 0.1]), state=np.full(5, Level.QUIET),
        traced=Traced(np.array([0, 0, 1, 0, 0], bool), np.array([0, 1, 0, 0, 0], bool), lead), indicative=False, percolates=False,
    )  # fmt: skip
    found, warn_below, seen = alarm_inputs(place, 1.0)
    assert found.tolist() == [80, -100, alarm.UNREADABLE, -120, 180]
    assert warn_below.tolist() == [120, 120, 150, 0, 0]
    assert seen.tolist() == [True, False, True, True, True]
    place.state = np.array([Level.NO_MARGIN, Level.QUIET, Level.LOST, Level.LOST, Level.LOW_PRESSURE])
    found, _, seen = alarm_inputs(place, 1.0)
    assert found.tolist() == [80, -100, alarm.UNREADABLE, alarm.UNREADABLE, alarm.TOO_LOW]
    assert seen.tolist() == [False, False, True, True, True]


def test_percolation_is_quiet_only_while_the_engine_is_known_to_stand():
    place = SimpleNamespace(
        margin_degc=np.array([-2.0, -2.0, -2.0]), uncertainty_degc=np.array([1.5, 1.5, 1.5]), state=np.full(3, Level.ACT), traced=None,
        indicative=False, percolates=True,
    )  # fmt: skip
    assert alarm_inputs(place, np.array([0.0, 1.0, NAN]))[0].tolist() == [150 + alarm.DEADBAND, -200, -200]


def test_a_line_pressure_above_the_table_gives_no_margin_and_is_not_called_low(fuel):
    found = margins(
        car(), fuel, {"carb_inlet": [30.0]}, Conditions(running=1.0, ambient_pressure_kpa=95.0, fuel_pressure_kpa=420.0)
    )
    assert [found[name].state[0] for name in ("carb_inlet", "carb_inlet_needle")] == [Level.NO_MARGIN] * 2
    assert any("no limit is computed above 500 kPa" in note for note in found.notes)
    low = margins(car(), fuel, {"carb_inlet": [30.0]}, Conditions(running=1.0, ambient_pressure_kpa=20.0, fuel_pressure_kpa=40.0))
    assert [low[name].state[0] for name in ("carb_inlet", "carb_inlet_needle")] == [Level.QUIET, Level.LOW_PRESSURE]
    assert not any("above 500 kPa" in note for note in low.notes)
    assert not any("rubber" in note for note in low.notes)


def test_an_unknown_engine_for_less_than_one_in_two_hundred_is_not_reported():
    state = np.ones(1000)
    for unknown, said in ((0, False), (4, False), (5, True)):
        state[:unknown] = NAN
        assert bool(margin._engine_note(state)) == said


def test_flow_past_a_probe_is_at_least_the_idle_flow():
    a_car = car('[engine]\nidle_flow = "4 L/h"\n')
    assert margin._flow(a_car, Conditions()) == 4.0
    assert margin._flow(a_car, Conditions(flow_l_h=[1.0, NAN, 30.0])).tolist() == [4.0, 4.0, 30.0]


def test_the_smallest_margin_has_its_place(fuel):
    found = margins(
        car(), fuel, {"tank": [30.0, 40.0, NAN], "pump": [NAN, 35.0, 20.0]}, Conditions(running=0.0, ambient_pressure_kpa=95.0)
    )
    name, least = found.smallest
    assert (name, least) == ("tank", pytest.approx(float(found["tank"].margin_degc[1])))
    assert margins(car(), fuel, {"tank": [NAN]}, Conditions(running=0.0)).smallest == pytest.approx(("", NAN), nan_ok=True)


def test_a_measured_line_pressure_is_known_to_a_twentieth_besides_the_air():
    found = at_places(car(), Conditions(running=1.0, ambient_pressure_kpa=95.0, fuel_pressure_kpa=[40.0, -2.0, NAN]))[
        "carb_inlet"
    ]
    assert found.pressure_kpa[:2].tolist() == [135.0, 95.0]
    assert found.uncertainty_kpa[:2] == pytest.approx([(0.3**2 + 2.0**2) ** 0.5, 0.3])
    whole = at_places(car(), Conditions(running=1.0, ambient_pressure_kpa=95.0, fuel_pressure_kpa=40.0))["carb_inlet"]
    assert float(whole.uncertainty_kpa) == pytest.approx((0.3**2 + 2.0**2) ** 0.5)
    partly = at_places(car(), Conditions(running=0.0, ambient_pressure_kpa=[95.0, NAN]))["tank"]
    assert partly.pressure_kpa.tolist() == [95.0, 101.325]
    assert partly.uncertainty_kpa.tolist() == [0.3, 1.2]


@pytest.mark.parametrize(
    ("station", "source", "kpa", "asks"),
    [("91.5 kPa", "station pressure", 91.5, False), ("91.0 kPa", "station pressure", 91.0, True), ("97.2 kPa", "station pressure", 97.2, False),
     ("97.5 kPa", "standard atmosphere at 600 m", 94.32, True)],
)  # fmt: skip
def test_a_barometer_within_3_kpa_of_the_altitude_is_accepted(station, source, kpa, asks):
    """94.32 kPa at 600 m by the published formula."""
    found = ambient(car_file.load(f'altitude = "600 m"\nstation_pressure = "{station}"\n[fuel]\nclass = "D4814 A-1"\n'))
    assert (found.source, found.pressure_kpa, found.question is not None) == (source, pytest.approx(kpa, abs=0.01), asks)
    assert found.uncertainty_kpa == (1.2 if asks else 0.3)


def test_the_window_of_the_lowest_pressure():
    times = np.array([0.0, 1, 5, 5.1, 10, 11])
    assert lowest_recent(times, [1.0, 2, 3, 4, 5, 6]).tolist() == [1, 1, 1, 2, 3, 5]
    assert lowest_recent(times, [[1.0, NAN, 3, 4, 5, 6], [NAN] * 6])[0].tolist() == [1, 1, 1, 3, 3, 5]
    assert np.isnan(lowest_recent(times, [NAN] * 6)).all()
    assert lowest_recent([], []).shape == (0,)
    tenths = np.arange(60) * 0.1  # 5 s back is 50 steps or 49: the rounded difference of the times decides
    assert lowest_recent(tenths, np.arange(60.0)).tolist() == [float(np.argmax(now - tenths <= 5.0)) for now in tenths]


@pytest.mark.parametrize("altitude_m", [-500.0, 11000.0])
def test_ends_of_the_standard_atmosphere(altitude_m):
    assert 22 < standard_atmosphere_kpa(altitude_m) < 108
    with pytest.raises(pressure.InputError, match="allowed is -500 m to 11000 m"):
        standard_atmosphere_kpa(1.001 * altitude_m)


def test_the_engines_state_from_engine_speed_and_line_pressure():
    a_car = car('[pump]\npressure = "40 kPa"\n')
    for rpm, state in ((49.9, 0.0), (50.0, 1.0)):
        assert pressure.running_state(a_car, Conditions(engine_rpm=rpm)) == state
    for kpa, state in ((20.0, 1.0), (19.9, NAN), (8.1, NAN), (8.0, 0.0)):
        assert pressure.running_state(a_car, Conditions(fuel_pressure_kpa=kpa)) == pytest.approx(state, nan_ok=True)
    assert pressure.air_basis(a_car, [95.0, NAN]) == "measured, else sea level assumed"
    assert (pressure.air_basis(a_car, [95.0]), pressure.air_basis(a_car, [])) == ("measured", "sea level assumed")


@pytest.mark.parametrize(
    ("chosen", "ends"), [("8", (6.0, 10.0)), ("32", (24.0, 40.0)), ("34", (25.5, 40.0)), ("30", (22.5, 37.5))]
)
def test_a_criterion_from_the_car_file_is_known_to_a_quarter_and_ends_where_the_table_does(chosen, ends):
    found = criterion(car(f"[pump]\nvapour_liquid_ratio = {chosen}\n"), ROLES["pump"])
    assert (found.least, found.greatest) == ends
    assert found.text == f"V/L {chosen} ({ends[0]:g} to {ends[1]:g}): set in the car file"


def test_a_trends_line_is_least_squares_with_an_error_for_correlated_neighbours():
    rng = np.random.default_rng(4)
    times = np.sort(rng.uniform(0, 100, 40))
    values = 3 + 0.2 * times + rng.normal(0, 1, 40)
    slope, error, end = trend._line(times, values)
    theirs = stats.linregress(times, values)
    assert slope == pytest.approx(theirs.slope)
    assert end == pytest.approx(theirs.intercept + theirs.slope * times[-1])
    rest = values - theirs.intercept - theirs.slope * times
    alike = min(max(float(rest[1:] @ rest[:-1] / (rest @ rest)), 0.0), 0.95)
    assert error == pytest.approx(theirs.stderr * ((1 + alike) / (1 - alike)) ** 0.5)
    slow = 3 + 0.2 * times + np.sin(times / 15)
    wide, plain = trend._line(times, slow)[1], stats.linregress(times, slow).stderr
    assert 3 < wide / plain <= 39**0.5
    assert trend._line(times, 0.2 * times)[1] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("count", "sizes"), [(60, [1] * 60), (61, [2] * 30), (120, [2] * 60), (121, [3] * 40), (5, [1] * 5)])
def test_at_most_sixty_means_of_neighbours_which_include_the_newest(count, sizes):
    values = np.arange(float(count))
    found, double = trend._averaged(values, 2 * values)
    assert len(found) == len(sizes)
    assert found[-1] == pytest.approx(values[-sizes[-1] :].mean())
    assert found[0] == pytest.approx(values[count - sum(sizes) :][: sizes[0]].mean())
    np.testing.assert_allclose(double, 2 * found)


def watts(fuel, left_min, seconds=100, w_kg=100.0, step=1.0):
    """Fuel under constant heating that reaches the limit so many minutes after its last reading."""
    grid = np.linspace(0, 75, 3000)
    enthalpy = fuel.enthalpy_kj_per_kg(grid, 101.325)
    end = float(fuel.enthalpy_kj_per_kg(fuel.limit_degc(101.325), 101.325)) - w_kg * 60 * left_min / 1000
    times = np.arange(0, seconds + step / 2, step)
    return times, np.interp(end + w_kg * (times - times[-1]) / 1000, enthalpy, grid)


@pytest.mark.parametrize(
    ("left_min", "told", "words"),
    [
        (0.48, False, trend.BOILING),
        (0.52, True, trend.BOILING),
        (14.8, True, trend.CLOSING),
        (15.2, False, trend.LEVEL),
        (-0.2, False, trend.BOILING),
    ],
)
def test_times_given_are_half_a_minute_to_a_quarter_of_an_hour(fuel, left_min, told, words):
    found = trend.trend(*watts(fuel, left_min), 101.325, fuel, 20.0)
    assert (found.way, np.isfinite(found.minutes)) == (words, told)
    assert found.heating_w_kg == pytest.approx(100, rel=0.02)
    if told:
        assert found.minutes == pytest.approx(left_min, rel=0.02)


def test_a_trend_needs_five_readings_over_a_minute_and_looks_back_two(fuel):
    for step, told in ((15.0, True), (20.0, False)):  # five and four readings
        assert np.isfinite(trend.trend(*watts(fuel, 5.0, 60.0, step=step), 101.325, fuel, 20.0).minutes) == told
    times, degc = watts(fuel, 5.0, 300.0)
    degc[times < 180] = 20.0  # older than two minutes
    assert trend.trend(times, degc, 101.325, fuel, 20.0).minutes == pytest.approx(5.0, rel=0.02)
    degc[times < 184] = 20.0  # the oldest of 121 is dropped, the next three are one mean
    assert trend.trend(times, degc, 101.325, fuel, 20.0).minutes != pytest.approx(5.0, rel=0.02)


@pytest.mark.parametrize(("rise_kpa", "found"), [(3.0, True), (2.9, False)])
def test_a_rise_after_the_stop(rise_kpa, found):
    times = np.arange(170.0)  # the engine runs for two minutes: what ran for less heats no line
    line = np.concatenate([np.full(120, 40.0), np.linspace(20, 10, 20), np.linspace(10, 10 + rise_kpa, 30)])
    said = pressure_findings(times, times < 120, fuel_pressure_kpa=line)
    assert not pressure_findings(times, (times > 0) & (times < 120), fuel_pressure_kpa=line)
    assert [(one.time_s, one.size_kpa) for one in said] == ([(169.0, pytest.approx(3.0))] if found else [])


@pytest.mark.parametrize(("rise_kpa", "found"), [(3.0, True), (2.9, False)])
def test_a_rise_after_the_stop_of_an_engine_that_ran_for_less_in_the_recording(rise_kpa, found):
    """It ran for 50 s: the fuel's warmth decides whether it was hot before, at any time of the stop."""
    times = np.arange(100.0)
    line = np.concatenate([np.full(50, 40.0), np.linspace(20, 10, 20), np.linspace(10, 10 + rise_kpa, 30)])
    for hottest_degc, is_warm in ((40.1, True), (40.0, False), (NAN, False), (np.where(times < 70, 35.0, 45.0), True)):
        degc = np.broadcast_to(hottest_degc, times.shape)
        said = pressure_findings(times, times < 50, fuel_pressure_kpa=line, hottest_degc=degc)
        assert [(one.time_s, one.size_kpa) for one in said] == ([(99.0, pytest.approx(3.0))] if found and is_warm else [])
    assert pressure_findings(times, times < 50, fuel_pressure_kpa=line) == []


@pytest.mark.parametrize(
    ("at_first", "at_last", "found"),
    [(-1.4, -2.0, True), (-1.4, -1.9, False), (-1.5, -2.0, False), (-3.0, -3.6, True), (-3.0, -3.4, False), (NAN, -2.0, True)],
)
def test_a_vacuum_that_grew_by_more_than_half_a_kpa_in_two_minutes(at_first, at_last, found):
    times = np.arange(121.0)
    gauge = np.full(121, at_first)
    gauge[-1] = at_last
    said = pressure_findings(times, np.ones(121), tank_gauge_kpa=gauge)
    assert [(one.time_s, one.size_kpa) for one in said] == ([(120.0, -at_last)] if found else [])
    assert pressure_findings(times[1:], np.ones(120), tank_gauge_kpa=gauge[1:]) == []  # 119 s


def test_friction_changes_at_reynolds_2300():
    """64/Re below, 0.3164 Re^-0.25 above: at 8 mm and 0.5 mPa s Re = 740 v 0.008 / 0.0005, 2300 at 35.16 L/h; the loss is f L/d rho v^2/2."""
    for flow, friction in ((35.1, lambda re: 64 / re), (35.2, lambda re: 0.3164 / re**0.25)):
        speed = flow / 3.6e6 / (np.pi / 4 * 0.008**2)
        reynolds = 740 * speed * 0.008 / 0.0005
        assert (reynolds < 2300) == (flow < 35.15)
        assert suction.line_loss_kpa(flow, 3.0, 0.008) == pytest.approx(
            friction(reynolds) * 3 / 0.008 * 740 * speed**2 / 2 / 1000
        )
    assert suction.line_loss_kpa(0.0, 3.0, 0.008) == 0.0


def test_sentences_about_the_lines_pressure_and_the_probes():
    stated, unstated, none = (
        car(f'[pump]\npressure = "40 kPa"\n{more}')
        for more in ('pressure_full = "30 kPa"\n', "", 'kind = "electric_submerged"\n')
    )
    said = ["\n".join(assumptions(one, Shown("si"), 740.0)) for one in (stated, unstated, none)]
    assert "line pressure: falls with flow to 30.0 kPa at full throttle, as the car file says" in said[0]
    assert "to anything down to 20.0 kPa" in said[1]
    assert ["pulsation" in one for one in said] == [True, True, False]
    assert "lag: in the moving car" in said[0]
    assert "standing: the pump's valves hold" in "\n".join(assumptions(car('[suction]\nlift = "0.3 m"\n'), Shown("si"), 740.0))
    assert "standing:" not in "\n".join(assumptions(car('[suction]\nlift = "0 m"\n'), Shown("si"), 740.0))


def test_drops_on_the_card_are_differences_of_the_fuels_limit(fuel):
    found = limits_card(car_file.load(car_file.EXAMPLE), fuel, 1000.0)
    here, higher = standard_atmosphere_kpa([1000.0, 2000.0])
    assert found.drop_per_1000_m_degc == pytest.approx(float(fuel.limit_degc(here) - fuel.limit_degc(higher)))
    assert found.drop_per_kpa_degc == pytest.approx(float(fuel.limit_degc(here) - fuel.limit_degc(here - 1)))
    curves = altitude_curves({"f": fuel}, suction_kpa=3.0)
    assert (curves["altitude_m"][0], curves["altitude_m"][1], curves["altitude_m"][-1]) == (0, 100, 4000)
    assert curves["f_limit_degc"][10] == pytest.approx(float(fuel.limit_degc(here - 3)))


def test_a_route_that_is_lower_by_less_than_half_a_degree_is_not_shown(fuel):
    limit_degc = float(fuel.limit_degc(101.325))
    for lower_by, shown in ((0.49, False), (0.51, True), (-3.0, False)):
        other = Fuel(
            **{**{name: getattr(fuel, name) for name in fuel.__dataclass_fields__}, "other_route_degc": limit_degc - lower_by}
        )
        card = limits_card(car_file.load(car_file.EXAMPLE), other, shown=Shown("si"))
        assert any("two routes" in note for note in card.notes) == shown
        assert card.rows[0].limit_degc - card.rows[0].more_careful_degc == pytest.approx(lower_by if shown else 0.0)


def test_the_needles_table_is_that_of_the_limit_at_line_and_bowl(fuel):
    """The slope against both pressures together, and the difference from sea level, as differences of the direct limit."""
    role = criterion(car(), ROLES["needle"])
    prepared = limit.limit_at(fuel, role, needle=True)
    line, bowl = np.array([130.0, 140.0]), np.array([95.0, 100.0])
    found = prepared.at(line, bowl)
    direct = fuel.limit_table.needle_limit_degc
    np.testing.assert_allclose(found[0], direct(line, bowl, 20.0))
    np.testing.assert_allclose(found[1], fuel.limit_table.limit_degc(bowl, 0.0))
    np.testing.assert_allclose(found[3], (direct(line + 1, bowl + 1, 20.0) - direct(line - 1, bowl - 1, 20.0)) / 2, rtol=0.02)
    one = prepared.at(line[:1], bowl[:1])
    assert [float(value[0]) for value in one] == pytest.approx([float(value[0]) for value in found])
