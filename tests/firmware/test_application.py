"""The whole firmware on the stand-in board, under the real MicroPython and under CPython: the frames that come out of its port."""

import json
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import CONFIGURATION_LOST, EVENTS, NO_ANSWER, NOT_A_CODE, NOT_READY, OUTCOMES

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
HEAP = "384K"  # words are twice as large as on the board, and the stand-in's chips are in the same heap


@pytest.fixture(params=["micropython", "cpython"])
def run(request, tmp_path):
    """run(scenario) -> (list of (message name, values), other findings)"""
    program, root = [sys.executable], ROOT
    if request.param == "micropython":
        root = request.getfixturevalue("shipped")
        program = [request.getfixturevalue("micropython").program, "-X", f"heapsize={HEAP}"]

    def run(scenario, script="board_run.py", heap=HEAP):
        program[2:] = [f"heapsize={heap}"] if program[1:] else []
        command = [*program, str(HERE / script), str(root), f"{tmp_path}/", scenario]
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=120, check=False)
        assert done.returncode == 0, done.stdout[-1500:] + done.stderr[-1500:]
        reader = framing.FrameReader()
        messages = [codec.unpack(payload) for payload in reader.feed(done.stdout)]
        assert (reader.pieces_damaged, reader.bytes_damaged) == (0, 0)
        return messages, json.loads(done.stderr)

    return run


def only(messages, name):
    return [values for kind, values in messages if kind == name]


def events(messages):
    names = {code: name for name, code in EVENTS.items()}
    return [(names[values["code"]], values["channel"]) for values in only(messages, "event")]


def hots(messages, channel):
    return [reading["channels"][channel]["hot"] for reading in only(messages, "reading")]


def ids(payload_values):
    return codec.description_id(codec.pack("description", payload_values))


# 1, 2, 3 mV at gain 32: gain * 1.6 * 2^17 * V, datasheet of the MAX31856, calculated by hand
CODES = [6711, 13422, 20133]


def test_boot_describe_read(run):
    messages, _ = run("plain")
    assert messages[0][0] == "description"
    descriptions = only(messages, "description")
    assert len(descriptions) == 4, "at boot, again after a second (USB may not have been up), then every 10 s"
    first = descriptions[0]
    assert [channel["place"].rstrip(b"\0") for channel in first["channels"]] == [b"tank", b"pump", b"carb_inlet"]
    assert (first["period_ms"], first["boot_count"], first["reset_cause"], first["simulated"]) == (200, 1, 1, 1)
    gaps = [(later["time_ms"] - earlier["time_ms"]) / 1000 for earlier, later in pairwise(descriptions)]
    assert all(abs(gap - wanted) < 0.3 for gap, wanted in zip(gaps, (1, 10, 10), strict=True))
    readings = only(messages, "reading")
    assert [reading["tick"] for reading in readings] == list(range(1, len(readings) + 1))
    assert len(readings) in (103, 104, 105)
    for reading in readings:
        assert reading["description_id"] == ids(first)
        assert reading["time_ms"] // 200 == reading["tick"]
        assert [channel["hot"] for channel in reading["channels"]] == CODES
        assert {(channel["cold"], channel["status"]) for channel in reading["channels"]} == {(25 * 256, 0)}
    assert abs(len(only(messages, "auxiliary")) - 21) <= 1
    assert events(messages) == [("boot", 255)]
    health = only(messages, "health")
    assert len(health) == 2
    assert (health[-1]["late_ticks"], health[-1]["skipped_ticks"], health[-1]["frames_dropped"]) == (0, 0, 0)
    assert health[-1]["limits_age_days"] == health[-1]["store_free_kb"] == 0xFFFF or health[-1]["store_free_kb"] > 0
    assert 300 < health[-1]["longest_tick_us"] < 3000
    assert health[-1]["frames_sent"] > 110


def test_a_chip_that_goes_away_gives_no_answer_and_comes_back_by_itself(run):
    messages, _ = run("lost")
    middle = hots(messages, 1)
    assert middle.count(NO_ANSWER) == 15, "three seconds at 5 Hz"
    assert middle[-10:] == [CODES[1]] * 10
    assert [hot for hot in middle if hot < NOT_A_CODE and hot != NO_ANSWER] in (
        [NOT_READY],
        [CONFIGURATION_LOST, NOT_READY],
        [CONFIGURATION_LOST],
    )
    assert set(hots(messages, 0)) == {CODES[0]}
    assert set(hots(messages, 2)) == {CODES[2]}
    kinds = [event for event in events(messages) if event[1] == 1]
    assert kinds[:2] == [("chip_lost", 1), ("chip_found", 1)]
    assert kinds[2:] in ([], [("configuration_lost", 1)])


