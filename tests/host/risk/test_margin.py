"""Margins: the fuel's limit at the local pressure, one criterion per place, states, uncertainty, notes."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.places import ROLES
from hotfuel.risk.criterion import criterion
from hotfuel.risk.level import Level
from hotfuel.risk.limit import limit_at
from hotfuel.risk.margin import Channel, margins
from hotfuel.risk.pressure import Conditions
from hotfuel.risk.remarks import NoLimit
from hotfuel.units import Shown

FUEL = '[fuel]\nvapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nt90 = "165 degC"\n'
SEA = Conditions(running=1, ambient_pressure_kpa=101.325)


def car(text=""):
    return car_file.load(FUEL + text)


@pytest.fixture(scope="module")
def fuel():
    return car().fuel()


def test_margin_is_limit_minus_temperature_at_each_place(fuel):
    table = margins(car(), fuel, {"tank": [30.0, 40.0], "pump": [50.0, 60.0]}, SEA)
    tank = table["tank"]
    assert tank.limit_degc == pytest.approx([60.67, 60.67], abs=0.05)  # ASTM D4814 equation for this fuel at sea level
    assert tank.margin_degc == pytest.approx(tank.limit_degc - [30, 40])
    assert set(table.places) == {"tank", "pump"}
    assert np.all(table["pump"].limit_degc < tank.limit_degc)
    assert table.smallest == ("pump", pytest.approx(float(table["pump"].margin_degc[1])))


def test_limits_agree_with_the_direct_flash(fuel):
    air = np.linspace(65, 105, 30)
    table = margins(car('[pump]\npressure = "6 psi"\npressure_full = "6 psi"\n'), fuel, {"tank": np.full(30, 50.0), "carb_inlet": np.full(30, 64.0)},
                    Conditions(running=1, ambient_pressure_kpa=air))  # fmt: skip
    assert table["tank"].limit_degc == pytest.approx(fuel.limit_degc(air, 20.0), abs=0.05)
    assert table["carb_inlet"].limit_degc == pytest.approx(fuel.limit_degc(air + 41.3685, 20.0), abs=0.05)
    assert table["carb_inlet_needle"].limit_degc == pytest.approx(fuel.needle_limit_degc(air + 41.3685, air, 20.0), abs=0.1)
    direct = fuel.vapour_liquid_ratio(np.full(30, 50.0), air)
    assert table["tank"].vapour_liquid_ratio == pytest.approx(np.minimum(direct, 40), abs=0.1)
    needle = fuel.isenthalpic_vapour_liquid_ratio(np.full(30, 64.0), air + 41.3685, air)
    assert table["carb_inlet_needle"].vapour_liquid_ratio == pytest.approx(np.minimum(needle, 40), abs=0.3)


def test_line_and_needle_are_two_numbers_at_the_carburettor(fuel):
    # own trial of this fuel: in the line at 6 psi and 65 degC the margin is 10 degC; behind the needle V/L is near 12, where an
    # isothermal flash would give 34
    table = margins(car('[pump]\npressure = "6 psi"\npressure_full = "6 psi"\n'), fuel, {"carb_inlet": [65.0]}, SEA)
    assert table["carb_inlet"].margin_degc[0] == pytest.approx(10, abs=1)
    assert table["carb_inlet_needle"].vapour_liquid_ratio[0] == pytest.approx(11.7, abs=1.5)
    assert fuel.vapour_liquid_ratio(65.0, 101.325) == pytest.approx(34, abs=2)


def test_after_a_stop_the_lines_limit_drops_at_once(fuel):
    a_car = car('[pump]\npressure = "6 psi"\npressure_full = "6 psi"\n')
    conditions = Conditions(running=[1, 0], ambient_pressure_kpa=101.325)
    assert margins(a_car, fuel, {"carb_inlet": [65.0, 65.0]}, conditions)["carb_inlet"].limit_degc == pytest.approx(
        [75.0, 60.7], abs=0.7
    )


def test_warn_is_within_the_uncertainty_and_act_at_the_central_estimate(fuel):
    probe = margins(car(), fuel, {"tank": [20.0]}, SEA)["tank"]
    limit, uncertainty = probe.limit_degc[0], probe.uncertainty_degc[0]
    temperatures = limit - np.array([1.02 * uncertainty, 0.98 * uncertainty, 0.01, -0.01, np.nan])
    assert margins(car(), fuel, {"tank": temperatures}, SEA)["tank"].state.tolist() == [
        Level.QUIET,
        Level.WARN,
        Level.WARN,
        Level.ACT,
        Level.LOST,
    ]


def test_clamp_on_probes_never_act_and_rubber_has_no_margin(fuel):
    text = '[[place]]\nname = "pump"\nchannel = 0\nrole = "pump"\nprobe = {{ mount = "{}" }}\n'
    metal = margins(car(text.format("clamp_metal")), fuel, {"pump": [80.0]}, SEA)
    assert metal["pump"].state[0] == Level.WARN
    assert any("indicative" in note for note in metal.notes)
    rubber = margins(car(text.format("clamp_rubber")), fuel, {"pump": [80.0]}, SEA)
    assert rubber["pump"].state[0] == Level.NO_MARGIN
    assert np.isnan(rubber["pump"].margin_degc[0])
    assert any("rubber" in note for note in rubber.notes)


def test_pump_kind_sets_the_criterion(fuel):
    limits = {}
    for kind in ("mechanical", "electric_line", "electric_submerged"):
        a_car = car(f'[pump]\nkind = "{kind}"\n[suction]\nsuction_idle = "0 kPa"\nsuction_full = "0 kPa"\nrigid_length = "0 m"\n')
        row = margins(a_car, fuel, {"pump": [30.0]}, Conditions(running=1, ambient_pressure_kpa=88.0))["pump"]
        limits[kind] = row.limit_degc[0]
        assert "assumption" in row.criterion.text
    # own trial on this fuel at 88 kPa: V/L 4 at 50.4, 20 at 55.2 degC
    assert limits == pytest.approx({"mechanical": 55.2, "electric_line": 50.4, "electric_submerged": 50.4}, abs=0.4)
    assert criterion(car(), ROLES["bowl"]).vapour_liquid_ratio == 2
    assert criterion(car("[pump]\nvapour_liquid_ratio = 10\n"), ROLES["pump"]).vapour_liquid_ratio == 10


def test_uncertainty_is_the_root_of_the_sum_of_squares_and_calibration_shrinks_it(fuel):
    plain = margins(car(), fuel, {"tank": [30.0]}, SEA)["tank"].uncertainty_degc[0]
    better = margins(car(), fuel, {"tank": [30.0]}, SEA, {"tank": Channel(calibration_uncertainty_degc=0.2)})[
        "tank"
    ].uncertainty_degc[0]
    assert 1.5 < better < plain < 4
    fast = Conditions(running=1, ambient_pressure_kpa=101.325, flow_l_h=[3.0, 60.0])
    slow, quick = margins(car(), fuel, {"pump": [30.0, 30.0]}, fast)["pump"].uncertainty_degc
    assert slow > quick


@pytest.mark.parametrize(
    ("line", "bowl"), [(101.3, 101.3), (84.0, 84.0), (110.0, 101.3), (136.7, 95.3), (300.0, 101.3), (97.0, 92.0)]
)
def test_the_limits_uncertainty_combines_its_terms_at_the_samples_own_pressure(fuel, line, bowl):
    def terms(limit):
        """Fuel, extrapolation, criterion, pressure, by the direct flash. limit(kPa added, V/L)."""
        span = limit(0.0, 36.0) - limit(0.0, 10.0)
        slope = (limit(1.0, 20.0) - limit(-1.0, 20.0)) / 2
        from_sea_level = limit(0.0, 20.0) - limit(101.325 - bowl, 20.0)
        return fuel.limit_uncertainty_degc**2 + (0.06 * from_sea_level) ** 2 + span**2 / 12 + (slope * 0.9) ** 2

    for needle, limit in (
        (False, lambda up, ratio: float(fuel.limit_degc(bowl + up, ratio))),
        (True, lambda up, ratio: float(fuel.needle_limit_degc(line + up, bowl + up, ratio))),
    ):
        kpa = [np.array([line]), np.array([bowl])] if needle else [np.array([bowl])]
        ours = limit_at(fuel, criterion(car(), ROLES["needle"]), needle).at(*kpa)
        assert ours[0] == pytest.approx(limit(0.0, 20.0), abs=0.05)
        assert np.sqrt(ours[2] + (ours[3] * 0.9) ** 2) == pytest.approx(np.sqrt(terms(limit)), abs=0.05)


def test_an_unknown_engine_state_is_reported(fuel):
    table = margins(car(), fuel, {"pump": [30.0, 30.0]}, Conditions(running=[1, np.nan], ambient_pressure_kpa=95.0))
    assert "not known in 50 %" in table.engine_note
    assert "not known throughout" in margins(car(), fuel, {"pump": [30.0]}).engine_note


def test_constant_pressures_give_the_same_as_sample_by_sample(fuel):
    generator = np.random.default_rng(5)
    air = np.repeat(generator.uniform(80, 100, 20), generator.integers(1, 9, 20))
    n = air.size
    temperatures = generator.uniform(40, 80, n)
    running = (generator.random(n) > 0.5).astype(float)
    whole = margins(car(), fuel, {"carb_inlet": temperatures}, Conditions(running=running, ambient_pressure_kpa=air))
    for i in range(0, n, 7):
        one = margins(car(), fuel, {"carb_inlet": [temperatures[i]]}, Conditions(running=running[i], ambient_pressure_kpa=air[i]))
        for name in ("carb_inlet", "carb_inlet_needle"):
            for column in ("limit_degc", "margin_degc", "uncertainty_degc", "vapour_liquid_ratio", "state"):
                assert getattr(one[name], column)[0] == pytest.approx(getattr(whole[name], column)[i], abs=1e-9), (name, column)


def test_scalars_empty_arrays_and_pressures_beyond_the_table(fuel):
    assert margins(car(), fuel, {"tank": 30.0}, SEA)["tank"].margin_degc.shape == ()
    assert margins(car(), fuel, {"tank": []}, SEA)["tank"].state.shape == (0,)
    for air_kpa, level in (
        (26.0, Level.QUIET), (24.9, Level.LOW_PRESSURE), (0.1, Level.LOW_PRESSURE), (0.0, Level.IMPOSSIBLE_PRESSURE), (501.0, Level.NO_MARGIN)
    ):  # fmt: skip
        table = margins(car(), fuel, {"tank": [-10.0]}, Conditions(running=1, ambient_pressure_kpa=air_kpa))
        beyond = table["tank"]
        assert beyond.state[0] == level
        assert np.isnan(beyond.margin_degc[0]) == (level != Level.QUIET)
        assert any(note.startswith("tank") for note in table.notes) == (level != Level.QUIET), (
            "a missing limit must always be reported"
        )


def test_air_probes_have_no_margin_and_unknown_places_are_an_error(fuel):
    a_car = car('[[place]]\nname = "air"\nchannel = 0\nrole = "air"\n[[place]]\nname = "tank"\nchannel = 1\nrole = "tank"\n')
    assert set(margins(a_car, fuel, {"air": [30.0], "tank": [30.0]}, SEA).places) == {"tank"}
    with pytest.raises(InputError, match="air, tank"):
        margins(a_car, fuel, {"pump": [30.0]}, SEA)
    with pytest.raises(InputError, match="do not fit"):
        margins(a_car, fuel, {"tank": [30.0, 31.0]}, Conditions(running=1, ambient_pressure_kpa=[95.0, 96.0, 97.0]))


def test_states_are_plain_words_without_a_promise():
    words = " ".join(level.words for level in Level).lower()
    assert not any(promise in words for promise in ("ok", "safe", "good", "normal"))


def test_the_pressures_own_uncertainty_is_in_the_margins(fuel):
    # the same air by a barometer (0.3 kPa) and by the standard atmosphere (1.2 kPa of weather): slope^2 (1.2^2 - 0.3^2) apart
    a_car = car_file.load('altitude = "0 m"\n' + FUEL)
    guessed = margins(a_car, fuel, {"tank": [50.0]}, Conditions(running=0))["tank"].uncertainty_degc[0]
    measured = margins(a_car, fuel, {"tank": [50.0]}, Conditions(running=0, ambient_pressure_kpa=101.325))[
        "tank"
    ].uncertainty_degc[0]
    slope = float(fuel.limit_degc(102.325) - fuel.limit_degc(100.325)) / 2
    assert guessed**2 - measured**2 == pytest.approx(slope**2 * (1.2**2 - 0.3**2), rel=0.03)


def test_a_remark_keeps_its_pressure_as_a_number_and_is_read_in_the_readers_units(fuel):
    found = margins(car(), fuel, {"tank": [-10.0]}, Conditions(running=1, ambient_pressure_kpa=20.0))
    (one,) = [remark for remark in found.remarks if isinstance(remark, NoLimit)]
    assert one == NoLimit("tank", Level.LOW_PRESSURE)
    assert one.text(Shown("si")) == "tank: pressure too low for a limit (under 25 kPa); it counts as beyond the limit"
    assert one.text(Shown("us")) == "tank: pressure too low for a limit (under 3.6 psi); it counts as beyond the limit"
    assert NoLimit("tank", None).text(Shown("us")) == "tank: no limit is computed above 72.5 psi absolute"
    assert one.text(Shown("us")) in found.notes_in(Shown("us"))
