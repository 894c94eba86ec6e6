"""Tables of a recording against the values put into it, and against the functions that every other room uses."""

import struct

import numpy as np
import pandas as pd
import pytest
from hotfuel import car, session
from hotfuel.errors import InputError
from hotfuel.report.session_notes import all_notes
from hotfuel.temperature.calibration import Calibration, ChannelCalibration
from hotfuel.temperature.counts import REASONS
from hotfuel.units import parse
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER

CODE_DEGC = 0.149e-3 / 0.040  # one code of gain 32 (datasheet 19-7534) at about 40 uV per degC


def opened(tmp_path, data, car_text=car.EXAMPLE, **given):
    (tmp_path / "wire.log").write_bytes(data)
    if car_text:
        (tmp_path / "car.toml").write_text(car_text)
    return session.open(tmp_path, **given)


def test_temperatures_are_those_recorded(drive, synthetic):
    table = drive.temperatures()
    assert list(table.columns) == ["tank_degc", "pump_degc", "carb_inlet_degc"]
    assert str(table.index.tz) == "UTC"
    assert table.index.is_monotonic_increasing
    time_s = (table.index - pd.Timestamp(synthetic.START_WALL_S, unit="s", tz="UTC")).total_seconds()
    assert np.abs(table.to_numpy() - synthetic.climb(time_s)).max() < CODE_DEGC


def test_inputs(drive, synthetic):
    inputs = drive.inputs()
    at = (inputs.index - pd.Timestamp(synthetic.START_WALL_S, unit="s", tz="UTC")).total_seconds()
    middle = inputs[(at > 30) & (at < 440)]
    assert middle["engine_rpm"].to_numpy() == pytest.approx(1500, abs=1)  # four pulses a revolution in the car file
    assert middle["fuel_pressure_kpa"].to_numpy() == pytest.approx(parse("5.5 psi", "pressure"), abs=0.02)
    assert middle["battery_v"].to_numpy() == pytest.approx(13.8, abs=0.01)
    assert set(middle["running"]) == {1.0}
    assert set(inputs[(at > 460) & (at < 590)]["running"]) == {0.0}
    assert set(inputs[at > 640]["ignition"]) == {0.0}
    assert inputs["ambient_pressure_kpa"].isna().all()


def test_a_broken_sender_wire_gives_no_pressure(tmp_path, synthetic):
    made = synthetic.Recording()
    for number in range(40):
        made.reading(number * 0.2, (30, 40, 50))
        made.auxiliary(number * 0.2, fuel_pressure_percent=0.0 if number < 20 else 100.0)
    assert opened(tmp_path, made.data).inputs()["fuel_pressure_kpa"].isna().all()


def test_engine_pulses_wrap(tmp_path, synthetic):
    made = synthetic.Recording()
    for number in range(60):
        made.reading(number * 0.2, (30, 40, 50))
        made.auxiliary(number * 0.2, pulses=(1 << 32) - 200 + number * 20)
    speed = opened(tmp_path, made.data).inputs()["engine_rpm"].dropna()
    assert len(speed) > 50
    assert speed.to_numpy() == pytest.approx(20 / 0.2 * 60 / 4)


def test_unseen_pulses_are_not_an_engine_standing_still(tmp_path, synthetic):
    """Wired by the settings, and silent: the lower of both limits applies at every place until the boot's first pulse; from then
    on silence is standing."""
    made = synthetic.Recording()
    for boot, begins in ((1, 30), (2, 1000)):
        if boot > 1:
            made.boot(boot)
        pulses = 0
        for second in range(60):
            pulses += 100 if begins <= second < begins + 15 else 0
            for tick in range(5):
                made.reading(second + tick * 0.2, (30, 40, 50))
            made.auxiliary(second, pulses=pulses)
    found = opened(tmp_path, made.data)
    running = found.inputs()["running"].to_numpy().reshape(2, -1)
    assert np.isnan(running[0, : 29 * 5]).all()
    assert (running[0, 33 * 5 : 43 * 5] == 1).all()
    assert (running[0, 55 * 5 :] == 0).all()
    assert np.isnan(running[1, 10 * 5 :]).all()
    limits = found.margins()[["pump_limit_degc", "carb_inlet_limit_degc"]].to_numpy().reshape(2, 300, 2)
    unknown, turning, standing = limits[0, 20 * 5], limits[0, 40 * 5], limits[0, 58 * 5]
    assert unknown == pytest.approx(np.minimum(turning, standing))
    assert limits[1, 150] == pytest.approx(unknown)
    assert (turning < standing).any()
    assert (standing < turning).any()


