"""An optional module that could not start is reported by the lamp, in flash and to the next host, without wearing the flash at every boot."""

import sys
import types
from pathlib import Path

import lamp
import pytest
from hotfuel_wire import alarm

FIRMWARE = Path(__file__).parents[2] / "firmware"


@pytest.fixture
def failures(monkeypatch):
    board = types.ModuleType("board")
    board.lit = []
    board.lamp = board.lit.append
    monkeypatch.setitem(sys.modules, "board", board)
    monkeypatch.delitem(sys.modules, "failures", raising=False)
    monkeypatch.syspath_prepend(str(FIRMWARE))
    import failures

    yield failures
    sys.modules.pop("failures", None)


def test_the_lamp_blinks_its_pattern_even_without_the_lamp_module(failures):
    assert lamp.PATTERNS[lamp.FAILED] == failures.PATTERN
    assert lamp.FAILED == failures.LAMP
    for now_ms in range(0, 9000, 20):
        failures.blink(now_ms)
    expected = [lamp.level(failures.PATTERN, sum(failures.PATTERN), at) for at in range(0, 9000, 20)]
    assert sys.modules["board"].lit == expected


def test_kept_over_boots_and_reported_to_the_next_host_once(failures, tmp_path):
    events = []

    def emit_event(name, channel=255, value=0, detail=""):
        events.append((name, value, detail))

    folder = f"{tmp_path}/"
    first = failures.Failures(folder)
    assert first.last is None
    first.tell(emit_event, 0)
    assert events == []
    first.keep("store: AttributeError: no attach", 5)
    stored = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    again = failures.Failures(folder)
    again.keep("store: AttributeError: no attach", 6)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == stored, "not written at every boot"
    later = failures.Failures(folder)  # all is well now; the drive with boots 5 and 6 has no store
    for _ in range(3):
        later.tell(emit_event, 0)
    assert events == [("module_failed", 5, "store: AttributeError: no attach")]
    quiet = failures.Failures(folder)
    quiet.tell(emit_event, 0)
    assert len(events) == 1
    assert quiet.last == (5, "store: AttributeError: no attach"), "board info still has it"


def test_while_it_lasts_every_boot_reports_it(failures, tmp_path):
    events = []
    for boot in (1, 2, 3):
        one = failures.Failures(f"{tmp_path}/")
        one.keep("limits: ImportError", boot)
        one.tell(lambda name, channel=255, value=0, detail="": events.append(value), 1)
    assert events == [1, 1, 1], "the first boot with the failure"


def test_the_lamps_order_of_failures():
    assert lamp.choose(alarm.LOST, 0, 1, 0, 2) == lamp.LOST
    assert lamp.choose(0, 0, 0, 0, 2) == lamp.FAILED
    assert lamp.choose(0, 1, 0, 1, 0) == lamp.NO_LIMITS
