"""Counts to degrees, chip by chip, with the datasheets' own example codes, and every reason for having no temperature."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.samples import table
from hotfuel.temperature.counts import REASONS, cold_degc, loop_emf_mv, scale, scans_degc, to_degc
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import messages
from hotfuel_wire.messages import CHIPS
from hypothesis import given
from hypothesis import strategies as st


def loop_code(emf, cold, *, chip, gain, resolution_bits):
    """The hot code (not rounded) that a chip sends for an EMF at its terminals, from the scale of its codes: the inverse of loop_emf_mv."""
    one = scale(chip, gain, resolution_bits)
    if np.isnan(one.mv_per_code):
        return (np.asarray(emf, dtype=float) / one.hot_mv_per_degc + cold) / one.hot_degc_per_code
    return np.asarray(emf, dtype=float) / one.mv_per_code + 0.0 * np.asarray(cold, dtype=float)


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


def test_max31855_linear_frame_is_converted_back_to_an_emf():
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
    ) / 30  # nowhere here below 30 uV/degC
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
        (6908, 8960, 0x03, MAX31856, "open circuit"),  # open takes precedence over the input range fault it causes
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


def test_threshold_bits_are_not_faults():
    degc, reason = to_degc(6908, 8960, 0x3C, **MAX31856)
    assert reason == 0
    assert degc == pytest.approx(60, abs=0.01)


def test_saturated_and_undescribed_readings_have_no_temperature():
    degc, reason = to_degc([6908] * 3, [8960] * 3, [0] * 3, saturated=[True, False, False], known=[True, False, True], **MAX31856)
    assert np.isnan(degc).tolist() == [True, True, False]
    assert [REASONS[code][:10] for code in reason[:2]] == ["the number", "the board'"]


def test_mismatched_shapes_are_an_input_error():
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


def scans(*rows, room=3):
    """Scans of (description_id, known, codes), codes one (hot, cold, status) per channel."""
    made = np.zeros(len(rows), table.scans(room))
    for row, (description_id, known, codes) in zip(made, rows, strict=True):
        row["description_id"], row["known"], row["width"] = description_id, known, len(codes)
        row["channels"][: len(codes)] = codes
    return made


def test_mixed_descriptions_are_decoded_each_with_its_own_chip_and_gain():
    rows = scans(
        (7, True, [(6908, 8960, 0), (240, 560, 0)]),
        (8, True, [(1727, 8960, 0)]),  # did not send its second channel
        (9, False, [(6908, 8960, 0)]),
        (7, True, [(6908, 8960, 0), (240, 560, 0), (1, 1, 0)]),  # one channel more than described
        (10, True, [(6908, 8960, 0)]),
    )
    degc, reason, cold = scans_degc(rows, {7: _description(), 8: _description(gain=8), 10: _description(thermocouple=ord("J"))})
    assert reason.tolist() == [[0, 0, 12], [0, 12, 12], [12, 12, 12], [0, 0, 13], [13, 12, 12]]
    assert degc[reason == 0] == pytest.approx([60] * 5, abs=0.1)
    assert np.isnan(degc[reason != 0]).all()
    assert cold[reason == 0] == pytest.approx([35] * 5)


@given(
    st.lists(
        st.tuples(
            st.sampled_from([7, 8]), st.booleans(), st.booleans(),
            st.lists(st.tuples(st.integers(-(2**31), 2**31 - 1), st.integers(-(2**15), 2**15 - 1), st.integers(0, 255)), max_size=2),
        ), min_size=1, max_size=12,
    )
)  # fmt: skip
def test_a_table_of_scans_gives_the_same_as_each_channel_alone(rows):
    described = {7: _description(), 8: _description(gain=8)}
    made = scans(*[(number, known, codes) for number, known, _, codes in rows], room=2)
    made["saturated"] = [saturated for _, _, saturated, _ in rows]
    degc, reason, _ = scans_degc(made, described)
    for at, (number, known, saturated, codes) in enumerate(rows):
        for channel, (hot, cold, status) in enumerate(codes):
            how = described[number]["channels"][channel]
            kind = {name: how[name] for name in ("chip", "gain", "resolution_bits")}
            alone, why = to_degc(hot, cold, status, **kind, saturated=saturated, known=known)
            assert (reason[at, channel], degc[at, channel]) == (why, pytest.approx(float(alone), nan_ok=True))


def test_a_calibration_applies_to_its_channel_and_place_only():
    class Line:
        def corrected_degc(self, measured):
            return measured - 1.5

    class OnlyTank:
        board_id = "00112233445566aa"

        def channel(self, number, place):
            return Line() if (number, place) == (0, "tank") else None

    rows = scans((7, True, [(6908, 8960, 0), (240, 560, 0)]), room=2)
    mine, other = (_description() | {"board_id": bytes.fromhex(number)} for number in (OnlyTank.board_id, "00112233445566ab"))
    plain, _, _ = scans_degc(rows, {7: mine})
    corrected, _, _ = scans_degc(rows, {7: mine}, OnlyTank())
    assert np.array_equal(scans_degc(rows, {7: other}, OnlyTank())[0], plain)
    assert corrected - plain == pytest.approx(np.array([[-1.5, 0]]))
