"""Points from readings, lines through points, nonsense refused, the file stored."""

import datetime

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.temperature.calibration import Calibration, ChannelCalibration, Point, line_through, point, water_boiling_degc
from hypothesis import given
from hypothesis import strategies as st

TODAY = datetime.date(2026, 6, 1)
TIME = np.arange(0, 30, 0.5)


def bath(name, reads, cold=24.0, **known):
    noise = 0.02 * np.sin(TIME * 7)
    return point(name, reads + noise, TIME, np.full(TIME.shape, cold), **known)


@given(st.floats(0.97, 1.03), st.floats(-2.5, 2.5))  # together less than the 6 degC beyond which a point is refused
def test_two_baths_find_gain_and_offset_of_a_made_up_channel(gain, offset):
    boiling = float(water_boiling_degc(94.3))
    read = [(true - offset) / gain for true in (0.0, boiling)]
    line = line_through("pump", [bath("ice", read[0]), bath("boiling", read[1], pressure_kpa=94.3)], TODAY)
    assert line.gain == pytest.approx(gain, abs=2e-4)
    corrected = line.corrected_degc(np.array([(60 - offset) / gain, np.nan]))
    assert corrected[0] == pytest.approx(60, abs=0.05)
    assert np.isnan(corrected[1])
    assert 0.3 <= line.uncertainty_degc < 0.4  # the boiling bath's own uncertainty dominates


def test_one_bath_gives_an_offset_and_its_uncertainty_says_so():
    line = line_through("pump", [bath("ice", 1.2)], TODAY)
    assert line.gain == 1
    assert line.offset_degc == pytest.approx(-1.2, abs=0.01)
    assert line.uncertainty_degc == pytest.approx(0.26, abs=0.02)


def test_swapped_wires_are_recognised_as_such():
    # around a cold junction at 24 degC, an ice bath then reads near 48 degC
    with pytest.raises(InputError, match="two wires are swapped"):
        line_through("pump", [bath("ice", 48.3)], TODAY)
    with pytest.raises(InputError, match="two wires are swapped"):
        line_through("pump", [bath("boiling", 24 - 74, pressure_kpa=94.3)], TODAY)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([("ice", 7.0, {})], "allowed is 6"),
        ([("ice", 21.0, {})], "allowed is 6"),  # the probe hangs in the air next to the bath
        ([("ice", 2.9, {}), ("boiling", 94.0, {"pressure_kpa": 101.325})], "gain"),
        ([], "no steady point"),
    ],
)
def test_nonsense_is_refused(points, words):
    with pytest.raises(InputError, match=words):
        line_through("pump", [bath(name, reads, **known) for name, reads, known in points], TODAY)


def test_unsteady_short_and_faulty_baths_are_refused():
    flat = np.zeros(TIME.shape)
    with pytest.raises(InputError, match="moved by"):
        point("ice", 0.1 * TIME, TIME, flat)
    with pytest.raises(InputError, match="less than 20 s"):
        point("ice", flat[:20], TIME[:20], flat[:20])
    with pytest.raises(InputError, match="less than 20 s"):
        point("ice", np.full(TIME.shape, np.nan), TIME, flat)
    with pytest.raises(InputError, match="needed are 10"):
        point("ice", flat[::12], TIME[::12], flat[::12])
    with pytest.raises(InputError, match="needs the air pressure"):
        point("boiling", flat, TIME, flat)


def test_file_round_trip_and_a_moved_probe(tmp_path):
    line = line_through("pump", [bath("ice", 1.2)], TODAY)
    kept = Calibration(board_id="00112233aabbccdd", channels={1: line})
    kept.save(tmp_path / "calibration.json")
    read = Calibration.load(tmp_path / "calibration.json")
    assert read == kept
    assert isinstance(read.channels[1].points[0], Point)
    assert read.channel(1, "pump") == line
    assert read.channel(1, "tank") is None
    assert read.channel(0, "pump") is None
    assert [path.name for path in tmp_path.iterdir()] == ["calibration.json"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "calibration.json"),
        ("[1", "calibration.json"),
        ('{"board_id": "zz"}', "board_id"),
        ('{"board_id": "00112233aabbccdd", "channels": {"1": {"place": "pump", "gain": 1.4, "offset_degc": 0, "uncertainty_degc": 0.3,'
         ' "made_on": "2026-06-01"}}}', "gain"),
        ('{"board_id": "00112233aabbccdd", "channels": {"1": {"place": "pump", "gain": NaN, "offset_degc": 0, "uncertainty_degc": 0.3,'
         ' "made_on": "2026-06-01"}}}', "calibration.json"),
    ],
)  # fmt: skip
def test_an_invalid_file_is_one_sentence(tmp_path, text, words):
    path = tmp_path / "calibration.json"
    path.write_text(text)
    with pytest.raises(InputError, match=words) as caught:
        Calibration.load(path)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match="hotfuel check"):
        Calibration.load(tmp_path / "none.json")


def test_nan_stays_nan_through_a_line():
    line = ChannelCalibration(place="tank", gain=1.01, offset_degc=-0.4, uncertainty_degc=0.2, made_on=TODAY)
    assert line.corrected_degc(np.array([50.0])) == pytest.approx([50.1])
