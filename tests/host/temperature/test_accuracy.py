"""The error budget: classes as published, fin error as calculated by hand, how rows add."""

import numpy as np
import pytest
from hotfuel.car import Place, Probe
from hotfuel.errors import InputError
from hotfuel.temperature.accuracy import budget, placement_share, root_sum_square, tolerance_degc


def probe(**keys):
    return Probe.model_validate(keys)


def place(role="pump", **keys):
    return Place.model_validate({"name": "here", "channel": 0, "role": role, "probe": keys})


@pytest.mark.parametrize(
    ("grade", "degc", "limit"),
    [  # ASTM E230 and IEC 60584-1
        ("E230 standard", 60, 2.2), ("E230 standard", 400, 3.0), ("E230 special", 60, 1.1), ("E230 special", 400, 1.6),
        ("E230 standard", -150, 3.0), ("IEC class 1", 60, 1.5), ("IEC class 2", 60, 2.5), ("IEC class 1", 500, 2.0), ("IEC class 3", -200, 3.0),
    ],
)  # fmt: skip
def test_tolerance_classes(grade, degc, limit):
    assert tolerance_degc(grade, degc)[0] == pytest.approx(limit)


def test_a_grade_has_no_tolerance_outside_its_range():
    with pytest.raises(InputError, match="-200 to 40"):
        tolerance_degc("IEC class 3", 60)


@pytest.mark.parametrize(("sheath", "share"), [("3.2 mm", 0.32), ("1.6 mm", 0.10), ("1.0 mm", 0.03)])
def test_stem_error_at_idle_flow_across_a_three_eighths_line(sheath, share):
    # calculated by hand from the fin equation (adiabatic tip), 10 mm deep, 4 L/h: own calculation, no published value
    assert placement_share(probe(sheath=sheath, depth="10 mm"), 4.0, 0.009525) == pytest.approx(share, abs=0.007)


def test_stem_error_is_small_at_full_flow_and_in_the_run_of_a_tee():
    assert placement_share(probe(), 60.0, 0.009525) < 0.02
    assert placement_share(probe(mount="axial"), 4.0, 0.009525) < 0.01


def test_clamps_at_idle_bare_and_insulated():
    # own calculation with assumed outside films, no published value: 35 % and 6 % of (air - fuel)
    assert placement_share(probe(mount="clamp_metal"), 4.0, 0.008) == pytest.approx(0.35, abs=0.02)
    assert placement_share(probe(mount="clamp_insulated"), 4.0, 0.008) == pytest.approx(0.06, abs=0.01)
    assert np.isnan(placement_share(probe(mount="clamp_rubber"), [4.0, 60.0], 0.008)).all()


def test_a_bare_clamp_at_full_throttle_by_hand():
    # 60 L/h in 8 mm: 0.3316 m/s, Re 3926, Pr 8.75, Nu = 0.023 Re^0.8 Pr^0.3 = 33.07, film 496 W/(m2 K) inside, 30 outside
    assert placement_share(probe(mount="clamp_metal"), 60.0, 0.008) == pytest.approx(30 / (30 + 496.1), rel=1e-3)


@pytest.mark.parametrize("mount", ["stem", "axial", "clamp_metal", "clamp_insulated"])
def test_placement_error_falls_with_flow_and_is_a_share(mount):
    share = placement_share(probe(mount=mount), np.geomspace(0.5, 200, 40), 0.008)
    assert np.all((share > 0) & (share < 1))
    laminar_or_stem = share if "clamp" not in mount else share[share < share[0]]
    assert np.all(np.diff(laminar_or_stem) <= 1e-12)


def test_film_coefficient_agrees_with_another_library():
    conv = pytest.importorskip("ht").conv_external
    # Churchill and Bernstein in the ht library's implementation, gasoline, 1.6 mm cylinder, 4 L/h in 8 mm
    speed = 4.0 / 3.6e6 / (np.pi / 4 * 0.008**2)
    prandtl = 2100 * 0.0005 / 0.12
    film = conv.Nu_cylinder_Churchill_Bernstein(740 * speed * 0.0016 / 0.0005, prandtl) * 0.12 / 0.0016
    by_hand = 1 / np.cosh(np.sqrt(4 * film / (16 * 0.0016)) * 0.010)
    assert placement_share(probe(), 4.0, 0.008) == pytest.approx(by_hand, rel=1e-6)


def test_budget_of_a_standard_probe_adds_up_by_hand():
    rows = {row.name: float(row.uncertainty_degc) for row in budget(place(), flow_l_h=60.0)}
    assert rows["thermocouple wire"] == pytest.approx(2.2 / 3**0.5)
    assert rows["amplifier offset"] == pytest.approx(2.9 / 41.421 / 3**0.5, rel=1e-3)  # 2.9 uV over 41.421 uV/degC at 60 degC
    assert rows["cold junction"] == pytest.approx(0.7 / 3**0.5)
    total = root_sum_square(budget(place(), flow_l_h=60.0))
    assert total == pytest.approx(sum(value**2 for value in rows.values()) ** 0.5)


def test_common_and_independent_parts_make_the_whole():
    rows = budget(place(), flow_l_h=[4.0, 60.0])
    parts = np.hypot(root_sum_square(rows, common=True), root_sum_square(rows, common=False))
    assert parts == pytest.approx(root_sum_square(rows))
    assert root_sum_square(rows).shape == (2,)


def test_calibration_replaces_the_errors_it_measured_and_leaves_the_cold_junction():
    names = {row.name for row in budget(place(extension_wire="type K"), calibration_uncertainty_degc=0.3)}
    assert names == {"calibration", "amplifier noise", "cold junction", "terminals against the chip's sensor", "placement"}
    assert root_sum_square(budget(place(), calibration_uncertainty_degc=0.3, flow_l_h=60)) < root_sum_square(
        budget(place(), flow_l_h=60)
    )


def test_copper_in_the_thermocouple_circuit_dominates_everything():
    assert root_sum_square(budget(place(extension_wire="copper"))) > 4 * root_sum_square(budget(place(extension_wire="type K")))
    rows = {row.name: float(row.uncertainty_degc) for row in budget(place(extension_wire="copper"))}
    assert rows["extension wire of copper"] == pytest.approx(20.0 / 3**0.5)  # a splice up to 20 degC from the box


def test_unknown_amplifier_is_refused_and_the_known_ones_named():
    with pytest.raises(InputError, match="MAX31856 with gain 32"):
        budget(place(), chip="MAX31856", gain=16)
