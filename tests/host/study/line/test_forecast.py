"""Forecasts on recorded drives of the simulated car, against the same car with the change really made."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from driven import Driven
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.report import assumption_words, first_words
from hotfuel.report.forecast_words import assumptions, sentences
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.session.means import smoothed
from hotfuel.simulator.plug_flow import DENSITY_KG_PER_L
from hotfuel.simulator.scenarios import QUEUE, WINTER_FUEL, Body, Cooler, Fixes, Scenario
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.line import forecast as room
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.cooling import COOLANT_U_DEGC
from hotfuel.study.line.draws import Draws
from hotfuel.study.line.forecast import Change
from hotfuel.study.line.grid import Grid
from hotfuel.study.line.ranges import FOLLOWS, THROUGH_WALL
from hotfuel.study.line.transport import reading_u_degc
from hotfuel.units import Shown

SI = Shown("si")
AS_BUILT = Scenario(variation=0.0)
DRIVES = {"summer drive": AS_BUILT, "queue": replace(QUEUE, variation=0.0)}
WINTER = Fuel.from_measurements(**WINTER_FUEL)
CAR = load(EXAMPLE)
WINTER_CAR = load(EXAMPLE.replace('"60 kPa"', '"90 kPa"').replace('t10 = "55', 't10 = "45').replace('t50 = "100', 't50 = "95'))
TANK_PUMP_CAR = CAR.model_copy(
    update={
        "pump": CAR.pump.model_copy(update={"kind": "electric_submerged"}),
        "places": tuple(p.model_copy(update={"role": "line"}) if p.name == "pump" else p for p in CAR.places),
    }
)
HOSE_SLEEVE = Body(hose_w_k=0.7 * 0.35, exhaust_to_hose_w_k=0.03 * 0.35)


@cache
def driven(name, **changes):
    scenario = replace(DRIVES[name], **changes)
    return Driven(scenario, metadata={"ambient_degc": scenario.ambient_degc})


@pytest.fixture(scope="module")
def drive():
    return driven("summer drive")


def fan_cooler_effectiveness(session):
    """The simulated core at the flows of this drive: 9 W/K against the fuel's heat capacity flow, one side at constant temperature."""
    flow = session.truth.flow_l_h.to_numpy()[session.truth.engine_rpm.to_numpy() > 400]
    return float(np.median(1 - np.exp(-9.0 / (flow / 3600 * DENSITY_KG_PER_L * 2100))))


def real(session, car):
    """{place: (hottest, median while running, smallest margin)} of a drive, with limits by that car file."""
    course = of_session(session)
    known = {k: course.inputs[k] for k in ("running", "engine_rpm", "fuel_pressure_kpa", "ambient_pressure_kpa", "ignition")}
    table = margins(car, car.fuel(), course.degc, Conditions(**known, time_s=course.time_s))
    on = course.inputs["engine_rpm"] > 400
    return {
        place: (
            float(np.nanmax(smoothed(course.time_s, limited.temperature_degc))),
            float(np.nanmedian(limited.temperature_degc[on])),
            float(np.nanmin(smoothed(course.time_s, limited.margin_degc))),
        )
        for place, limited in table.places.items()
    }