def test_a_module_that_cannot_start_is_reported(run):
    messages, found = run("broken")
    assert found["lamp"] == [8, 2]
    assert only(messages, "health")[0]["failed"] == 2
    later, found = run("mended")
    assert found["lamp"][1] == 0
    messages += later
    names = [name for name, _ in events(messages)]
    assert names.count("module_failed") == 2, "in its boot, and once after it"
    told = [values for values in only(messages, "event") if values["code"] == EVENTS["module_failed"]]
    assert {values["value"] for values in told} == {1}
    assert all(values["detail"].startswith(b"store: TypeError") for values in told)
    infos = [reply["answer"] for reply in only(messages, "reply") if b"board_id" in reply["answer"]]
    assert b"\nfailed=store\nfailure=boot 1, store: TypeError" in infos[0]
    assert b"\nfailed=\nfailure=boot 1, store: TypeError" in infos[1]


def test_a_loose_plug_does_not_wear_the_flash(run):
    """In and out every second for five minutes: at most a tenth more flushes than in five quiet ones; the final state is reported all the same."""
    messages, found = run("storm")
    assert found["quiet"] >= 28
    assert found["storm"] <= 1.1 * found["quiet"], found
    told = [name for name, channel in events(messages) if channel == 1]
    assert told[:2] == ["chip_lost", "configuration_lost"] or told[:2] == ["chip_lost", "chip_found"]
    assert 4 <= told.count("chip_unsteady") <= 6
    assert len(told) <= 9
    losses = sum(values["value"] for values in only(messages, "event") if values["code"] == EVENTS["chip_unsteady"])
    assert losses >= 149 - 30, "all but the last minute's, which are not reported yet"


def test_a_brown_out_costs_one_tick_and_is_never_a_temperature(run):
    messages, _ = run("brown_out")
    for channel in range(3):
        codes = hots(messages, channel)
        assert codes.count(CONFIGURATION_LOST) == 1
        assert set(codes) <= {CODES[channel], CONFIGURATION_LOST, NOT_READY}
        assert codes.count(NOT_READY) <= 1
        assert codes[-5:] == [CODES[channel]] * 5
    assert [event for event in events(messages) if event[0] == "configuration_lost"] == [
        ("configuration_lost", n) for n in range(3)
    ]


def test_a_chip_that_was_never_there(run):
    messages, _ = run("absent")
    assert set(hots(messages, 1)) == {NO_ANSWER}
    assert set(hots(messages, 2)) == {CODES[2]}
    assert events(messages).count(("chip_lost", 1)) == 1


def test_exceptions_become_events_and_sampling_goes_on(run):
    messages, _ = run("exception")
    exceptions = [values for values in only(messages, "event") if values["code"] == EVENTS["exception"]]
    details = [values["detail"].decode() for values in exceptions]
    assert len(details) in (2, 3)
    assert details[0].startswith("ValueError: planted in the main loop; File ")
    assert "board_run.py" in details[0]
    assert "line" in details[0]
    assert all(detail.startswith("TypeError: ") for detail in details[1:])
    ticks = [reading["tick"] for reading in only(messages, "reading")]
    assert ticks == sorted(set(ticks))
    assert ticks[-1] >= 48
    assert len(ticks) >= 38
    assert hots(messages, 0)[-5:] == [CODES[0]] * 5


