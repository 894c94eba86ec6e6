"""The commands that talk to a board, against the real firmware on a simulated one."""

import datetime
import json

import pytest
from hotfuel import car as car_file
from hotfuel import samples
from hotfuel.temperature.calibration import Calibration


@pytest.fixture
def car_path(tmp_path):
    path = tmp_path / "car.toml"
    path.write_text(car_file.EXAMPLE, encoding="utf-8")
    return path


def test_info_settings_clock_and_warnings(board_at, hotfuel, car_path):
    board = board_at(30, 45, 60, speed=10)
    about = hotfuel("board", "info", "--port", board.device, as_json=True)
    assert [row["place"] for row in about["channels"]] == ["tank", "pump", "carb_inlet"]
    assert about["health"]["lamp"] == 3, "no limits yet"
    assert about["board"]["attached"] == "limits,store,power"
    said = hotfuel("board", "info", "--port", board.device)
    assert said.count("limits age days: ") == 1
    assert "limits age days: no limits are loaded" in said
    assert "65535" not in said
    assert "\nlamp: no limits, or old ones\n" in said
    assert "sequence" not in said
    assert "\nattached: limits, store, power\n" in said
    assert "\nan alarm since the button was last pressed: no\n" in said
    assert "\nlost: none\n" in said
    assert said.count("failed: ") == said.count("memory free: ") == 1
    assert hotfuel("board", "settings", "averages=2", "--port", board.device, as_json=True)["averages"] == "2"
    assert hotfuel("board", "settings", "averages", "--port", board.device, as_json=True) == {"averages": "2"}
    refused = hotfuel("board", "settings", "rate_hz=10", "--port", board.device, code=1)
    assert "the board refused: rate_hz" in refused
    assert "1, 2" in refused
    assert abs(hotfuel("board", "clock", "--port", board.device, as_json=True)["board_minus_computer_s"]) < 1.0
    loaded = hotfuel("board", "warnings", "--car", car_path, "--altitude", "1600 m", "--port", board.device, as_json=True)
    assert loaded["loaded"]["fit"] == "True"
    assert any(
        "flow: where nothing measures it, a running engine is taken to be at full throttle" in note
        for note in loaded["limits"]["notes"]
    )
    said = hotfuel("board", "warnings", "--car", car_path, "--altitude", "1600 m", "--port", board.device)
    assert said.startswith("With this fuel at 5249 ft the lamp gives long blinks (warn) from ")
    assert "\nloaded into the board: 11 tables" in said[:400]
    assert "\nflow: where nothing measures it, a running engine is taken to be at full throttle" in said
    assert "\npulsation: the pump's strokes lower" in said
    assert "\nlag: in the moving car a margin counts each probe's lag" in said
    doubted = car_path.with_name("doubted.toml")
    doubted.write_text(car_path.read_text(encoding="utf-8").replace('ethanol = "0 %"', 'ethanol = "85 %"'), encoding="utf-8")
    lines = hotfuel("board", "warnings", "--car", doubted, "--altitude", "1600 m", "--port", board.device).splitlines()
    assert lines[0].startswith("With this fuel at 5249 ft the lamp ")
    assert lines[1].startswith("Check the fuel first: T50 212 °F does not fit"), "before anything else, as `limits` has it"
    assert sum("T50 212 °F does not fit" in line for line in lines) == 1
    hotfuel("board", "warnings", "--car", car_path, "--altitude", "1600 m", "--port", board.device)
    said = hotfuel("board", "info", "--port", board.device)
    assert said.count("limits age days: ") == 1
    assert "65535" not in said
    assert "channel 2: carb inlet" in said
    assert f"limits made: {datetime.date.today():%Y-%m-%d} " in said
    assert loaded["loaded"]["altitude_m"] == "1600"
    assert hotfuel("board", "info", "--port", board.device, as_json=True)["board"]["limits_altitude_m"] == "1600"
    lines = {"1": {"place": "pump", "gain": 1.0, "offset_degc": -0.8, "uncertainty_degc": 0.3, "made_on": "2026-06-01"}}
    calibration = car_path.with_name("calibration.json")
    arguments = ("board", "warnings", "--car", car_path, "--calibration", calibration, "--port", board.device)
    calibration.write_text(json.dumps({"board_id": about["board"]["board_id"], "channels": lines}))
    notes = hotfuel(*arguments, as_json=True)["notes"]
    assert [note.split(":")[0] for note in notes if "calibration" in note] == ["tank", "carb_inlet"]
    calibration.write_text(json.dumps({"board_id": "0123456789abcdef", "channels": lines}))
    assert "is of board 0123456789abcdef, this one is " + about["board"]["board_id"] in hotfuel(*arguments, code=1)


