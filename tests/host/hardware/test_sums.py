"""The pages on supply, probes and errors state what the calculations give."""

import math
import re

import numpy as np
import pytest
from hotfuel.car import Place, Probe
from hotfuel.temperature.accuracy import budget, placement_share, root_sum_square
from read_pages import FIN, ROOT, SETTINGS, SUPPLY, number, page, table


def test_supply_page_states_the_calculated_values():
    text = page("SUPPLY.md")
    assert [number(row[1]) for row in table("SUPPLY.md", ["state", "mA"])[1:]] == [
        pytest.approx(SUPPLY["draw_ma"](state), abs=0.05) for state in ("awake", "asleep")
    ]
    days = float(re.search(r"Days of standing: (\d+)", text).group(1))
    assert days == pytest.approx(SUPPLY["standing_days"](), abs=0.5)
    assert f"{SUPPLY['hold_up_ms']():.0f} ms from a 12 V" in text
    for row in table("SUPPLY.md", ["input", "at"])[1:3]:
        assert number(row[2]) == pytest.approx(SUPPLY["ignition_pin_v"](number(row[1])), abs=0.006)


def test_load_dump_against_the_integral_by_hand():
    # excess current (A e^(-t/tau) - B) until it is zero, integrated on paper
    r1, clamp = SUPPLY["R1_OHM"], SUPPLY["CLAMP_V"]
    assert r1 == 15.0
    tau, ohm, over, below = 0.4 / math.log(10), 4.0 + r1, 87.0, clamp + 0.8 - 14.0
    end = tau * math.log(over / below)
    charge = (over * tau * (1 - below / over) - below * end) / ohm
    square = (
        over**2 * tau / 2 * (1 - (below / over) ** 2) - 2 * over * below * tau * (1 - below / over) + below**2 * end
    ) / ohm**2
    peak, joule_r1, joule_tvs, through = SUPPLY["load_dump"](101.0, 4.0, 0.4)
    assert peak == pytest.approx((over - below) / ohm, rel=1e-6)
    assert joule_tvs == pytest.approx(clamp * charge, rel=1e-3)
    assert through == pytest.approx(square, rel=1e-3)
    assert joule_r1 == pytest.approx(r1 * square, rel=1e-3)


def test_supply_page_states_the_firmwares_own_times():
    text = page("SUPPLY.md")
    assert f"{SETTINGS['ROWS']['after_key_off_min'][0]} min after key-off (`after_key_off_min`)" in text
    assert f"{SETTINGS['ROWS']['low_voltage_mv'][0] / 1000:g} V for 30 s" in text
    power = (ROOT / "firmware" / "power.py").read_text(encoding="utf-8")
    assert re.search(r"^_LOW_MS = const\(30000\)", power, re.M)
    assert re.search(r"^_DOZE_MS = const\(2000\)", power, re.M)


def test_probe_page_states_the_calculated_fin():
    stems = table("PROBES.md", ["sheath", "depth"])[1:]
    assert [[number(cell) for cell in row] for row in stems] == [
        pytest.approx(row, abs=0.051) for row in map(list, FIN["stem_rows"]())
    ]
    lags = table("PROBES.md", ["sheath", "insulated, at idle"])[1:]
    assert [[number(cell) for cell in row] for row in lags] == [
        pytest.approx(row, abs=0.051) for row in map(list, FIN["lag_rows"]())
    ]


def test_two_ways_to_calculate_a_stem_agree():
    for sheath, depth, idle, full in FIN["stem_rows"]():
        probe = Probe.model_validate({"sheath": f"{sheath} mm", "depth": f"{depth} mm"})
        other = 100 * placement_share(probe, [FIN["IDLE_L_H"], FIN["FULL_L_H"]], FIN["BORE_M"])
        assert [idle, full] == pytest.approx(other, rel=0.125, abs=0.15)


def test_fin_against_finite_differences():
    # theta'' = m2 theta, theta(0) = 1, -k theta'(L) = h theta(L): finite differences, 1.6 mm, 10 mm deep, idle flow
    sheath, depth, slices = 0.0016, 0.010, 4000
    film = FIN["film_w_m2_k"](sheath, 4.0)
    step, conductivity = depth / slices, FIN["SHEATH_W_M_K"]
    m2 = 4 * film / (conductivity * sheath)
    low, middle, high = np.ones(slices), np.full(slices, -(2 + m2 * step**2)), np.ones(slices)
    low[-1], middle[-1] = 2.0, middle[-1] - 2 * step * film / conductivity
    right = np.zeros(slices)
    right[0] = -1.0
    for row in range(1, slices):
        factor = low[row] / middle[row - 1]
        middle[row] -= factor * high[row - 1]
        right[row] -= factor * right[row - 1]
    assert right[-1] / middle[-1] == pytest.approx(FIN["stem_share"](sheath, depth, 4.0), rel=1e-4)


def test_clamp_shares_on_the_probe_page():
    bare, insulated = map(float, re.search(r"same bore: (\d+) % bare, (\d+) % well", page("PROBES.md")).groups())
    for mount, share in (("clamp_metal", bare), ("clamp_insulated", insulated)):
        assert 100 * placement_share(Probe.model_validate({"mount": mount}), 4.0, FIN["BORE_M"]) == pytest.approx(share, abs=0.51)


def test_error_budget_page_is_what_the_product_calculates():
    cases = table("ERROR_BUDGET.md", ["case", "probe"])[1:]
    rows = table("ERROR_BUDGET.md", ["source", "A"])
    stated = {row[0].strip("*"): dict(zip(rows[0][1:], row[1:], strict=True)) for row in rows[1:]}
    names = set()
    for case, probe, tolerance, extension, amplifier, calibrated, flow in cases:
        keys = {"tolerance": tolerance, "extension_wire": extension}
        keys["mount"] = next(
            mount
            for word, mount in (("stem", "stem"), ("axial", "axial"), ("clamped", "clamp_insulated"))
            if probe.startswith(word)
        )
        place = Place.model_validate({"name": "pump", "channel": 0, "role": "pump", "probe": keys})
        chip, _, gain = amplifier.partition(", gain ")
        known = None if calibrated == "no" else number(calibrated)
        worked = budget(place, chip=chip, gain=int(gain or 1), flow_l_h=number(flow), calibration_uncertainty_degc=known)
        assert {name for name in stated if stated[name][case] != "–"} == {row.name for row in worked} | {"total"}
        for row in worked:
            assert float(stated[row.name][case]) == pytest.approx(float(row.uncertainty_degc), abs=0.0051), (case, row.name)
            names.add(row.name)
        assert float(stated["total"][case]) == pytest.approx(float(root_sum_square(worked)), abs=0.0051)
    assert names == set(stated) - {"total"}
    assert len(cases) == 6
