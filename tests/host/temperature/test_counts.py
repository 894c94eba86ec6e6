"""Counts to degrees, chip by chip, with the datasheets' own example codes, and every reason for having none."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.temperature.counts import REASONS, cold_degc, loop_code, loop_emf_mv, readings_degc, scale, to_degc
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import messages
from hotfuel_wire.messages import CHIPS
from hypothesis import given
from hypothesis import strategies as st

MAX31856 = {"chip": CHIPS["MAX31856"], "gain": 32, "resolution_bits": 19}
MAX31855 = {"chip": CHIPS["MAX31855"], "gain": 1, "resolution_bits": 14}
MCP9601 = {"chip": CHIPS["MCP9601"], "gain": 1, "resolution_bits": 18}
KINDS = [
    MAX31856,
    {**MAX31856, "gain": 8},
    MAX31855,
    MCP9601,
    {**MCP9601, "chip": CHIPS["MCP9600"]},
    {**MCP9601, "resolution_bits": 14},
]


def test_max31856_voltage_mode_codes():
    # datasheet 19-7534: code = gain * 1.6 * 2^17 * V; one code 0.149 uV at gain 32, 0.596 uV at gain 8
    for gain, uv in ((32, 0.14901), (8, 0.59605)):
        assert 1000 * loop_emf_mv(1, 0.0, scale(CHIPS["MAX31856"], gain, 19)) == pytest.approx(uv, abs=5e-6)
    # datasheet cold-junction examples: +125 7D00h, +25 1900h, +0.015625 0004h, -25 E700h, -55 C900h as signed 16 bit
    codes = np.array([0x7D00, 0x1900, 0x0004, 0xE700, 0xC900], dtype=np.uint16).astype(np.int16)
    assert cold_degc(codes, **MAX31856) == pytest.approx([125, 25, 0.015625, -25, -55])
    degc, reason = to_degc(6908, 35 * 256, 0, **MAX31856)  # 1.02932 mV over 35 degC
    assert degc == pytest.approx(60.0, abs=0.004)
    assert reason == 0


def test_max31855_linear_frame_is_taken_back_to_an_emf():
    # hot 60/cold 35 reads 59.94 on this chip, 80/45 80.12, 50/25 49.78, 20/40 20.29 (from its 41.276 uV/degC line)
    for hot, cold, shown in ((60, 35, 59.94), (80, 45, 80.12), (50, 25, 49.78), (20, 40, 20.29)):
        code = loop_code(emf_mv(hot) - emf_mv(cold), cold, **MAX31855)
        assert code * 0.25 == pytest.approx(shown, abs=0.006)
        degc, reason = to_degc(np.round(code).astype(int), cold * 16, 0, **MAX31855)
        assert degc == pytest.approx(hot, abs=0.13)
        assert reason == 0


def test_mcp960x_codes_are_2_microvolt_at_18_bit_and_four_times_coarser_for_two_bits_fewer():
    for bits, uv in ((18, 2), (16, 8), (14, 32), (12, 128)):
        assert 1000 * loop_emf_mv(1, 0.0, scale(CHIPS["MCP9601"], 1, bits)) == pytest.approx(uv)
    degc, _ = to_degc(round(1029.32 / 2), 35 * 16, 0, **MCP9601)
    assert degc == pytest.approx(60.0, abs=0.03)


@pytest.mark.parametrize("kind", KINDS)
@given(hot=st.floats(-100, 420), cold=st.floats(-38, 84))
def test_codes_and_degrees_are_inverses_within_a_code(kind, hot, cold):
    one = scale(kind["chip"], kind["gain"], kind["resolution_bits"])
    cold_code = round(cold / one.cold_degc_per_code)
    junction = cold_code * one.cold_degc_per_code
    code = round(float(loop_code(emf_mv(hot) - emf_mv(junction), junction, **kind)))
    degc, reason = to_degc(code, cold_code, 0, **kind)
    per_code = (
        1000 * one.mv_per_code if np.isnan(one.hot_degc_per_code) else 41.276 * one.hot_degc_per_code
    ) / 30  # below 30 uV/degC nowhere here
    assert reason == 0
    assert abs(float(degc) - hot) <= 0.51 * per_code + 0.001


@pytest.mark.parametrize(
    ("hot", "cold", "status", "kind", "words"),
    [
        (messages.NO_ANSWER, 0, 0, MAX31856, "did not answer"),
        (messages.CONFIGURATION_LOST, 0, 0, MAX31856, "lost its configuration"),
        (messages.NOT_READY, 0, 0, MAX31856, "no new conversion"),
        (messages.NOT_A_CODE - 1, 0, 0, MAX31856, "cannot send"),
        (6908, 8960, 0x01, MAX31856, "open circuit"),
        (6908, 8960, 0x03, MAX31856, "open circuit"),  # open outranks the input range it brings with it
        (6908, 8960, 0x02, MAX31856, "outside the amplifier's"),
        (6908, 8960, 0x80, MAX31856, "own temperature"),
        (131071, 8960, 0, MAX31856, "cannot send"),
        (-131072, 8960, 0, MAX31856, "cannot send"),
        (6908, 32000, 0, MAX31856, "own temperature"),  # 125 degC exactly is inside
        (240, 560, 0x82, MAX31855, "short to ground"),
        (240, 560, 0x84, MAX31855, "short to the supply"),
        (240, 560, 0x80, MAX31855, "without saying which"),
        (515, 560, 0x20, MCP9601, "short circuit across"),
        (515, 560, 0x10, MCP9601, "open circuit"),
        (515, 560, 0x10, {**MCP9601, "chip": CHIPS["MCP9600"]}, "outside the amplifier's"),
        (30000, 8960, 0, {**MAX31856, "gain": 16}, "not known here"),
        (240, 560, 0, {**MAX31855, "chip": 99}, "not known here"),
        (-60000, 0, 0, MAX31856, "type K range"),
    ],
)
def test_every_fault_is_nan_with_its_reason(hot, cold, status, kind, words):
    degc, reason = to_degc(hot, cold + (1 if cold == 32000 else 0), status, **kind)
    assert np.isnan(degc)
    assert words in REASONS[int(reason)]


def test_threshold_bits_are_no_fault():
    degc, reason = to_degc(6908, 8960, 0x3C, **MAX31856)
    assert reason == 0
    assert degc == pytest.approx(60, abs=0.01)


def test_saturated_and_undescribed_readings_have_no_temperature():
    degc, reason = to_degc([6908] * 3, [8960] * 3, [0] * 3, saturated=[True, False, False], known=[True, False, True], **MAX31856)
    assert np.isnan(degc).tolist() == [True, True, False]
    assert [REASONS[code][:10] for code in reason[:2]] == ["the number", "the board'"]


def test_shapes_that_do_not_fit_are_an_input_error():
    with pytest.raises(InputError, match="fit together"):
        to_degc([1, 2], [1, 2, 3], 0, **MAX31856)


@given(st.integers(-(2**31), 2**31 - 1), st.integers(-(2**15), 2**15 - 1), st.integers(0, 255), st.sampled_from(KINDS))
def test_any_code_gives_a_number_in_range_or_a_reason(hot, cold, status, kind):
    degc, reason = to_degc([hot], [cold], [status], **kind)
    assert int(reason[0]) in REASONS
    assert (reason[0] == 0) == bool(np.isfinite(degc[0]))


def _description(**channel):
    base = {
        "place": b"tank",
        "chip": 1,
        "thermocouple": ord("K"),
        "gain": 32,
        "mains_hz": 60,
        "averages": 1,
        "mode": 0,
        "resolution_bits": 19,
    }
    return {"channels": [{**base, **channel}, {**base, "place": b"pump", "chip": 2, "gain": 1, "resolution_bits": 14}]}


READING = np.dtype(
    [
        ("description_id", "u4"),
        ("channel", "u1"),
        ("hot", "i4"),
        ("cold", "i2"),
        ("status", "u1"),
        ("saturated", "?"),
        ("known", "?"),
    ]
)


def test_mixed_descriptions_are_decoded_each_with_its_own_chip_and_gain():
    rows = np.array(
        [(7, 0, 6908, 8960, 0, False, True), (7, 1, 240, 560, 0, False, True), (8, 0, 1727, 8960, 0, False, True),
         (9, 0, 6908, 8960, 0, False, False), (7, 5, 1, 1, 0, False, True), (10, 0, 6908, 8960, 0, False, True)], dtype=READING,
    )  # fmt: skip
    degc, reason, cold = readings_degc(
        rows, {7: _description(), 8: _description(gain=8), 10: _description(thermocouple=ord("J"))}
    )
    assert degc[:3] == pytest.approx([60, 60, 60], abs=0.1)
    assert np.isnan(degc[3:]).all()
    assert cold[:3] == pytest.approx([35, 35, 35])
    assert reason[3] == 12
    assert set(reason[4:]) == {13}


def test_a_calibration_applies_to_its_channel_and_place_only():
    class Line:
        def corrected_degc(self, measured):
            return measured - 1.5

    class OnlyTank:
        def channel(self, number, place):
            return Line() if (number, place) == (0, "tank") else None

    rows = np.array([(7, 0, 6908, 8960, 0, False, True), (7, 1, 240, 560, 0, False, True)], dtype=READING)
    plain, _, _ = readings_degc(rows, {7: _description()})
    corrected, _, _ = readings_degc(rows, {7: _description()}, OnlyTank())
    assert corrected - plain == pytest.approx([-1.5, 0])
