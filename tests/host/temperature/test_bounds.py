"""Bounds and terms of calibration and error budget, each just inside and just outside, and by hand."""

import datetime

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.temperature import accuracy, thermocouple
from hotfuel.temperature.accuracy import Contribution, budget, placement_share, probe_lag_s, root_sum_square, tolerance_degc
from hotfuel.temperature.calibration import ChannelCalibration, Point, line_through, point, reversed_polarity, water_boiling_degc
from hotfuel.temperature.counts import scale
from hotfuel_wire.messages import CHIPS
from pydantic import ValidationError

TODAY = datetime.date(2026, 6, 1)


def taken(measured, reference, *, cold=24.0, uncertainty=0.1, spread=0.0, readings=10, bath="reference thermometer"):
    return Point(
        bath=bath, reference_degc=reference, reference_uncertainty_degc=uncertainty, measured_degc=measured, spread_degc=spread, cold_degc=cold,
        readings=readings,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("seconds", "count", "swing", "words"),
    [
        (19.0, 10, 0.0, ""),
        (18.9, 10, 0.0, "less than 20 s"),
        (19.0, 9, 0.0, "only 9 good readings"),
        (19.0, 10, 0.5, ""),
        (19.0, 10, 0.51, "moved by 0.5"),
    ],
)
def test_a_point_needs_twenty_steady_seconds(seconds, count, swing, words):
    times = np.linspace(0, seconds, count)
    values = 0.125 + swing * (np.arange(count) % 2)
    if words:
        with pytest.raises(InputError, match=words):
            point("ice", values, times, np.full(count, 24.0))
        return
    found = point("ice", values, times, np.full(count, 24.0))
    assert (found.reference_degc, found.reference_uncertainty_degc, found.cold_degc, found.readings) == (0.0, 0.1, 24.0, 10)
    assert found.measured_degc == pytest.approx(values.mean())
    assert found.spread_degc == pytest.approx(values.std(ddof=1))


def test_only_the_last_twenty_seconds_count():
    times = np.arange(0.0, 41.0)
    values, cold = np.where(times < 20, 30.0, 5.0), np.where(times < 20, 0.0, 24.0)
    cold[30] = np.nan
    found = point("reference thermometer", values, times, cold, reference_degc=5.25)
    assert (found.readings, found.measured_degc, found.cold_degc, found.reference_uncertainty_degc) == (21, 5.0, 24.0, 0.5)
    boiling = point("boiling", values + 90, times, cold, pressure_kpa=101.325)
    assert (boiling.reference_degc, boiling.reference_uncertainty_degc) == (pytest.approx(99.974, abs=0.001), 0.3)
    with pytest.raises(InputError, match="moved by"):
        point("ice", np.where(times < 20.5, 30.0, 5.0), times, cold)


@pytest.mark.parametrize("kpa", [1.0, 1000.0])
def test_ends_of_the_saturation_line(kpa):
    assert 6 < float(water_boiling_degc(kpa)) < 181
    with pytest.raises(InputError, match="outside 1 to 1000 kPa"):
        water_boiling_degc([50.0, kpa * (0.999 if kpa == 1 else 1.001)])


@pytest.mark.parametrize(
    ("measured", "reference", "cold", "swapped"),
    [
        (48.0, 0.0, 24.0, True), (31.0, 20.0, 25.0, False), (31.0, 19.0, 25.0, True), (40.1, 0.0, 24.0, True), (40.0, 0.0, 24.0, False),
        (56.0, 0.0, 24.0, False), (55.9, 0.0, 24.0, True), (1.0, 0.0, 24.0, False),
    ],
)  # fmt: skip
def test_swapped_wires_read_as_far_off_on_the_other_side(measured, reference, cold, swapped):
    """Within a quarter of the difference and 2 degC: 24 below means 24 above, 16 to 32 of it; nearer than 5 degC nothing can be decided."""
    assert reversed_polarity(taken(measured, reference, cold=cold)) == swapped


@pytest.mark.parametrize(("off", "fits"), [(6.0, True), (-6.0, True), (6.01, False), (-6.01, False)])
def test_an_offset_is_at_most_six(off, fits):
    if fits:
        assert line_through("pump", [taken(off, 0.0, cold=-20.0)], TODAY).offset_degc == -off
    else:
        with pytest.raises(InputError, match="allowed is 6"):
            line_through("pump", [taken(off, 0.0, cold=-20.0)], TODAY)


@pytest.mark.parametrize(("apart", "gain"), [(30.0, 1.02), (29.9, 1.0)])
def test_two_points_give_a_gain_if_thirty_degrees_apart(apart, gain):
    line = line_through("pump", [taken(0.0, 0.0), taken(apart / 1.02, apart)], TODAY)
    assert line.gain == pytest.approx(gain)
    assert line.offset_degc == pytest.approx(0.0 if gain > 1 else apart * (1 - 1 / 1.02) / 2)