def test_settings_change_description_rate_and_survive_a_boot(run):
    messages, _ = run("settings")
    replies = only(messages, "reply")
    outcomes = {number: name for name, number in OUTCOMES.items()}
    assert [(reply["sequence"], outcomes[reply["outcome"]]) for reply in replies] == [
        (1, "bad_argument"),
        (2, "done"),
        (3, "done"),
        (4, "done"),
        (5, "done"),
        (6, "done"),
        (7, "done"),
        (8, "not_fitted"),
    ] or outcomes[replies[-1]["outcome"]] == "done"
    assert replies[0]["answer"] == b"rate_hz is 10; with mode=one_shot and mains_hz=60 allowed: 1, 2, 5"
    assert replies[2]["answer"] == b"rate_hz=10"
    assert b"rate_hz" in replies[3]["answer"].split(b",")
    assert replies[4]["answer"] == b"protocol=2\nfirmware=0.1.0\nlast_sequence=2"
    assert b"boot_count=1" in replies[5]["answer"]
    assert ("settings_changed", 255) in events(messages)
    descriptions = {ids(values): values for values in only(messages, "description")}
    assert sorted(values["period_ms"] for values in descriptions.values()) == [100, 200]
    by_period = {100: [], 200: []}
    for reading in only(messages, "reading"):
        by_period[descriptions[reading["description_id"]]["period_ms"]].append(reading)
    assert len(by_period[200]) in (9, 10)
    assert len(by_period[100]) >= 38
    for period_ms, readings in by_period.items():
        assert {later["tick"] - earlier["tick"] for earlier, later in pairwise(readings)} == {1}
        assert all(reading["tick"] == reading["time_ms"] // period_ms for reading in readings)
    fast = [reading["channels"][0]["hot"] for reading in by_period[100]]
    assert fast[0] == NOT_READY
    assert set(fast[3:]) == {CODES[0]}
    mark = next(values for values in only(messages, "event") if values["code"] == EVENTS["mark"])
    assert mark["detail"] == b"hot at the pump"
    messages, found = run("again")
    assert found["rate_hz"] == 10
    assert {values["boot_count"] for values in only(messages, "description")} == {2}


def test_board_time_continues_across_the_interpreters_wrap(run):
    messages, _ = run("wrap")
    readings = only(messages, "reading")
    assert [reading["tick"] for reading in readings] == list(range(1, len(readings) + 1))
    assert len(readings) >= 48


def test_a_host_that_does_not_read_for_a_minute_delays_no_tick(run):
    messages, found = run("deaf_host")
    assert found["late"] == 0
    assert found["dropped"] > 150
    assert 7900 < found["waiting"] <= 8192 + framing.FRAME_MAX
    ticks = [reading["tick"] for reading in only(messages, "reading")]
    late = [tick for tick in ticks if tick > 200]
    assert late == list(range(late[0], late[-1] + 1)), "the latest are there, without a gap"
    assert late[-1] >= 322


def test_flash_erases_of_400_ms_cost_ticks_but_no_wrong_readings(run):
    """Datasheets of the Pico's flash: up to 400 ms for a 4 KB block, during which interrupts are off."""
    messages, found = run("erases")
    assert found["erases"] >= 18
    assert found["erases"] // 2 <= found["late"] <= 2 * found["erases"], "at most ceil(0.4 s * 5 Hz) each"
    readings = only(messages, "reading")
    ticks = [reading["tick"] for reading in readings]
    assert ticks == sorted(set(ticks))
    assert max(later - earlier for earlier, later in pairwise(ticks)) <= 3
    assert all(reading["time_ms"] // 200 == reading["tick"] for reading in readings)
    gaps = [later["time_ms"] - earlier["time_ms"] for earlier, later in pairwise(readings)]
    assert min(gaps) >= 100
    assert max(gaps) <= 610
    assert set(hots(messages, 0)) <= {CODES[0], NOT_READY}


def test_mixed_amplifiers(run):
    pytest.importorskip("hotfuel.simulator.chips.max31855", reason="the simulator has no MAX31855 yet")
    pytest.importorskip("hotfuel.simulator.chips.mcp960x", reason="the simulator has no MCP9601 yet")
    messages, _ = run("mixed")
    last = only(messages, "description")[-1]
    assert [(channel["chip"], channel["resolution_bits"]) for channel in last["channels"]] == [(1, 19), (2, 14), (3, 18)]
    readings = [reading for reading in only(messages, "reading") if reading["description_id"] == ids(last)]
    assert {reading["channels"][0]["hot"] for reading in readings} == {CODES[0]}
    # 2 mV over 25 degC at 41.276 uV/degC is 48.45 degC above it: 73.45 degC = 293.8 quarters
    assert {reading["channels"][1]["hot"] for reading in readings} <= {293, 294}
    assert {reading["channels"][1]["cold"] for reading in readings} == {25 * 16}
    third = [reading["channels"][2]["hot"] for reading in readings]
    assert set(third) == {1500, NOT_READY}, "3 mV at 2 uV a bit, every 320 ms"
    assert 0.3 < third.count(1500) / len(third) < 0.7


def test_other_inputs(run):
    pytest.importorskip("hotfuel.simulator.chips.bmp280", reason="the simulator has no BMP280 yet")
    messages, _ = run("inputs")
    last = only(messages, "auxiliary")[-1]
    assert (last["battery"], last["fuel_pressure"], last["pulses"]) == (24000, 30000, 1234)
    assert last["fitted"] == 63
    assert last["inputs"] == 1
    assert last["barometer_length"] == 6
    words = only(messages, "barometer")
    assert (words[-1]["chip"], words[-1]["words_length"]) == (1, 24)
    assert ("ignition_on", 255) in events(messages)
    mark = next(values for values in only(messages, "event") if values["code"] == EVENTS["mark"])
    assert 440 < mark["value"] < 560


def test_junk_and_senseless_commands_change_and_stop_nothing(run):
    messages, found = run("fuzz")
    assert found["unchanged_by_junk"] is True
    assert found["unchanged"] is True
    assert found["answered"] == 400
    assert [event["detail"] for event in only(messages, "event") if event["code"] == EVENTS["exception"]] == []
    ticks = [reading["tick"] for reading in only(messages, "reading")]
    assert ticks == list(range(1, len(ticks) + 1))
    assert len(ticks) > 200
    outcomes = {reply["outcome"] for reply in only(messages, "reply")}
    assert OUTCOMES["failed"] not in outcomes, "a handler raised something else than its refusal"


def test_service_ends_at_the_prompt_once(run):
    messages, found = run("service")
    reply = only(messages, "reply")[-1]
    assert reply["outcome"] == OUTCOMES["done"]
    assert found["reset"] == 10
    assert found["took_ms"] < 1500
    assert found["flag"] is True
    assert found["prompt"] == [True, False]
    assert found["button"] is True