def test_a_cut_off_at_no_voltage_of_a_car_battery_is_refused_and_nothing_is_changed(board_at, hotfuel):
    port = ("--port", board_at(30, 45, 60, speed=10).device)
    for typed, volts in (
        ("12", "0.012 V"),
        ("118", "0.118 V"),
        ("1180", "1.18 V"),
        ("6000", "6 V"),
        ("14400", "14.4 V"),
        ("118000", "118 V"),
    ):
        said = hotfuel("board", "settings", "averages=2", f"low_voltage_mv={typed}", *port, code=1)
        assert f"low_voltage_mv={typed} is {volts}, at which no 12 V battery" in said
        assert "allowed is 10000 to 13000 mV" in said
        assert len(said.strip().splitlines()) == 1
    kept = hotfuel("board", "settings", "averages", "low_voltage_mv", *port, as_json=True)
    assert kept == {"averages": "1", "low_voltage_mv": "11800"}
    for typed in ("0", "10000", "12200", "13000"):
        assert hotfuel("board", "settings", f"low_voltage_mv={typed}", *port, as_json=True) == {"low_voltage_mv": typed}


def test_download_opens_like_any_session_and_resumes_where_it_stopped(board_at, hotfuel, tmp_path):
    board = board_at(30, 45, 60, speed=20)
    board_time = 120
    while board.time_s < board_time:
        board.wait(0.2)
    first = hotfuel("download", "--port", board.device, "--out", tmp_path / "s", as_json=True)
    decoded = samples.decode(tmp_path / "s" / "wire.log")
    assert decoded.losses.pieces_damaged == 0
    assert len(decoded.readings) > 2 * 3 * (board_time - 15)
    assert decoded.readings["known"].all()
    assert first["segments"] == len(list((tmp_path / "s" / "segments").glob("*.seg")))
    again = hotfuel("download", "--port", board.device, "--out", tmp_path / "s", as_json=True)
    assert again["bytes"] > first["bytes"]


def test_check_finds_offsets_a_broken_wire_and_swapped_wires(board_at, hotfuel, tmp_path):
    """Ice water: one probe 0.6 degC off, one with its wires swapped, one broken."""
    from hotfuel.temperature.thermocouple import emf_mv

    backwards = -float(emf_mv(0.0) - emf_mv(24.0))
    board = board_at(0.6, [backwards], 0.0, faults={2: "open_circuit"}, speed=10)
    out = tmp_path / "calibration.json"
    found = hotfuel("check", "--port", board.device, "--bath", "ice", "--out", out, as_json=True)
    line = Calibration.load(out).channels[0]
    assert line.offset_degc == pytest.approx(-0.6, abs=0.1)
    assert line.gain == 1.0
    assert set(json.loads(out.read_text())["channels"]) == {"0"}
    remarks = " ".join(found["remarks"])
    assert "wires are swapped" in remarks
    assert "carb_inlet" in remarks
    look = hotfuel("check", "--port", board.device, "--look", as_json=True)["probes"]
    assert look[2]["faults"] == ["open_circuit"]
    assert "a short to ground" in look[0]["cannot_see"]


def test_a_missing_port_is_one_sentence(hotfuel, tmp_path):
    said = hotfuel("board", "info", "--port", "/dev/not-there", code=1)
    assert "there is no port /dev/not-there" in said
    said = hotfuel("record", "--port", "/dev/not-there", "--out", tmp_path / "x", code=1)
    assert "there is no port" in said
    said = hotfuel("download", "--port", "/dev/not-there", "--out", tmp_path / "x", code=1)
    assert "there is no port" in said
    assert not (tmp_path / "x").exists(), "the same command must work once the board is there"