@pytest.mark.parametrize(("gain", "fits"), [(0.951, True), (1.049, True), (0.949, False), (1.051, False)])
def test_a_gain_is_within_a_twentieth(gain, fits):
    points = [taken(0.0, 0.0), taken(100 / gain, 100.0)]
    if fits:
        assert line_through("pump", points, TODAY).gain == pytest.approx(gain)
    else:
        with pytest.raises(InputError, match=r"allowed is 0\.95 to 1\.05"):
            line_through("pump", points, TODAY)


def test_the_lines_uncertainty_by_hand():
    """The worst point's, of bath and scatter over the root of its readings, and the line's distance from it; 0.4 % of 60 degC for a single point."""
    one = line_through("pump", [taken(1.0, 0.0, uncertainty=0.3, spread=0.8, readings=4)], TODAY)
    assert one.uncertainty_degc == pytest.approx((0.3**2 + 0.4**2 + 0.24**2) ** 0.5)
    three = [taken(0.0, 0.0, uncertainty=0.3), taken(50.0, 50.6, uncertainty=0.3), taken(100.0, 100.0, uncertainty=0.3)]
    line = line_through("pump", three, TODAY)
    assert (line.gain, line.offset_degc) == pytest.approx((1.0, 0.2))
    assert line.uncertainty_degc == pytest.approx((0.3**2 + 0.4**2) ** 0.5)
    weighted = line_through("pump", [three[0], taken(50.0, 50.6, uncertainty=3.0), three[2]], TODAY)
    assert weighted.offset_degc == pytest.approx(0.6 * 0.01 / 2.01, rel=1e-3)  # by the inverse squares: 1, 0.01 and 1


PLACE = car_file.load(
    '[fuel]\nclass = "D4814 A-1"\n[[place]]\nname = "pump"\nchannel = 0\nrole = "pump"\nprobe = { sheath = "1.6 mm", depth = "10 mm" }\n'
).places[0]


def test_terms_of_the_budget_by_hand():
    rows = {row.name: row for row in budget(PLACE, averages=4, flow_l_h=60.0)}
    single = {row.name: row for row in budget(PLACE, flow_l_h=60.0)}
    assert float(rows["amplifier noise"].uncertainty_degc) == pytest.approx(float(single["amplifier noise"].uncertainty_degc) / 2)
    share = float(placement_share(PLACE.probe, 60.0, 0.008))
    assert float(rows["placement"].uncertainty_degc) == pytest.approx(share * PLACE.kind.fitting_degc)
    assert float(rows["terminals against the chip's sensor"].uncertainty_degc) == pytest.approx(0.5 / 3**0.5)
    assert [name for name, row in rows.items() if row.common] == ["terminals against the chip's sensor"]
    assert float(root_sum_square([Contribution("a", 3.0, True, ""), Contribution("b", 4.0, False, "")])) == 5.0
    assert float(root_sum_square([Contribution("a", 3.0, True, ""), Contribution("b", 4.0, False, "")], common=False)) == 4.0
    assert float(root_sum_square([])) == 0.0
    known = {row.name: float(np.asarray(row.uncertainty_degc)) for row in budget(PLACE, calibration_uncertainty_degc=0.3)}
    assert known["calibration"] == 0.3


def test_a_tolerance_is_the_greater_of_figure_and_share():
    assert [tolerance_degc("E230 standard", degc)[0] for degc in (0.0, 293.0, 294.0, 1000.0)] == pytest.approx(
        [2.2, 2.2, 2.205, 7.5]
    )


def test_lag_of_film_and_filling_by_hand():
    """3.2 mm: rho c D^2 / 16 k = 3.5e6 x 0.0032^2 / (16 x 2.2) = 1.018 s beside the film's; a junction welded to the sheath has the film's alone."""
    film = float(probe_lag_s(0.0032, 0.235, insulated=False))
    assert float(probe_lag_s(0.0032, 0.235)) - film == pytest.approx(3.5e6 * 0.0032**2 / (16 * 2.2))
    assert film == pytest.approx(3.5e6 * 0.0032 / (4 * float(accuracy.GASOLINE.film_w_m2_k(0.0032, 0.235))))
    assert float(probe_lag_s(0.0032, 0.235)) == pytest.approx(2.77, abs=0.01)


