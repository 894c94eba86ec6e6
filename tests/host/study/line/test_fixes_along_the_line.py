"""Fixes in a forecast: coolers by NTU, ice until it is melted, a return that changes the tank, several together, and what to try first."""

import zlib
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.report import first_words, forecast_words
from hotfuel.study.fixes.came import SIZED
from hotfuel.study.line import first
from hotfuel.study.line.change import Change
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.cooler import capacity_flow_w_k
from hotfuel.study.line.cooling import Cooling
from hotfuel.study.line.draws import DRAWS, Draws, Interval
from hotfuel.study.line.following import Following
from hotfuel.study.line.forecast import forecast
from hotfuel.study.line.grid import Grid
from hotfuel.study.line.unknown import Unknown, What
from hotfuel.units import Shown
from ht import effectiveness_from_NTU
from steady_drive import CAR, COUNT, INLET_DEGC, PUMP_DEGC, TANK_DEGC, steady

SI = Shown("si")
RETURN = load(
    EXAMPLE.replace("# return_flow", "return_flow").replace('"20 L/h"', '"60 L/h"').replace('full_flow = "75', 'full_flow = "150')
)


def row(result, place):
    return next(r for r in result.rows if r.place == place)


@pytest.mark.parametrize("rpm", [800.0, 2000.0, 4500.0])
@pytest.mark.parametrize("effectiveness", [0.2, 0.6, 0.9])
def test_effectiveness_falls_with_flow_as_in_the_ht_library(rpm, effectiveness):
    course = steady(rpm=rpm)
    changed = Changed(Grid.of(course, list(course.degc)), CAR, Draws())
    made = Cooling(
        changed,
        Change("x", cooler_effectiveness=effectiveness, cooler_flow_l_h=12.65, cooler_before="carb_inlet", coolant_degc=20.0),
    )
    ntu = -np.log1p(-effectiveness)
    for n in (0, 57, 199):  # draws of the flow and of the power with which UA follows it
        flow = changed.litres_h[n, 0]
        exponent = np.log(-np.log1p(-made.share[n, 0]) / ntu) / np.log(flow / 12.65) + 1
        assert -1e-6 <= exponent <= 0.8 + 1e-6
        theirs = effectiveness_from_NTU(ntu * (flow / 12.65) ** (exponent - 1), 0.0, subtype="boiler")
        assert made.share[n, 0] == pytest.approx(theirs, rel=1e-9)
    told = np.median(made.share)
    assert (
        (told < effectiveness)
        if rpm > 3000
        else (told > effectiveness)
        if rpm < 1000
        else told == pytest.approx(effectiveness, abs=0.03)
    )


def test_a_return_carries_an_ice_cans_cold_into_the_tank():
    """Against a separate balance, second by second: 20 L, 60 L/h back, 0.8 of the difference kept, 1.4 per hour to the air (EPA MOVES)."""
    change = Change("x", cooler_effectiveness=0.5, cooler_before="carb_inlet", coolant="ice", ice_kg=50.0, tank_l=20.0)
    plain, back = (forecast(steady(car), [change])[0] for car in (CAR, RETURN))
    assert row(plain, "tank").running_degc == TANK_DEGC  # nothing comes back there
    tank = TANK_DEGC
    lowest = []
    for _ in range(COUNT):
        before = INLET_DEGC - 0.5 * (INLET_DEGC - PUMP_DEGC) - 0.9 * (TANK_DEGC - tank)
        inlet = before * 0.5 + 0.5 * (INLET_DEGC - PUMP_DEGC)
        was = INLET_DEGC - TANK_DEGC  # the old return brought that back already
        tank += 60 / 20 / 3600 * 0.8 * ((inlet - tank) - was) + 1.4 / 3600 * (TANK_DEGC - tank)
        lowest.append(tank)
    found = row(back, "tank")
    assert TANK_DEGC - np.median(lowest) > 5
    assert found.running.least < np.median(lowest) < found.running.greatest
    assert row(back, "pump").running_degc < row(plain, "pump").running_degc - 3
    assert row(back, "pump").running.half > 0.3  # never known exactly
    assert any("The return carries its heat or cold into 20" in text for text in forecast_words.assumptions(back, SI))


