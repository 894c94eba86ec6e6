"""`hotfuel board check` against the real firmware on a simulated board, and its messages for what cannot be simulated there."""

import json

import pytest
from hotfuel.cli import board_check
from hotfuel.cli.board_check import BY_HAND, FINE, TROUBLE, chip_row, input_rows, more_rows, rail_rows


def test_a_healthy_box(board_at, hotfuel, tmp_path, monkeypatch):
    monkeypatch.setattr(board_check, "MORE_S", 0.3)
    board = board_at(30, 45, 60, speed=5, settings={"more_inputs": ("analogue_1", "flow_1")})
    path = tmp_path / "kept.json"
    result = hotfuel("board", "check", "--port", board.device, "--out", path, as_json=True)
    state = {row["what"]: row["state"] for row in result["rows"]}
    assert state["MAX31856, tank"] == state["MAX31856, pump"] == state["MAX31856, carb inlet"] == FINE
    assert state["3V3S"] == state["store"] == FINE
    assert state["probe, pump"] == state["lamp"] == BY_HAND
    assert state["analogue 1"] == state["flow 1"] == BY_HAND  # it answers, 0 V; no flow
    assert result["trouble"] == 0
    kept = json.loads(path.read_text(encoding="utf-8"))
    about = hotfuel("board", "info", "--port", board.device, as_json=True)
    assert kept["board_id"] == about["board"]["board_id"]
    assert len(kept["rows"]) == len(result["rows"])
    said = hotfuel("board", "check", "--port", board.device, "--out", path)
    assert "[x] MAX31856, pump" in said
    assert "[ ] probe, pump" in said


CHIP = {"name": "MAX31856", "pulled_up": "0", "others_quiet": "1", "answer": "ok", "hot": "1", "cold": "6400", "status": "0"}


@pytest.mark.parametrize(
    ("changes", "state", "words"),
    [
        ({}, FINE, "terminals at 25.0 °C"),
        ({"answer": "silent", "pulled_up": "1"}, TROUBLE, "never selected"),
        ({"answer": "silent"}, TROUBLE, "no answer"),
        ({"others_quiet": "0"}, TROUBLE, "another module drives"),
        ({"answer": "configuration_lost"}, TROUBLE, "does not keep"),
        ({"status": "1"}, TROUBLE, "open circuit"),
        ({"name": "MAX31855", "cold": "400"}, FINE, "terminals at 25.0 °C"),
        ({"name": "MCP9601", "cold": "400", "status": "64"}, FINE, "terminals at 25.0 °C"),  # bit 6: a new conversion
        ({"name": "MCP9601", "cold": "400", "status": "80"}, TROUBLE, "open circuit"),
    ],
)
def test_messages_for_a_chip(changes, state, words):
    _, got, said = chip_row("pump", CHIP | changes)
    assert got == state
    assert words in said


def test_messages_for_rails():
    def state(**said):
        return {what: state for what, state, _ in rail_rows(said)}

    good = {"vsys_mv": "4700", "before": "ok,silent", "off": "silent,silent", "after": "ok,silent"}
    assert state(**good) == {"VSYS": FINE, "3V3S": FINE, "5VS": BY_HAND}
    assert state(**good | {"off": "answers,silent"})["3V3S"] == TROUBLE
    assert state(**good | {"after": "silent,silent"})["3V3S"] == TROUBLE
    assert state(**good | {"before": "silent,silent"})["3V3S"] == BY_HAND
    assert state(**good | {"vsys_mv": "5600"})["VSYS"] == TROUBLE
    assert state(**good | {"vsys_mv": "0"})["VSYS"] == BY_HAND


def test_messages_for_inputs():
    said = {
        "fitted": "battery,fuel_pressure,ignition",
        "battery_mv": "12600",
        "fuel_pressure_code": "32768",
        "ignition": "0",
        "button": "0",
        "clock": "ok",
    }
    states = {what: state for what, state, _ in input_rows(said)}
    assert states == {"battery": FINE, "fuel pressure": FINE, "ignition": BY_HAND, "clock chip": FINE, "button": BY_HAND}
    states = {what: state for what, state, _ in input_rows(said | {"battery_mv": "0", "fuel_pressure_code": "0", "button": "1"})}
    assert states["battery"] == states["fuel pressure"] == states["button"] == TROUBLE
    assert [what for what, *_ in input_rows(said | {"fitted": ""})] == ["clock chip", "button"]


MORE = {"fitted": "analogue_1,flow_1,receiver", "analogue_1": "8000", "flow_1": "40"}
MORE |= {"receiver_good": "10", "receiver_bad": "0", "receiver_fixed": "1"}


@pytest.mark.parametrize(
    ("later", "states", "words"),
    [
        ({"flow_1": "90", "receiver_good": "20"}, (FINE, BY_HAND, FINE), "1.00 V"),  # 8000 codes of 125 uV
        ({"flow_1": "90", "receiver_good": "20"}, (FINE, BY_HAND, FINE), "50 pulses in 2 s"),
        ({"receiver_good": "20"}, (FINE, BY_HAND, FINE), "quiet (40 so far)"),
        ({"receiver_good": "20", "receiver_fixed": "0"}, (FINE, BY_HAND, BY_HAND), "no position yet"),
        ({}, (FINE, BY_HAND, TROUBLE), "no sentence in 2 s"),
        ({"receiver_bad": "3"}, (FINE, BY_HAND, TROUBLE), "only damaged sentences (3)"),
        ({"analogue_1": "silent", "receiver_good": "20"}, (TROUBLE, BY_HAND, FINE), "no answer from the ADS1115"),
        ({"analogue_1": "0", "receiver_good": "20"}, (BY_HAND, BY_HAND, FINE), "0.00 V"),
    ],
)
def test_messages_for_further_inputs(later, states, words):
    rows = more_rows(MORE, MORE | later, 2.0)
    assert tuple(state for _, state, _ in rows) == states
    assert [what for what, *_ in rows] == ["analogue 1", "flow 1", "receiver"]
    assert any(words in said for *_, said in rows)
    assert more_rows({"fitted": ""}, {"fitted": ""}, 2.0) == []