def test_a_clamps_film_changes_at_reynolds_2300_and_still_fuel_has_some():
    clamp = PLACE.probe.model_copy(update={"mount": "clamp_metal"})
    for flow, nusselt in ((35.1, 3.66), (35.2, None)):  # Re = 740 v 0.008 / 0.0005
        reynolds = 740 * flow / 3.6e6 / (np.pi / 4 * 0.008**2) * 0.008 / 0.0005
        inside = (nusselt or 0.023 * reynolds**0.8 * 8.75**0.3) * 0.12 / 0.008
        assert float(placement_share(clamp, flow, 0.008)) == pytest.approx(30 / (30 + inside), rel=1e-6)
    still, least = placement_share(PLACE.probe, [0.0, 0.1], 0.008)
    assert still == least
    deep = PLACE.probe.model_copy(update={"mount": "axial"})
    by_hand = PLACE.probe.model_copy(update={"depth_m": 0.030})
    assert float(placement_share(deep, 4.0, 0.008)) == pytest.approx(float(placement_share(by_hand, 4.0, 0.008)))
    deepest = float(placement_share(PLACE.probe.model_copy(update={"depth_m": 5.0}), 60.0, 0.008))
    assert np.log(deepest) == pytest.approx(np.log(2) - 50)  # no further: cosh of a thousand overflows


def test_slope_and_ends_of_the_reference_function():
    inside = np.array([-250.0, -100.0, -0.5, 0.5, 120.0, 127.0, 1300.0])
    step = 1e-3
    slope = (thermocouple.emf_mv(inside + step) - thermocouple.emf_mv(inside - step)) / (2 * step)
    np.testing.assert_allclose(thermocouple.seebeck_mv_per_degc(inside), slope, rtol=1e-6)
    for function in (thermocouple.emf_mv, thermocouple.seebeck_mv_per_degc):
        assert np.isfinite(function([-270.0, 0.0, 1372.0])).all()
        assert np.isnan(function([-270.1, 1372.1, np.nan])).all()
    for cold in (-60.1, -60.0, -59.9, 0.0, 129.9, 130.0, 130.1, 700.0):
        found = thermocouple.temperature_degc(thermocouple.emf_mv([60.0, 60.0]) - thermocouple.emf_mv(cold), [cold, cold])
        np.testing.assert_allclose(found, 60.0, atol=1e-3)


def test_scales_of_the_chips():
    """Datasheets: MAX31856 gain x 1.6 x 2^17 codes a volt, ends at 2^17; MAX31855 0.25 degC and 1/16 degC; MCP9600 2 uV at 18 bits."""
    fine = scale(CHIPS["MAX31856"], 32, 19)
    assert (fine.cold_degc_per_code, fine.hot_code_greatest) == (1 / 256, (1 << 17) - 1)
    assert fine.mv_per_code == pytest.approx(1000 / (32 * 1.6 * 2**17))
    assert scale(CHIPS["MAX31856"], 8, 19).mv_per_code == pytest.approx(4 * fine.mv_per_code)
    assert (scale(CHIPS["MAX31855"], 1, 14).hot_degc_per_code, scale(CHIPS["MAX31855"], 1, 14).cold_degc_per_code) == (
        0.25,
        0.0625,
    )
    assert scale(CHIPS["MCP9600"], 1, 18).mv_per_code == pytest.approx(0.002)
    assert scale(CHIPS["MCP9600"], 1, 17) is None
    assert scale(CHIPS["MAX31856"], 31, 19) is None
    assert scale(0, 1, 18) is None


@pytest.mark.parametrize(
    ("changed", "fits"),
    [
        ({"uncertainty_degc": 5.0}, True), ({"uncertainty_degc": 5.01}, False), ({"uncertainty_degc": 0.0}, False), ({"offset_degc": 12.0}, True),
        ({"offset_degc": 12.1}, False), ({"offset_degc": -12.1}, False), ({"gain": 0.95}, True), ({"gain": 1.051}, False),
    ],
)  # fmt: skip
def test_allowed_values_of_a_calibrations_line(changed, fits):
    line = {"place": "pump", "gain": 1.0, "offset_degc": 0.0, "uncertainty_degc": 0.3, "made_on": TODAY, **changed}
    if fits:
        assert ChannelCalibration(**line).place == "pump"
    else:
        with pytest.raises(ValidationError):
            ChannelCalibration(**line)


@pytest.mark.parametrize(
    ("changed", "fits"),
    [({"reference": -50.0}, True), ({"reference": -50.1}, False), ({"reference": 250.0}, True), ({"reference": 250.1}, False), ({"uncertainty": 5.0}, True),
     ({"uncertainty": 5.1}, False), ({"uncertainty": -0.1}, False), ({"spread": -0.1}, False), ({"readings": 1}, True), ({"readings": 0}, False)],
)  # fmt: skip
def test_allowed_values_of_a_calibrations_point(changed, fits):
    given = {"measured": 0.0, "reference": 0.0, **changed}
    if fits:
        assert taken(**given).cold_degc == 24.0
    else:
        with pytest.raises(ValidationError):
            taken(**given)
