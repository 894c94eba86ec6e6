"""Analogue inputs that are not wired: an open pin floats, and must not be taken for a weak battery or a running pump."""

import importlib.util
import sys
import types
from pathlib import Path

import pytest

BOARD = Path(__file__).parents[2] / "firmware" / "board.py"
PULL_DOWN_OHM, FLOATING_V = 60_000, 0.8  # RP2040 datasheet: 50 to 80 kOhm; an open pin may be at any voltage


class Wire:
    """The source at an ADC pin: a voltage behind a resistance; None: nothing connected."""

    def __init__(self):
        self.source = None
        self.pulled = False

    def volts(self):
        if self.source is None:
            return 0.001 if self.pulled else FLOATING_V
        volts, ohm = self.source
        return volts * PULL_DOWN_OHM / (PULL_DOWN_OHM + ohm) if self.pulled else volts


@pytest.fixture
def bench(monkeypatch):
    wires = {26: Wire(), 27: Wire()}
    slept = []

    class Pin:
        IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 1, 2

        def __init__(self, number, mode=-1, pull=-1, value=None):
            if pull == Pin.PULL_DOWN:
                wires[number].pulled = True

    class ADC:
        def __init__(self, number):
            self._wire = wires[number]
            self._wire.pulled = False  # the rp2 port switches the pulls off

        def read_u16(self):
            return round(self._wire.volts() / 3.3 * 65535)

    poll = types.SimpleNamespace(register=lambda *_: None)
    for name, module in (
        ("machine", types.SimpleNamespace(Pin=Pin, ADC=ADC)),
        ("micropython", types.SimpleNamespace()),
        ("select", types.SimpleNamespace(poll=lambda: poll, POLLIN=1, POLLOUT=4)),
        ("time", types.SimpleNamespace(ticks_ms=int, ticks_us=int, sleep_ms=slept.append)),
    ):
        monkeypatch.setitem(sys.modules, name, module)
    spec = importlib.util.spec_from_file_location("board_under_test", BOARD)
    board = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(board)
    return board, wires, slept


def battery(volts):
    return volts / 11, 100_000 * 10_000 / 110_000


def test_an_open_pin_gives_no_reading(bench):
    board, _, _ = bench
    assert [board.analogue("battery") for _ in range(3)] == [0, 0, 0]
    assert board.analogue("fuel_pressure") == 0


@pytest.mark.parametrize("volts", [8.0, 11.5, 12.6, 15.0])
def test_a_wired_battery_is_read_with_the_pull_down_off(bench, volts):
    board, wires, slept = bench
    wires[26].source = battery(volts)
    for _ in range(2):
        assert board.analogue("battery") * 11 * 3.3 / 65535 == pytest.approx(volts, abs=0.01)
    assert len(slept) == 2, "it waits to settle once, not at every reading"


def test_a_sender_without_pressure_counts_as_wired_and_a_battery_may_be_connected_later(bench):
    board, wires, _ = bench
    wires[27].source = (0.1 * 3.3, 6600)
    assert board.analogue("fuel_pressure") == pytest.approx(6554, abs=2)
    assert board.analogue("battery") == 0
    wires[26].source = battery(12.6)
    assert board.analogue("battery") * 11 * 3.3 / 65535 == pytest.approx(12.6, abs=0.01)