def test_air_pressure_from_the_barometers_own_calibration_words(tmp_path, synthetic):
    """The worked example of the BMP280 datasheet (BST-BMP280-DS001, 3.12; from memory) through a recording; the lower limit follows."""
    words = struct.pack("<HhhHhhhhhhhh", 27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
    up, ut = 415148, 519888
    data = bytes([up >> 12, up >> 4 & 255, (up & 15) << 4, ut >> 12, ut >> 4 & 255, (ut & 15) << 4])
    made = synthetic.Recording()
    for number in range(80):
        if number == 10:  # the calibration words may come after the first readings
            made.add("barometer", number * 0.2, chip=1, words=words)
        made.reading(number * 0.2, (30, 40, 50))
        made.auxiliary(number * 0.2, barometer=data if number < 30 else b"\xff" * 6)
    found = opened(tmp_path, made.data)
    pressure = found.inputs()["ambient_pressure_kpa"]
    assert pressure.iloc[:30].to_numpy() == pytest.approx(100.653, abs=0.002)
    assert pressure.iloc[30:].isna().all()  # a word that no such chip sends
    assert found.margins()["tank_pressure_kpa"].iloc[5] == pytest.approx(100.653, abs=0.002)
    assert found.margins()["tank_pressure_kpa"].iloc[-1] == pytest.approx(94.32, abs=0.01)  # the car file's 600 m again


def test_marks_gaps_events(drive, synthetic):
    start = pd.Timestamp(synthetic.START_WALL_S, unit="s", tz="UTC")
    marks = drive.marks()
    assert marks["text"].tolist() == ["stopped at the top"]
    assert (marks["time"][0] - start).total_seconds() == pytest.approx(450, abs=0.01)
    gaps = drive.gaps()
    assert gaps["reason"].tolist() == ["link: port gone"]
    assert gaps["duration_s"][0] == pytest.approx(30, abs=0.21)
    assert (gaps["start"][0] - start).total_seconds() == pytest.approx(600, abs=0.21)
    assert drive.events()[["event"]].to_numpy().tolist() == [["ignition off"]]


def test_without_wall_time_the_index_is_time_deltas(tmp_path, synthetic):
    table = opened(tmp_path, synthetic.drive(60.0, anchored=False).data).temperatures()
    assert isinstance(table.index, pd.TimedeltaIndex)
    assert table.index[10].total_seconds() == pytest.approx(2.0)


def test_a_boots_event_text_comes_from_its_cause_and_not_its_count(tmp_path, synthetic):
    """Boot 3 is not a watchdog reset, although the watchdog is cause 3."""
    made = synthetic.Recording(boot_count=1)
    for count, cause in ((2, 6), (3, 1), (4, 3), (5, 7)):
        made.boot(count, reset_cause=cause)
        made.event(0.1, "boot", value=count)
        for tick in range(1, 20):
            made.reading(tick * 0.2, [40.0, 50.0, 60.0])
    made.event(5.0, "boot", value=99)  # its description is not in the log
    rows = opened(tmp_path, made.data).events()
    assert rows["text"].tolist() == ["wake", "power on", "watchdog", "service", ""]


def test_two_boots_without_wall_time_are_one_after_the_other(tmp_path, synthetic):
    made = synthetic.Recording()
    for number in range(50):
        made.reading(number * 0.2, (30, 40, 50))
    made.boot(2)
    for number in range(50):
        made.reading(number * 0.2, (31, 41, 51))
    found = opened(tmp_path, made.data)
    table = found.temperatures()
    assert len(table) == 100
    assert table.index.is_monotonic_increasing
    assert table["tank_degc"].to_numpy()[[49, 50]] == pytest.approx([30, 31], abs=0.01)
    assert any("started 2 times" in note for note in all_notes(found))


def test_frames_received_twice_count_once(tmp_path, synthetic):
    made = synthetic.drive(40.0)
    twice = b"".join(frame * 2 for frame in made.frames)
    once = opened(tmp_path, made.data)
    other = tmp_path / "twice"
    other.mkdir()
    pd.testing.assert_frame_equal(opened(other, twice).temperatures(), once.temperatures())


def test_a_reading_without_its_description_is_nan_with_that_reason(tmp_path, synthetic):
    made = synthetic.drive(20.0)
    found = opened(tmp_path, b"".join(made.frames[1:]))
    assert len(found.temperatures()) == 100
    assert found.temperatures().isna().all(axis=None)
    assert {REASONS[code] for code in found.reasons().to_numpy().ravel()} == {
        "the board's description for this reading is not in the log"
    }
    assert found.summary().hottest is None


def test_a_fault_is_a_reason_not_a_number(tmp_path, synthetic):
    made = synthetic.Recording()
    made.reading(0.0, (30, NO_ANSWER, CONFIGURATION_LOST))
    made.reading(0.2, (30, 40, 50), status=0x01)
    found = opened(tmp_path, made.data)
    reasons = found.reasons().to_numpy()
    assert reasons[0].tolist() == [0, 1, 2]
    assert set(reasons[1]) == {4}
    assert np.isnan(found.temperatures().to_numpy()[1]).all()
    assert found.margins()["pump_state"].tolist() == ["lost", "lost"]


def test_places_follow_the_boards_names_then_the_car_files_channels(tmp_path, synthetic):
    made = synthetic.Recording(places=("pump", "left_side", "spare"))
    made.reading(0.0, (41, 51, 61))
    found = opened(tmp_path, made.data)
    # "pump" by its name; channel 2 is the car file's carb_inlet; channel 1 would be the pump, which is taken
    assert found.temperatures().columns.tolist() == ["pump_degc", "left_side_degc", "carb_inlet_degc"]
    notes = " ".join(all_notes(found))
    assert "tank, which the board did not measure" in notes
    assert "left_side, which is not in the car file" in notes
    # the board's "pump" is channel 0 and the car file's 1: reported, with how to make the channels count
    assert "The board named channel 0 pump (the car file: channel 1), and its names count" in notes
    assert "(pump_2)" in notes
    text = car.EXAMPLE.replace('name = "pump"', 'name = "pump_2"')
    corrected = opened(tmp_path, made.data, text)
    assert corrected.temperatures().columns.tolist() == ["tank_degc", "pump_2_degc", "carb_inlet_degc"]
    assert not any("its names count" in note for note in all_notes(corrected))


def test_calibration_applies_to_its_own_board_only(tmp_path, synthetic):
    import datetime

    line = ChannelCalibration(place="pump", gain=1.0, offset_degc=1.5, uncertainty_degc=0.2, made_on=datetime.date(2026, 6, 1))
    made = synthetic.drive(10.0)
    plain = opened(tmp_path, made.data)
    mine = Calibration(board_id=synthetic.BOARD_ID.hex(), channels={1: line})
    corrected = opened(tmp_path, made.data, calibration=mine)
    change = corrected.temperatures() - plain.temperatures()
    assert change["pump_degc"].to_numpy() == pytest.approx(1.5)
    assert (change["tank_degc"] == 0).all()
    assert corrected.margins()["pump_uncertainty_degc"].iloc[0] < plain.margins()["pump_uncertainty_degc"].iloc[0]
    stranger = opened(tmp_path, made.data, calibration=Calibration(board_id="f" * 16, channels={1: line}))
    pd.testing.assert_frame_equal(stranger.temperatures(), plain.temperatures())
    assert any("is of board" in note for note in stranger.notes)


def test_cut_anywhere_it_opens_with_every_whole_frame_before_the_cut(tmp_path, synthetic):
    made = synthetic.drive(4.0)
    lengths = np.cumsum([len(frame) for frame in made.frames])
    is_reading = np.array([frame[2] == 2 for frame in made.frames])
    for cut in range(0, len(made.data) + 1, 7):
        found = opened(tmp_path, made.data[:cut])
        whole = int((is_reading & (lengths <= cut)).sum())
        assert len(found.temperatures()) in (whole, whole + 1), cut  # the closing zero may be missing
        found.summary(), found.marks(), found.gaps(), found.events(), found.inputs(), all_notes(found)


@pytest.mark.parametrize("data", [b"", b"\x00" * 50, bytes(range(256)) * 20])
def test_no_reading_at_all(tmp_path, data):
    found = opened(tmp_path, data)
    assert len(found.temperatures()) == 0
    assert len(found.margins()) == 0
    assert len(found.alarms()) == 0
    assert found.summary().readings == 0
    assert "There is no reading in this recording." in all_notes(found)


def test_without_a_car_file_there_are_temperatures_and_one_sentence(tmp_path, synthetic):
    found = opened(tmp_path, synthetic.drive(10.0).data, car_text=None)
    assert found.temperatures()["pump_degc"].notna().all()
    with pytest.raises(InputError, match="no usable car file"):
        found.margins()
    summary = found.summary()
    assert summary.smallest is None
    assert summary.hottest.place == "carb_inlet"


def test_the_gap_at_the_end_is_named(tmp_path, synthetic):
    made = synthetic.Recording()
    made.anchor(0.2)
    for tick in range(100):
        made.reading(tick * 0.2, (30, 45, 44))
    made.link_gap(19.8, 125.0)
    gaps = opened(tmp_path, made.data).gaps()
    assert len(gaps) == 1
    assert gaps["start"][0].timestamp() == pytest.approx(synthetic.START_WALL_S + 19.8)
    assert gaps["duration_s"][0] == pytest.approx(125.0)
    assert gaps["reason"][0] == "link: port gone"
    made.reading(146.0, (30, 45, 44))  # it came back: the gap is between two readings
    gaps = opened(tmp_path, made.data).gaps()
    assert gaps["duration_s"].tolist() == pytest.approx([126.2])


def test_another_board_in_the_same_log_is_reported_and_not_corrected(tmp_path, synthetic, monkeypatch):
    made = synthetic.Recording()
    for tick in range(50):
        made.reading(tick * 0.2, (30, 45, 44))
    first = synthetic.BOARD_ID
    monkeypatch.setattr(synthetic, "BOARD_ID", bytes(range(8, 16)))
    made.boot(1)
    for tick in range(50):
        made.reading(tick * 0.2, (30, 45, 44))
    line = ChannelCalibration(
        place="pump", gain=1.0, offset_degc=-1.0, uncertainty_degc=0.2, made_on=__import__("datetime").date(2026, 6, 1)
    )
    found = opened(tmp_path, made.data, calibration=Calibration(board_id=first.hex(), channels={1: line}))
    assert any("2 boards are in this recording, 0001020304050607 and 08090a0b0c0d0e0f" in note for note in found.notes)
    pump = found.temperatures()["pump_degc"].to_numpy()
    np.testing.assert_allclose(pump[:50], 44.0, atol=2 * CODE_DEGC)
    np.testing.assert_allclose(pump[50:], 45.0, atol=2 * CODE_DEGC)


@pytest.mark.parametrize(
    ("back_s", "by", "why"),
    [
        (3600, "62 min", "the computer's clock was set back between them."),
        (181 * 86400, "181 days", "or the log holds parts of two recordings, which belong apart."),
    ],
)
def test_a_clock_set_back_between_two_starts_of_the_board_is_reported(tmp_path, synthetic, back_s, by, why):
    """Half a year is told in days, and not blamed on the clock alone."""
    made = synthetic.Recording()
    for count, wall_s in ((1, synthetic.START_WALL_S), (2, synthetic.START_WALL_S - back_s)):
        made.boot(count)
        made.anchor(0.2, wall_s + 0.2)
        for tick in range(600):
            made.reading(tick * 0.2, (30, 45, 44))
    notes = all_notes(opened(tmp_path, made.data))
    (told,) = [note for note in notes if f"start 2 of the board lies {by} before the end of start 1" in note]
    assert told.endswith(why)


def test_an_implausible_calibration_and_an_unprintable_title_are_in_the_notes(tmp_path, synthetic, drive_log):
    line = ChannelCalibration(
        place="pump", gain=1.0, offset_degc=-5.0, uncertainty_degc=0.2, made_on=__import__("datetime").date(2099, 6, 1)
    )
    Calibration(board_id=synthetic.BOARD_ID.hex(), channels={1: line}).save(tmp_path / "calibration.json")
    notes = " ".join(all_notes(opened(tmp_path, drive_log)))
    assert "dated 2099-06-01, in the future" in notes
    assert "corrects by -5.0 °C" in notes


def test_control_characters_in_names_and_marks_are_shown_as_their_codes(tmp_path, synthetic):
    made = synthetic.Recording()
    made.anchor(0.2)
    made.reading(0.2, (30, 45, 44))
    made.mark(0.2, "\x1b[2J\u202eknock")
    folder = tmp_path / "caf\udce9"
    folder.mkdir()
    found = opened(folder, made.data)
    assert found.name == "caf\\xe9"
    assert found.marks()["text"].tolist() == ["\\x1b[2J\\u202eknock"]