CASES = {  # name: (the change, what really differs, the car file then, places where the two are the same thing)
    "15 degC hotter": (Change("x", hotter_degc=15), {"ambient_degc": 45.0}, CAR, ("tank", "pump", "carb_inlet")),
    "10 degC cooler": (Change("x", hotter_degc=-10), {"ambient_degc": 20.0}, CAR, ("tank", "pump", "carb_inlet")),
    "1250 m higher": (Change("x", higher_m=1250), {"altitude_m": 1600.0}, CAR, ("tank", "pump", "carb_inlet")),
    "winter fuel": (Change("x", fuel=WINTER), {"fuel": WINTER_FUEL}, WINTER_CAR, ("tank", "pump", "carb_inlet")),
    # the simulated car's pump probe moves into the tank with the pump
    "pump in the tank": (Change("x", submerged_pump=True), {"fixes": Fixes(electric_pump=True)}, TANK_PUMP_CAR, ("tank", "carb_inlet")),
    "cooler with a fan": (None, {"fixes": Fixes(cooler=Cooler(fan=True))}, CAR, ("tank", "pump", "carb_inlet")),
    "sleeve on the hose": (
        Change("x", insulation_share=0.65, insulated_before="carb_inlet"), {"body": HOSE_SLEEVE}, CAR, ("tank", "pump", "carb_inlet")
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(DRIVES))
@pytest.mark.parametrize("case", list(CASES))
def test_a_forecast_holds_when_the_change_is_really_made(name, case):
    """Two stated standard uncertainties for a median and a margin, three for the hottest moment, an extreme; half a degree where none is stated."""
    change, made, car, places = CASES[case]
    before = driven(name)
    if change is None:
        change = Change("x", cooler_effectiveness=fan_cooler_effectiveness(before), cooler_before="carb_inlet")
    changed = Driven(replace(DRIVES[name], **made))
    result, truth = one(before, change), real(changed, car)
    for there in result.rows:
        if there.place.removesuffix("_needle") not in places:
            continue
        hottest, running, margin = truth[there.place]
        stated = (
            (there.running_degc, running, there.running_u_degc, 2),
            (there.margin_degc, margin, there.margin_u_degc, 2),
            (there.hottest_degc, hottest, there.hottest_u_degc, 3),
        )
        for forecast, really, u, times in stated:
            assert abs(forecast - really) <= max(times * u, 0.5), (there.place, forecast, really, u)
            assert u < 10  # and it is precise enough to be useful


def one(session, change, **options):
    return room.forecast(session, [change], **options)[0]


def row(result, place):
    return next(r for r in result.rows if r.place == place)


def test_a_hotter_day_counts_less_the_more_the_engine_heats(drive):
    result = one(drive, Change("a hotter day", hotter_degc=15))
    assert row(result, "tank").running_degc - row(result, "tank").running_before_degc == pytest.approx(15, abs=0.5)
    rises = [row(result, place).running_degc - row(result, place).running_before_degc for place in ("tank", "pump", "carb_inlet")]
    assert rises[0] > rises[1] > rises[2] > 7.5
    assert any("thermostat" in line for line in assumptions(result, SI))


def test_half_way_to_the_engine_half_of_the_independent_share_counts():
    """By hand: 60 degC in air of 30 is half-way to the engine's 90, so of 15 degC more, half the share that does not follow is missing."""
    least, greatest = (15 * (1 - 0.5 * share) for share in FOLLOWS[::-1])
    course = replace(of_session(driven("queue")), ambient_degc=30.0)
    grid = Grid.of(course, list(course.degc))
    grid.degc["pump"][:] = 60.0
    changed = Changed(grid, CAR, Draws())
    changed.hotter(15)
    assert np.mean(changed.degc["pump"]) == pytest.approx(60 + (least + greatest) / 2, abs=0.05)
    assert np.std(changed.degc["pump"]) == pytest.approx(np.hypot((greatest - least) / np.sqrt(12), 0.03 * 15), rel=0.05)
    said = assumption_words.sentence(changed.assumptions[0], Shown("us"))
    assert "194 °F" in said
    assert "°C" not in said


def test_more_altitude_lowers_limits_by_the_published_rule(drive):
    pump = row(one(drive, Change("a pass", higher_m=1500)), "pump")
    fall = pump.margin_before_degc - pump.margin_degc
    # ASTM D4814, 5.2.1: 4.4 degC per 1000 m; mixtures 4.7
    tank = row(one(drive, Change("a pass", higher_m=1500)), "tank")  # no boiling there, which would lower the temperature too
    assert 4.2 * 1.5 <= tank.margin_before_degc - tank.margin_degc <= 4.9 * 1.5
    assert tank.margin_u_degc == pytest.approx(0.06 * (tank.margin_before_degc - tank.margin_degc), rel=0.01)  # 200 draws
    assert 0 < fall <= 4.9 * 1.5
    assert pump.running_degc == pump.running_before_degc


def test_a_cooler_works_while_fuel_flows_and_relative_to_the_existing_one(drive):
    session = drive
    result = one(session, Change("a cooler", cooler_effectiveness=0.6, cooler_before="carb_inlet"))
    inlet = row(result, "carb_inlet")
    # 60 % of the way to air at 33 degC (3 above outside), from the reading less half of the heat that may be taken up after the
    # cooler
    rise = inlet.running_before_degc - row(result, "pump").running_before_degc
    assert inlet.running_degc == pytest.approx(
        inlet.running_before_degc - 0.6 * (inlet.running_before_degc - rise / 2 - 33.0), abs=1.0
    )
    assert inlet.running_u_degc == pytest.approx(0.6 * np.hypot(rise / np.sqrt(12), COOLANT_U_DEGC), abs=0.3)
    assert row(result, "pump").running_degc == row(result, "pump").running_before_degc
    assert result.power_square_root_percent > 0
    assert result.power_ceiling_percent > result.power_square_root_percent
    assert any("effectiveness of 0.6" in line for line in assumptions(result, SI))
    said = sentences(result, Shown(CAR.units))
    stays = said[0]  # at the pump, before the cooler
    assert "the fuel would stay" in stays and "beyond its limit at the pump" in stays
    assert said[1].startswith("At the carb inlet the fuel would come to")
    for other in (Change("a hotter day", hotter_degc=10), Change("a pass", higher_m=1000), Change("winter fuel", fuel=WINTER)):
        assert np.isnan(one(drive, other).power_ceiling_percent)  # air and fuel affect power more than the fuel's temperature


def test_an_engine_stands_order_of_magnitude():
    """Common practice, no source: fuel near 118 degF brought to about 74 degF made roughly 0.7 % more power in a large V8; single pulls prove nothing."""
    from hotfuel.study.power.expectation import expectation
    from hotfuel.units import parse

    cooler = parse("118 degF", "temperature") - parse("74 degF", "temperature")
    allowed = expectation(cooler)
    assert allowed.square_root_percent / 2 <= 0.7 <= allowed.ceiling_with_friction_percent
    assert 0.3 <= expectation(parse("118 degF", "temperature") - parse("65 degF", "temperature")).square_root_percent <= 1.5


def test_another_fuel_changes_limits_and_boiling_limits_the_temperature(drive):
    result = one(drive, Change("winter fuel", fuel=WINTER))
    tank, pump = row(result, "tank"), row(result, "pump")
    assert (tank.hottest_degc, tank.boils) == (tank.hottest_before_degc, False)
    own, other = drive.car.fuel(), WINTER
    expected = float(own.limit_degc(95.0) - other.limit_degc(95.0))
    assert tank.margin_before_degc - tank.margin_degc == pytest.approx(expected, abs=1.0)
    assert tank.margin_u_degc == pytest.approx(np.hypot(own.limit_uncertainty_degc, other.limit_uncertainty_degc), rel=0.01)
    assert pump.boils
    # by hand: the uncertainty of both fuels' limits, and how much boiling limits the temperature
    assert pump.margin_u_degc == pytest.approx(np.hypot(tank.margin_u_degc, pump.hottest_u_degc), rel=0.1)
    assert pump.hottest_u_degc > tank.margin_u_degc
    assert pump.hottest_degc < pump.hottest_before_degc
    assert any("boiling takes up heat" in line for line in assumptions(result, SI))
    assert any("boiling itself holds the temperature down" in line for line in sentences(result, SI))


def test_a_pump_in_the_tank_helps_the_line_while_the_engine_runs(drive):
    result = one(drive, Change("a pump in the tank", submerged_pump=True))
    assert any("stands under its pressure while it runs" in line for line in assumptions(result, SI))
    # Standing after the stop nothing holds the pressure: the smallest margin of the soak is at most what the air's pressure
    # allows.
    assert row(result, "pump").margin.least < 0
    assert row(result, "pump").phase in ("hot soak", "restart")
    said = sentences(result, SI)
    assert (
        "of the whole car would be" in said[0]
        and first_words.interval(result.smallest.degc, SI, ("more room", "less room")) in said[0]
    )
    tank = row(result, "tank")
    less = round(tank.margin_before_degc - tank.margin_degc)
    assert f"The tank has {less} °C less room, because its fuel then has the limit of a pump's suction." in said
    # between none and all of the rise to the old pump goes, with the heat of its outlet side, less the new one's: cooler, with a
    # real uncertainty
    rise = row(result, "pump").running_before_degc - row(result, "tank").running_before_degc
    inlet = row(result, "carb_inlet")
    assert 0.1 * rise < inlet.running_before_degc - inlet.running_degc < rise
    assert 0.15 * rise < inlet.running_u_degc < 0.5 * rise


def test_without_a_probe_at_the_pump_its_heat_is_only_an_uncertainty():
    inlet = row(one(lost("queue", "tank", "pump"), Change("a pump in the tank", submerged_pump=True)), "carb_inlet")
    assert abs(inlet.running_degc - inlet.running_before_degc) < 0.5 * inlet.running_u_degc  # the new pump's own heat
    assert 5 < inlet.running_u_degc < 10


def lost(name, *places, every=1):
    """The drive with these probes lost, all the time or every so many seconds."""
    course = of_session(driven(name))
    gone = np.arange(len(course.time_s)) % every == 0
    return replace(course, degc={p: np.where(gone & (p in places), np.nan, v) for p, v in course.degc.items()})


def test_lost_probes_do_not_affect_the_other_places():
    changes = [
        Change("c", cooler_effectiveness=0.5, cooler_before="pump"),
        Change("p", submerged_pump=True),
        Change("i", insulation_share=0.5, insulated_before="pump"),
        Change("h", hotter_degc=10),
        Change("f", fuel=WINTER),
    ]
    whole = room.forecast(driven("queue"), changes)
    now_and_then = room.forecast(lost("queue", "pump", "tank", every=7), changes)
    for one_whole, one_gappy in zip(whole, now_and_then, strict=True):
        a, b = row(one_whole, "carb_inlet"), row(one_gappy, "carb_inlet")
        assert b.running_degc == pytest.approx(a.running_degc, abs=0.3)
        assert b.hottest_degc == pytest.approx(a.hottest_degc, abs=0.5)
    inlet = row(room.forecast(lost("queue", "tank"), [changes[1]])[0], "carb_inlet")
    assert abs(inlet.running_degc - inlet.running_before_degc) < 0.5 * inlet.running_u_degc
    assert inlet.running_u_degc > 5  # the old pump's heat is unknown
    assert np.isnan(row(room.forecast(lost("queue", "tank"), [changes[3]])[0], "tank").hottest_degc)
    for change in (changes[0], changes[2]):
        with pytest.raises(InputError, match="no reading of tank"):
            room.forecast(lost("queue", "tank"), [change])


def test_insulation_cuts_the_rise_over_the_place_before(drive):
    change = Change("a sleeve", insulation_share=0.5, insulated_before="pump")
    electric = drive.car.model_copy(update={"pump": drive.car.pump.model_copy(update={"kind": "electric_line"})})
    # a pump on the engine heats from inside too
    for car, wall, wall_u in (
        (electric, 1.0, 0.3),
        (drive.car, np.mean(THROUGH_WALL), np.ptp(THROUGH_WALL) / np.sqrt(12)),
    ):
        result = room.forecast(drive, [change], car=car)[0]
        pump, tank = row(result, "pump"), row(result, "tank")
        rise = pump.running_before_degc - tank.running_before_degc
        assert pump.running_before_degc - pump.running_degc == pytest.approx(0.5 * wall * rise, rel=0.15)
        read_u = np.hypot(*(reading_u_degc(of_session(drive), place, car.engine.idle_flow_l_h) for place in ("tank", "pump")))
        # the rise as read is within the error of both probes
        by_hand = np.hypot(wall_u * rise, np.hypot(wall, wall_u) * read_u)
        assert pump.running_u_degc == pytest.approx(0.5 * by_hand, rel=0.15)
        assert tank.running_degc == tank.running_before_degc


def test_sentences_are_in_the_readers_units(drive):
    result = one(drive, Change("a hotter day", hotter_degc=10))
    worst = min(result.rows, key=lambda r: r.margin_degc)
    text = " ".join(sentences(result, Shown("us")))
    decimals = 0 if 1.8 * worst.margin.half >= 1 else 1  # at the precision of the uncertainty printed beside it
    assert f"{1.8 * (worst.margin_before_degc - worst.margin_degc):.{decimals}f} °F less room" in text
    assert "°C" not in text


def test_a_pump_already_in_the_tank_is_reported(drive):
    with pytest.raises(InputError, match="in the tank already"):
        room.forecast(drive, [Change("x", submerged_pump=True)], car=TANK_PUMP_CAR)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("nothing"), "nothing changes nothing"),
        (Change("x", cooler_effectiveness=1.5, cooler_before="pump"), "above 0 to 1"),
        (Change("x", cooler_effectiveness=0.5, cooler_before="tank"), "choose among pump, carb inlet"),
        (Change("x", insulation_share=0.5, insulated_before="roof"), "choose among pump, carb inlet"),
        (Change("x", hotter_degc=80), "-20 to 40"),
        (Change("x", higher_m=9000), "-4000 to 5000"),
    ],
)
def test_bad_input_is_one_sentence(drive, change, words):
    with pytest.raises(InputError, match=words):
        one(drive, change)


def test_a_refused_car_file_is_named_with_its_reason():
    without = Course(
        "x",
        np.zeros(1),
        {},
        {},
        {},
        (),
        0.0,
        car_refused='car.toml: place[2].rol is not a known key, did you mean "role"?.\nmore',
    )
    assert str(without.without_car("nothing is known")) == (
        'x has no usable car file (car.toml: place[2].rol is not a known key, did you mean "role"?), so nothing is known: give one'
    )
