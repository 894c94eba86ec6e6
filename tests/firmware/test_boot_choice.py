"""What a boot decides before anything runs: prompt or application, and the reason for the start."""

import importlib.util
import sys
import types
from pathlib import Path

import lamp
import pytest
from hotfuel_wire.messages import RESET_CAUSES

BOARD = Path(__file__).parents[2] / "firmware" / "board.py"


class Bench:
    """A button's wire with a capacitance that the pull-up charges; time passes only while the program sleeps, and by the length of a call."""

    def __init__(self):
        self.now_us = 0.0
        self.pull_ohm = 80_000  # RP2040 datasheet: 50 to 80 kohm
        self.farad = 5e-12
        self.pressed = False
        self.enabled_us = None
        self.lit = []
        self.cause = 1
        self.reset = 0
        self.timer = None

    def level(self):
        self.now_us += 16.5  # measured on the emulated board: from pull-up on to read
        if self.pressed:
            return 0
        charged = 1 - 2.718281828 ** (-(self.now_us - self.enabled_us) * 1e-6 / (self.pull_ohm * self.farad))
        return 1 if 3.3 * charged >= 2.0 else 0  # RP2040 datasheet: reads high from 2.0 V


@pytest.fixture
def bench(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    made = Bench()

    class Pin:
        IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 1, 2

        def __init__(self, number, mode=-1, pull=-1, value=None):
            self.output = mode == Pin.OUT
            if pull == Pin.PULL_UP:
                made.enabled_us = made.now_us

        def __call__(self, level=None):
            if self.output:
                made.lit.append(level)
                return None
            return made.level()

    class Timer:
        PERIODIC = 1

        def __init__(self, number):
            made.timer = self

        def init(self, mode, period, callback):
            self.period, self.callback = period, callback

    def reset():
        made.reset += 1

    def sleep_ms(ms):
        made.now_us += ms * 1000

    machine = types.SimpleNamespace(Pin=Pin, Timer=Timer, reset=reset, reset_cause=lambda: made.cause, PWRON_RESET=1, WDT_RESET=3)
    poll = types.SimpleNamespace(register=lambda *_: None)
    for name, module in (
        ("machine", machine),
        ("micropython", types.SimpleNamespace()),
        ("select", types.SimpleNamespace(poll=lambda: poll, POLLIN=1, POLLOUT=4)),
        ("time", types.SimpleNamespace(ticks_ms=int, ticks_us=int, sleep_ms=sleep_ms)),
    ):
        monkeypatch.setitem(sys.modules, name, module)

    def boot():
        spec = importlib.util.spec_from_file_location("board_under_test", BOARD)
        made.board = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(made.board)
        return made.board

    made.boot = boot
    return made


@pytest.mark.parametrize(("farad", "ohm"), [(5e-12, 80e3), (355e-12, 80e3), (1e-9, 80e3), (100e-9, 80e3), (100e-9, 4700)])
def test_a_long_lead_or_a_filter_is_not_taken_for_a_pressed_button(bench, farad, ohm):
    """3 m of lead have 300 pF; 100 nF against contact bounce, with and without the 4.7k of the wiring diagram."""
    bench.farad, bench.pull_ohm = farad, ohm
    assert bench.boot().prompt_wanted() is False
    assert bench.now_us < 60_000, "and the boot waits no longer for it than for a held button"


def test_a_held_button_counts_and_a_short_touch_does_not(bench):
    bench.pressed = True
    assert bench.boot().prompt_wanted() is True
    assert bench.now_us > 50_000
    board = bench.boot()
    sleep = board.sleep_ms

    def let_go(ms):
        sleep(ms)
        bench.pressed = bench.now_us < 130_000

    bench.pressed, bench.now_us = True, 100_000.0
    board.sleep_ms = let_go
    assert board.prompt_wanted() is False


def test_during_an_installation_every_boot_ends_at_the_prompt(bench, tmp_path):
    (tmp_path / "install.flag").write_text("1")
    for _ in range(3):
        assert bench.boot().prompt_wanted() is True
    (tmp_path / "install.flag").unlink()
    assert bench.boot().prompt_wanted() is False


def test_the_lamp_at_the_prompt_is_lit_with_short_gaps(bench):
    board = bench.boot()
    board.stay_at_prompt()
    for _ in range(16):
        bench.timer.callback(None)
    assert [bool(level) for level in bench.lit[-16:]] == [True] * 7 + [False] + [True] * 7 + [False]
    assert bench.timer.period == 250
    assert lamp.PATTERNS[lamp.PROMPT] == (7 * 250, 250)


@pytest.mark.parametrize("reason", ["wake", "service"])
def test_a_deliberate_reset_is_not_reported_as_a_hang(bench, reason):
    """The rp2 port resets by its watchdog, and reports that as the cause."""
    bench.boot().reset(reason)
    assert bench.reset == 1
    bench.cause = 3
    board = bench.boot()
    assert [board.reset_cause(), board.reset_cause()] == [reason, reason]
    assert reason in RESET_CAUSES
    assert bench.boot().reset_cause() == "watchdog", "the reason holds for one boot"


def test_a_stored_reason_is_forgotten_after_a_power_loss(bench):
    bench.boot().reset("wake")
    bench.cause = 1
    assert bench.boot().reset_cause() == "power_on"
    bench.cause = 3
    assert bench.boot().reset_cause() == "watchdog"


def test_the_reset_after_the_prompt_is_reported_as_service(bench):
    bench.boot().leave_for_prompt()
    bench.cause = 3
    board = bench.boot()
    assert board.prompt_wanted() is True
    board.stay_at_prompt()
    assert bench.boot().prompt_wanted() is False
    assert bench.boot().reset_cause() == "service"