def test_a_new_return_warms_the_tank_and_a_cooler_in_it_does_not():
    warm, pot, cooled = (
        forecast(steady(), [change])[0]
        for change in (
            Change("x", return_l_h=40.0, tank_l=20.0),
            Change("x", return_l_h=40.0, return_to="swirl pot"),
            Change("x", return_l_h=40.0, tank_l=20.0, cooler_effectiveness=0.8, cooler_before="return"),
        )
    )
    assert row(warm, "tank").running.least > TANK_DEGC + 0.3
    assert row(pot, "tank").running_degc > row(warm, "tank").running_degc  # it holds almost nothing
    assert row(cooled, "tank").running_degc < TANK_DEGC
    rise = row(warm, "pump").running_degc - row(warm, "tank").running_degc
    # 12.65 L/h became 52.65: a quarter of it, more where the film coefficient rises
    assert 0.2 * (PUMP_DEGC - TANK_DEGC) < rise < 0.8 * (PUMP_DEGC - TANK_DEGC)


def test_ice_lasts_until_its_latent_heat_is_used_up():
    """1 kg takes up 333.55 kJ; 12.65 L/h x 0.74 x 2100 J cooled from 47 by 0.8 x 47 degC are 205 W, with 1 to 3 W/K through the wall: 18 to 27 min."""
    course = steady()
    changed = Changed(Grid.of(course, list(course.degc)), CAR, Draws())
    made = Cooling(changed, Change("x", cooler_effectiveness=0.8, cooler_before="carb_inlet", coolant="ice", ice_kg=1.0))
    drop = made.drop(np.full((DRAWS, len(changed.grid.on)), INLET_DEGC), np.zeros((1, 1)))
    gone_min = np.array([np.argmax(d < d[0] - 0.5) * 5 / 60 if (d < d[0] - 0.5).any() else 25.0 for d in drop])
    assert 14 < np.median(gone_min) < 27
    timed = Cooling(changed, Change("x", cooler_effectiveness=0.8, cooler_before="carb_inlet", coolant="ice", ice_minutes=10.0))
    drop = timed.drop(np.full((DRAWS, len(changed.grid.on)), INLET_DEGC), np.zeros((1, 1)))
    assert (drop[:, 100] > 20).all()
    assert (drop[:, 125:] == 0).all()


def test_two_fixes_together_do_more_than_either_and_less_than_their_sum():
    cooler = {"cooler_effectiveness": 0.5, "cooler_before": "carb_inlet"}
    sleeve = {"insulation_share": 0.5, "insulated_before": "carb_inlet"}
    gained = [
        INLET_DEGC - row(forecast(steady(), [Change("x", **v)])[0], "carb_inlet").running_degc
        for v in (cooler, sleeve, cooler | sleeve)
    ]
    assert max(gained[:2]) < gained[2] < sum(gained[:2])


def test_the_same_fix_at_two_places_acts_at_both():
    pump, inlet = (
        {"insulation_share": 0.5, "insulated_before": "pump"},
        {"insulation_share": 0.5, "insulated_before": "carb_inlet"},
    )
    spacers = {"spacer_share": 0.5, "spacer_under": "carburettor", "also_spaced": (("pump", 0.5),)}
    asked = (pump, inlet, pump | {"also_insulated": (("carb_inlet", 0.5),)}, spacers, {"spacer_share": 0.5})
    first_only, second, both, spaced, spacer = forecast(steady(), [Change("x", **values) for values in asked])
    fall = [INLET_DEGC - row(one, "carb_inlet").running_degc for one in (first_only, second, both)]
    assert fall[2] > max(fall[:2]) + 0.5
    assert row(both, "pump").running_degc == row(first_only, "pump").running_degc
    assert row(spaced, "pump").running_degc == row(spacer, "pump").running_degc < PUMP_DEGC
    assert len(both.assumptions) == len(first_only.assumptions) + 1  # each is reported


