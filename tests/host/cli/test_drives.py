"""Recording and viewing a drive as a user does: simulator, record, decode and review by hand; ports that are wrong or disappear."""

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace

import pandas as pd
import pytest
from hotfuel import car as car_file
from hotfuel import samples
from hotfuel import session as sessions
from hotfuel.simulator import scenarios


@pytest.fixture
def car_path(tmp_path):
    path = tmp_path / "car.toml"
    path.write_text(car_file.EXAMPLE, encoding="utf-8")
    return path


def accepts_ctrl_c():
    """In the background of a shell Ctrl-C is ignored, and child processes would inherit that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextlib.contextmanager
def running(*arguments):
    process = subprocess.Popen(
        [sys.executable, "-m", "hotfuel", *map(str, arguments)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=accepts_ctrl_c,
    )  # fmt: skip
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def until_bytes(recorder, log, count):
    """Wait until a recording has this many bytes; a busy machine takes longer."""
    while not log.exists() or log.stat().st_size < count:
        assert recorder.poll() is None, recorder.communicate()
        time.sleep(0.05)


def reasons(gaps):
    """The reasons of the gaps, without silences: a busy machine can starve the simulator, which is not tested here."""
    return [gap.reason for gap in gaps if gap.reason != "silence"]


@pytest.fixture
def device():
    """The port of `hotfuel simulator --pty` at 10 times real time; it disappears when the drive is over, three minutes later."""
    with running("simulator", "--pty", "--speed", "10") as process:
        yield process.stdout.readline().strip()


def test_simulator_record_decode_and_review_by_hand(device, hotfuel, tmp_path, car_path):
    session = tmp_path / "drive"
    with running("record", "--port", device, "--car", car_path, "--out", session, "--json") as recorder:
        until_bytes(recorder, session / "wire.log", 40_000)
        recorder.send_signal(signal.SIGINT)
        said, errors = recorder.communicate(timeout=120)
    assert recorder.returncode == 0, errors
    assert sessions.open(session).ending is None  # ended by Ctrl-C
    recorded, losses = json.loads(said), samples.decode(session / "wire.log").losses
    assert recorded["frames"] > 300
    assert recorded["gaps"] == len(losses.gaps)
    assert reasons(losses.gaps) == []
    for ending in ("csv", "parquet"):
        hotfuel("decode", session, "--out", tmp_path / f"drive.{ending}")
    table = pd.read_csv(tmp_path / "drive.csv")
    stored = pd.read_parquet(tmp_path / "drive.parquet")
    assert len(table) == len(stored) == len(samples.decode(session / "wire.log").readings) / 3
    assert {"tank_degc", "pump_margin_degc", "carb_inlet_needle_limit_degc", "engine_rpm", "ambient_pressure_kpa"} <= set(
        table.columns
    )
    assert table["pump_degc"].between(20, 60).all()
    facts = ["--about", "customer=A. Person", "--about", "ambient_degc=90 degF"]
    page = hotfuel("review", session, "--out", tmp_path / "drive.html", *facts, as_json=True)
    assert page["summary"]["smallest"]["place"] == "pump"
    text = (tmp_path / "drive.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "Blue saloon" in text
    assert "A. Person" in text
    assert "90.0 °F" in text
    before = (session / "wire.log").read_bytes()
    again = hotfuel("record", "--port", device, "--out", session, "--for", "1")
    assert f"{session} is a finished recording: this recording goes to {session}-2." in again
    assert (session / "wire.log").read_bytes() == before
    assert len(samples.decode(tmp_path / "drive-2").readings)


def test_a_killed_recorder_leaves_a_session_that_opens(device, hotfuel, tmp_path, car_path):
    session = tmp_path / "killed"
    with running("record", "--port", device, "--car", car_path, "--out", session) as process:
        log = session / "wire.log"
        until_bytes(process, log, 20_000)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    size = log.stat().st_size
    assert size >= 20_000
    decoded = samples.decode(log)
    assert decoded.losses.ticks_missing == 0
    assert len(decoded.readings) / 3 > 0.5 * size / 60
    assert sessions.open(session).ending.unended
    hotfuel("review", session, "--out", tmp_path / "killed.html")
    # the same command continues the drive
    again = hotfuel("record", "--port", device, "--car", car_path, "--out", session, "--for", "2")
    assert f"{session} was cut off: this recording goes on with it." in again
    assert sessions.open(session).ending is None  # ended after its time
    decoded = samples.decode(log)
    assert log.stat().st_size > size
    assert decoded.messages["log_start"]["part"].tolist() == [0, 1]
    assert reasons(decoded.losses.gaps) == ["recorder_stopped"]
    assert set(decoded.readings["boot"].tolist()) == {0}
    elsewhere = hotfuel("record", "--port", device, "--out", session, "--for", "1")
    assert f"this recording goes to {session}-2" in elsewhere


def test_a_closed_terminal_window_ends_a_recording(device, tmp_path):
    session = tmp_path / "closed"
    with running("record", "--port", device, "--out", session) as recorder:
        until_bytes(recorder, session / "wire.log", 5_000)
        recorder.send_signal(signal.SIGHUP)
        recorder.communicate(timeout=60)
    assert sessions.open(session).ending is None


def test_a_port_that_disappears_leaves_a_readable_session(hotfuel, tmp_path, car_path):
    """The board is unplugged and never plugged in again: the recorder keeps trying; ended by hand it leaves a session with the gap in it."""
    log = tmp_path / "s" / "wire.log"
    with running("simulator", "--pty", "--speed", "20") as simulator:
        port = simulator.stdout.readline().strip()
        with running("record", "--port", port, "--car", car_path, "--out", tmp_path / "s", "--json") as recorder:
            until_bytes(recorder, log, 20_000)
            simulator.send_signal(signal.SIGINT)
            simulator.wait(60)
            time.sleep(2)
            recorder.send_signal(signal.SIGTERM)
            said, errors = recorder.communicate(timeout=60)
    assert recorder.returncode == 0, errors
    assert "Traceback" not in errors
    assert sessions.open(log).ending is None  # ended by SIGTERM, as a terminal multiplexer or a shutdown does
    recorded = json.loads(said)
    assert recorded["frames"] > 300
    losses = samples.decode(log).losses
    assert recorded["gaps"] == len(losses.gaps)
    assert recorded["gap_s"] > 1
    assert reasons(losses.gaps) == ["port_gone"]


def test_a_wrong_device_is_reported_and_its_bytes_are_kept(hotfuel, tmp_path):
    master, slave = os.openpty()
    with (
        contextlib.closing(os.fdopen(master, "wb", buffering=0)) as other,
        running("record", "--port", os.ttyname(slave), "--out", tmp_path / "s", "--for", "4") as process,
    ):
        os.set_blocking(other.fileno(), False)  # a full buffer before the port is opened is no reason to wait
        while process.poll() is None:
            other.write(b"$GPRMC,120000,A,4717.1,N,00833.9,E\r\n")
            time.sleep(0.1)
        said = process.communicate(timeout=30)[1]
    os.close(slave)
    assert process.returncode == 1
    assert "not one frame arrived" in said
    assert "Traceback" not in said
    assert b"$GPRMC" in (tmp_path / "s" / "wire.log").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["review", "not-there"], 1, "does not exist"),
        (["decode", "not-there", "--out", "x.csv"], 1, "does not exist"),
        (["decode", __file__, "--out", "x.csv"], 1, "is no recording"),
        (["review", __file__], 1, "is no recording"),
        (["simulator", "--car-out", __file__, "--for", "0.1"], 1, "nothing is overwritten"),  # another file of the owner's
        (["demo", "--out", __file__], 1, "cannot be written"),
        (["demo", "--drive", "to the moon"], 1, "there is no drive"),
        (["follow", "somewhere"], 2, "--page or --terminal"),
        (["limits"], 2, "--car FILE, --fuel NAME"),
        (["limits", "--fuel", "D4814 Q"], 1, "D4814"),
        (["limits", "--fuel", "D4814 A-1", "--altitude", "90000 m"], 1, "altitude"),
        (["limits", "--fuel", "D4814 A-1", "--altitude", "6100 m"], 1, "allowed is -430 m to 6000 m"),
        (["limits", "--fuel", "D4814 A-1", "--altitude", "1600"], 1, "has no unit"),
        (["compare", "nonsense"], 2, "NAME=SESSION"),
        (["power", "nonsense"], 2, "NAME=FILE"),
        (["power", "--plan", "much"], 2, "0.7 % at 0.5 %"),
        (["forecast", "not-there", "--ice", "3 kg"], 2, "give --cooler with them"),
    ],
)
def test_wrong_use_is_one_sentence(hotfuel, tmp_path, monkeypatch, arguments, code, words):
    monkeypatch.chdir(tmp_path)
    said = hotfuel(*arguments, code=code)
    assert words in said
    assert len(said.strip().splitlines()) == 1


def test_questions_about_a_data_sheet_come_once_and_first(hotfuel, tmp_path):
    sheet = (
        car_file.EXAMPLE.replace('"60 kPa"', '"100 kPa"').replace('"55 degC"', '"75 degC"').replace('"100 degC"', '"120 degC"')
    )
    (tmp_path / "car.toml").write_text(sheet, encoding="utf-8")
    said = " ".join(hotfuel("limits", "--car", tmp_path / "car.toml", "--figure", tmp_path / "x.html").split())
    assert said.startswith("At 1969 ft this fuel's lowest limit is at the pump: ")
    assert "figure: " in said.rpartition(". ")[2]
    assert said.count("T10 167 °F does not fit a vapour pressure of 14.5 psi") == 1
    assert said.index("T10 167 °F does not fit") < said.index("with the doubt about its figures")
    assert "Pressure at the tank: vented tank: air pressure. Pressure at the pump: running" in said
    first, _, then = said.partition(". ")  # the caution is the second sentence: no number after the first is read without it
    assert then.startswith("Check the fuel first: T10 167 °F does not fit")
    assert "does not fit" not in first
    assert "°C" not in said  # the example car is read in degF
    assert "degC" not in said


def test_ethanol_that_does_not_fit_the_other_figures_is_doubted_before_a_limit_is_relied_on(hotfuel, tmp_path):
    (tmp_path / "car.toml").write_text(car_file.EXAMPLE.replace('ethanol = "0 %"', 'ethanol = "85 %"'), encoding="utf-8")
    said = hotfuel("limits", "--car", tmp_path / "car.toml").splitlines()
    assert said[1].startswith("Check the fuel first: T50 212 °F does not fit")
    assert "ethanol 85 vol-%" in said[1]
    assert said[2].startswith("Standing")
    by_class = hotfuel("limits", "--fuel", "D4814 A-1")
    assert "Check the fuel first" not in by_class
    assert by_class.splitlines()[1].startswith("Standing and at idle the lowest limit is 54 °C")


def test_an_impossible_figure_of_the_fuel_names_file_and_table(hotfuel, tmp_path):
    (tmp_path / "car.toml").write_text(car_file.EXAMPLE.replace('"100 degC"', '"120 degF"'), encoding="utf-8")
    said = hotfuel("limits", "--car", tmp_path / "car.toml", code=1)
    assert said.startswith("hotfuel: car.toml: fuel: T50 120 °F is not above T10 131 °F")
    for t10, words in (
        ("110 degC", "T50 100 degC is not above T10 110 degC"),
        ("230 degF", "T50 212 °F is not above T10 230 °F"),
    ):
        text = car_file.EXAMPLE.replace('"55 degC"', f'"{t10}"')  # the reader's units are us
        assert text != car_file.EXAMPLE
        (tmp_path / "car.toml").write_text(text, encoding="utf-8")
        assert hotfuel("limits", "--car", tmp_path / "car.toml", code=1).startswith(f"hotfuel: car.toml: fuel: {words}")


def test_an_empty_recording_is_one_sentence_and_no_report(tmp_path):
    (tmp_path / "wire.log").touch()
    said = subprocess.run(
        [sys.executable, "-m", "hotfuel", "review", tmp_path, "--out", tmp_path / "page.html"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 1
    assert said.stdout == ""
    assert (
        said.stderr
        == f"hotfuel: {tmp_path.name} has no reading in it, so no report was written: record first, or give another session\n"
    )
    assert not (tmp_path / "page.html").exists()


def test_an_empty_recording_is_one_sentence_and_no_table(hotfuel, tmp_path):
    (tmp_path / "wire.log").touch()
    said = hotfuel("decode", tmp_path, "--out", tmp_path / "table.csv", code=1)
    assert (
        said == f"hotfuel: {tmp_path.name} has no reading in it, so no table was written: record first, or give another session\n"
    )
    assert not (tmp_path / "table.csv").exists()


@pytest.mark.parametrize(
    ("asked", "classes"),
    [("D4814 A-6", "D4814 A-1, D4814 A-2, D4814 A-3, D4814 A-4, D4814 A-5"), ("D4814 AA-5", "D4814 AA-4, or another letter")],
)
def test_a_class_no_fuel_has_is_answered_with_those_that_exist(hotfuel, asked, classes):
    said = hotfuel("limits", "--fuel", asked, code=1)
    assert f"no fuel with 10 % ethanol is of class {asked}: choose from" in said
    assert classes in said
    assert "T50" not in said
    assert len(said.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("drive", "altitude_m", "vapour_pressure_kpa", "pump"),
    [
        ("summer drive", 600, 60, "mechanical"),
        ("winter fuel", 600, 90, "mechanical"),
        ("at 1600 m", 1600, 60, "mechanical"),
        ("pump in the tank", 600, 60, "electric_submerged"),
    ],
)
def test_the_simulated_cars_file_says_what_was_simulated(tmp_path, hotfuel, drive, altitude_m, vapour_pressure_kpa, pump):
    hotfuel("simulator", "--drive", drive, "--car-out", tmp_path / "new" / "car.toml", "--for", "0.1")
    described = car_file.load(tmp_path / "new" / "car.toml")
    assert described.altitude_m == altitude_m
    assert described.fuel_table.vapour_pressure_kpa == vapour_pressure_kpa
    assert described.pump.kind == pump


def test_the_demo_runs_twice_and_overwrites_nothing(hotfuel, tmp_path, monkeypatch):
    monkeypatch.setattr(scenarios, "STEADY_40_MPH", [replace(phase, minutes=1.0) for phase in scenarios.STEADY_40_MPH])
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hotfuel-demo").mkdir()
    (tmp_path / "hotfuel-demo" / "mine.txt").write_text("mine")
    at = ("--started", "2026-06-01 14:05")
    made = hotfuel("demo", "--drive", "steady 40 mph", *at, as_json=True)
    assert made["session"] == "hotfuel-demo-2/drive"
    assert (tmp_path / "hotfuel-demo" / "mine.txt").read_text() == "mine"
    assert made["summary"]["smallest"]["smallest_margin_degc"] > 0
    said = hotfuel("demo", "--drive", "steady 40 mph", *at, "--headless").splitlines()
    answer = hotfuel("review", "hotfuel-demo-3/drive").splitlines()[0]
    # at 40 mph the margin hardly changes, so the minute in which it was smallest does, with the noise and the second the recording began
    minute = re.compile(r"\b14:0\d\b")
    assert minute.sub("", answer) == minute.sub("", made["answer"]), "the same drive"
    assert said[said.index(answer) - 1].startswith("All of this is simulated. "), "the last line is the answer"
    assert not any(line.startswith("hottest") for line in said[said.index(answer) :])


@pytest.mark.slow
def test_the_simulator_says_that_its_drive_is_over(tmp_path):
    with running("simulator", "--pty", "--speed", "300", "--drive", "steady 40 mph") as process:
        device = process.stdout.readline().strip()
        with running("record", "--port", device, "--out", tmp_path / "drive"):
            _, said = process.communicate(timeout=120)
    assert process.returncode == 0
    assert (
        said.strip().splitlines()[-1]
        == "the simulated drive is over and the board has gone: a recording of it can be ended with Ctrl-C"
    )