def test_a_pumps_heat_comes_with_the_fuel_that_it_warmed():
    """A cold car that idles and drives by turns. By hand: 11 W settle at 11 / (C flow); 0.2 L of line and metal follow with 3600 x 0.2 L / flow seconds."""
    rpm = np.where((np.arange(COUNT) // 300) % 2, 2000.0, 750.0)
    course = steady(rpm=rpm, tank=20.0, pump=20.0, carb_inlet=20.0)
    grid = Grid.of(course, list(course.degc))
    following = Following(Changed(grid, CAR, Draws()), Change("x", submerged_pump=True))
    warmer = np.median(following._electric("pump"), axis=0)
    settled = 11.0 / capacity_flow_w_k(grid.litres_h)
    idle, drive = settled[30], settled[90]
    assert idle / drive == pytest.approx(2000 / 750, rel=0.01)
    assert warmer[0] == pytest.approx(idle, rel=0.1)  # it ran before the session began
    fell = warmer[60:120]  # with the drive's flow, from the second turn on
    assert fell[-1] == pytest.approx(drive, rel=0.15)
    tau_s = 3600 * 0.2 / grid.litres_h[90]
    after = warmer[60 + round(tau_s / 5)]
    assert after == pytest.approx(drive + (warmer[59] - drive) / np.e, rel=0.2)
    assert np.abs(np.diff(warmer)).max() < 0.25 * (idle - drive)  # no step, as before the fuel of the line was counted
    (result,) = forecast(course, [Change("x", submerged_pump=True)])
    for place in ("pump", "carb_inlet"):
        curve = result.curves[place]
        assert np.abs(np.diff(curve.greatest_degc)).max() < 1.0, place


def test_what_to_try_first_groups_equal_fixes_and_gives_their_effort():
    tried = first.try_first(steady(pump=52.0))
    assert [one.group for one in tried] == sorted(one.group for one in tried)
    gains = [float(np.median(one.told.gains)) for one in tried]
    assert gains == sorted(gains, reverse=True)
    leader = tried[0]
    for one in tried:
        better = float(np.mean(leader.told.gains > one.told.gains + 0.05))
        if one.group == 1:
            assert better < 0.975  # not clearly worse than the best
    said = "\n".join(first_words.sentences(tried, SI))
    best = [first_words.name(one) for one in first_words.by_outlook(tried, SI).best]
    assert said.startswith("Try first one of these " if len(best) > 1 else "Try first: ")
    assert all(name in said.partition("\n")[0] for name in best)
    nothing = [one for one in tried if not first.helps([one])]
    assert first_words.sentences([replace(one, group=1) for one in nothing], SI)[0].startswith("None of the fixes")
    assert first_words.interval(Interval(-1.6, 0.2, 2.4), SI, ("cooler", "hotter")) == "no change (2 °C hotter to 2 °C cooler)"
    assert (
        first_words.interval(Interval(-16.0, -1.0, 2.0), SI, ("more room", "less room"))
        == "1 °C less room (16 °C less to 2 °C more)"
    )
    assert (
        first_words.interval(Interval(-6.0, 7.0, 10.0), SI, ("more room", "less room"))
        == "7 °C more room (6 °C less to 10 °C more)"
    )
    useless = said[said.index("These would not help here") :]
    for one in tried:
        assert (f"  {first_words.name(one)}: " in useless) == (one not in first_words.helping(tried, SI))
    assert "no more room" in useless and " more room (" not in useless
    assert "ice to carry, meltwater to drain" in said
    assert "common practice, no source" in said
    assert "it depends on where its air goes" in said
    # a pump that is the hottest place: nothing after it changes the smallest margin
    behind = next(one for one in tried if one.fix.kind == "ice")
    assert behind.told.smallest.place == "pump"
    assert behind.told.smallest.degc.greatest == 0
    with_pump = next(one for one in tried if one.fix.kind == "spacer")
    assert with_pump.told.smallest.degc.middle > 0
    assert with_pump.told.smallest.degc.carried_by


def test_every_fix_to_try_first_has_its_words_and_those_that_can_be_sized_the_kind_of_ones_own_fixes():
    assert set(first_words.WORDS) == set(first.KIND) == set(first.Which)
    assert set(SIZED) <= set(first.KIND.values())


def test_a_session_far_from_the_limit_says_that_its_order_means_little():
    far = steady(tank=20.0, pump=22.0, carb_inlet=24.0)
    no_stop, degc = first.little_to_tell(far, first.try_first(far))
    assert no_stop and degc > 20
    assert first_words.caution(no_stop, degc, SI).startswith(
        f"This session holds no hot stop and came no nearer to boiling than {degc:.0f} °C, "
    )
    assert first_words.caution(False, np.nan, SI) == ""
    near = steady(pump=75.0)
    assert np.isnan(first.little_to_tell(near, first.try_first(near))[1])


def test_the_same_assumption_uses_the_same_draws_for_every_change():
    one, again = Draws(), Draws()
    flow, pump, inlet = Unknown(What.FLOW), Unknown(What.PROBE, "pump"), Unknown(What.PROBE, "carb_inlet")
    assert np.array_equal(one.unit(flow), again.unit(flow))
    column = one.between(pump, 2.0, 4.0)
    assert np.sort(column[:, 0]) == pytest.approx(2 + 2 * (np.arange(DRAWS) + 0.5) / DRAWS)
    other = one.normal(inlet, 0.0, 1.0)
    assert not np.array_equal(np.argsort(column[:, 0]), np.argsort(other[:, 0]))
    assert one.interval(column[:, 0] * 3).carried_by == pump
    assert one.interval(column[:, 0] + 5 * other[:, 0]).carried_by == inlet
    assert one.interval(np.full(DRAWS, 3.0)).carried_by is None
    assert again.interval(column[:, 0] * 3).carried_by == flow  # of what was drawn there


def test_the_seeds_stay_so_that_a_forecast_made_again_has_the_same_figures():
    seeds = {
        Unknown(What.FLOW): "flow",
        Unknown(What.PROBE, "carb_inlet"): "reading carb_inlet",
        Unknown(What.THIS_CAR, What.INSULATION): "own insulation",
        Unknown(What.BOILED_STANDING, "True"): "boiled standing True",
        Unknown(What.EFFECTIVENESS): "cooler",
        Unknown(What.UA): "cooler",
        Unknown(What.FLOW_WITHIN, "pump idling"): "own pump idling",
        Unknown(What.ELSEWHERE, "metal at pump"): "metal at pump",
    }
    assert {one: one.seed for one in seeds} == seeds
    order = np.random.default_rng(zlib.crc32(b"reading carb_inlet")).permutation(DRAWS)
    assert Draws().unit(Unknown(What.PROBE, "carb_inlet"))[:, 0] == pytest.approx((order + 0.5) / DRAWS, abs=0)
    plain = [one.value for one in What if one not in (What.EFFECTIVENESS, What.UA, What.FLOW_WITHIN, What.ELSEWHERE)]
    assert [Unknown(What(value)).seed for value in plain] == plain


def test_a_forecast_of_a_longer_stop_needs_a_stop():
    with pytest.raises(InputError, match="no hot stop"):
        forecast(steady(), [Change("x", stop_min=20)])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("x", cooler_effectiveness=0.5, cooler_before="return"), "needs a return line"),
        (Change("x", pump_moved=True, submerged_pump=True), "in the tank or near it, not both"),
        (Change("x", spacer_share=0.5, submerged_pump=True), "no pump is left on the engine"),
        (Change("x", spacer_share=0.5, also_spaced=(("roof", 0.5),)), "allowed are pump and carburettor"),
        (Change("x", spacer_share=0.5, spacer_under="roof"), "allowed are pump and carburettor"),
        (Change("x", return_l_h=900.0), "allowed is 0.5 to 400"),
        (Change("x", return_l_h=20.0, return_to="roof"), "allowed are tank and swirl pot"),
        (Change("x", cooler_ua_w_k=5.0, cooler_before="carb_inlet"), "outside temperature"),
    ],
)
def test_bad_input_is_one_sentence(change, words):
    with pytest.raises(InputError, match=words) as caught:
        forecast(replace(steady(), ambient_degc=np.nan), [change])
    assert "\n" not in str(caught.value)
