"""Every rule of the alarm machine and of the probe is covered by a vector: with the rule removed from the source, at least one
line has another outcome."""

import json
import runpy
import sys
import types
from pathlib import Path

import pytest
from hotfuel_wire import alarm, probe

HERE = Path(__file__).parent
OUTCOME = runpy.run_path(str(HERE / "board_alarm.py"))["outcome"]
LINES = [json.loads(line) for line in (HERE.parent.parent / "protocol" / "alarm_vectors.jsonl").read_text("utf-8").splitlines()]

# (rule, module, text in its source, the text with the rule removed)
RULES = [
    ("deadband of warn", alarm, "margin >= warn_below + DEADBAND", "margin >= warn_below"),
    ("deadband of act", alarm, "margin < 0, margin >= DEADBAND", "margin < 0, margin >= 0"),
    ("warn is below, not at", alarm, "WARN, alarms[WARN], margin < warn_below", "WARN, alarms[WARN], margin <= warn_below"),
    ("act is below, not at", alarm, "alarms[ACT], margin < 0", "alarms[ACT], margin <= 0"),
    ("on-delay", alarm, "ON_DELAY_MS = 4000", "ON_DELAY_MS = 3900"),
    ("on-delay, the other way", alarm, "ON_DELAY_MS = 4000", "ON_DELAY_MS = 4100"),
    ("off-delay", alarm, "\nOFF_DELAY_MS = 60000", "\nOFF_DELAY_MS = 59900"),
    ("off-delay, the other way", alarm, "\nOFF_DELAY_MS = 60000", "\nOFF_DELAY_MS = 60900"),
    (
        "a tick inside the deadband sets the timer back", alarm,
        "            self._held_ms = -1\n            return False\n        if",
        "            return False\n        if",
    ),
    ("an unreadable tick is evidence of nothing", alarm, "        if not unreadable:\n", "        if True:\n"),
    ("blind for longer sets off-timers back", alarm, " or sight.blind_ms > BLIND_MS", ""),
    ("blind for 5 s, not less", alarm, "BLIND_MS = 5000", "BLIND_MS = 4000"),
    ("blind for 5 s, not more", alarm, "BLIND_MS = 5000", "BLIND_MS = 6000"),
    ("while lost no off-timer runs", alarm, "if alarms[LOST].live or sight", "if sight"),
    ("lost at 40 %", alarm, "LOST_MS = 3200", "LOST_MS = 3000"),
    ("lost at 40 %, not later", alarm, "LOST_MS = 3200", "LOST_MS = 3400"),
    ("lost not before the on-delay", alarm, " and sight.trouble_ms >= ON_DELAY_MS", ""),
    ("found below 20 %", alarm, "FOUND_MS = 1600", "FOUND_MS = 1800"),
    ("found below 20 %, not earlier", alarm, "FOUND_MS = 1600", "FOUND_MS = 1400"),
    ("found after 10 s", alarm, "LOST_OFF_DELAY_MS = 10000", "LOST_OFF_DELAY_MS = 9000"),
    ("found after 10 s, not later", alarm, "LOST_OFF_DELAY_MS = 10000", "LOST_OFF_DELAY_MS = 11000"),
    ("a window of 8 s", alarm, "WINDOW_MS = 8000", "WINDOW_MS = 9000"),
    ("a gap is not a dead probe", alarm, "min(elapsed_ms, _TICK_MS)", "elapsed_ms"),
    ("silence is no cooling", alarm, "min(elapsed_ms, STEP_MAX_MS) if self.live else elapsed_ms", "elapsed_ms"),
    ("an alarm latches until somebody looked", alarm, "NORMAL if self.state == ACKNOWLEDGED else RETURNED_UNACKNOWLEDGED", "NORMAL"),
    ("acknowledged, it returns to normal", alarm, "NORMAL if self.state == ACKNOWLEDGED else RETURNED_UNACKNOWLEDGED", "RETURNED_UNACKNOWLEDGED"),
    ("the wink stays", alarm, "        if alarm.live:\n            self.unseen = True\n", "        if alarm.live:\n            self.unseen = level == ACT\n"),
    ("the button keeps the wink while live", alarm, "self.unseen = self.shown() != QUIET", "self.unseen = False"),
    (
        "acknowledging keeps the wink", alarm,
        '        for place in range(len(self.places)):\n            for level in ALARMS:\n                alarm =',
        '        self.unseen = False\n        for place in range(len(self.places)):\n            for level in ALARMS:\n                alarm =',
    ),
    ("lost does not outrank warn", alarm, "(0, 2, 3, 1,", "(0, 1, 3, 2,"),
    ("act outranks warn", alarm, "(0, 2, 3, 1,", "(0, 3, 2, 1,"),
    ("the first out stays the first", alarm, "if level != LOST and self.first_out < 0", "if level != LOST"),
    ("a lost place is not first out", alarm, "if level != LOST and self.first_out < 0", "if self.first_out < 0"),
    ("all quiet, nobody is first", alarm, "elif level != LOST and not self._hot():", "elif False:"),
    ("acknowledged sounds no more", alarm, " and alarms[ACT].state == UNACKNOWLEDGED", ""),
    ("only act sounds", alarm, "alarms[ACT].live and alarms[ACT].state", "alarms[WARN].live and alarms[WARN].state"),
    ("too low a pressure says so", alarm, "low, none = margin == TOO_LOW", "low, none = False"),
    ("a fall faster than the probe is doubted", probe, "if reading < self.level - most:", "if False:"),
    ("for 10 s, then believed", probe, "DOUBT_MS = 10000", "DOUBT_MS = 12000"),
    ("for 10 s, not less", probe, "DOUBT_MS = 10000", "DOUBT_MS = 8000"),
    ("and said", probe, "self.fell = self.level - reading", "pass"),
    ("a spike is no new level", probe, "if reading > self.level + most and self._rise_ms < SPIKE_MS:", "if False:"),
    ("half a second is a rise", probe, "SPIKE_MS = 500", "SPIKE_MS = 1500"),
    ("a slow probe falls slowly", probe, "self._lag_ms = max(lag_ms, _LAG_LEAST_MS)", "self._lag_ms = _LAG_LEAST_MS"),
    ("a fast one fast", probe, "self._lag_ms = max(lag_ms, _LAG_LEAST_MS)", "self._lag_ms = 1500"),
    ("what it can move by grows with time", probe, "most = self.change(self._since_ms)", "most = self.change(elapsed_ms)"),
    ("a lag leads", probe, "return lead * 7 // 5 if lead > 0 else 0", "return 0"),
    ("upward only", probe, "return lead * 7 // 5 if lead > 0 else 0", "return lead * 7 // 5"),
]  # fmt: skip


def without(monkeypatch, module, there, instead):
    """The two modules, one of them with one piece of its source replaced."""
    source = Path(module.__file__).read_text("utf-8")
    assert source.count(there) == 1, f"{source.count(there)} times in {module.__name__}: {there!r}"
    changed = types.ModuleType(module.__name__)
    exec(compile(source.replace(there, instead), module.__file__, "exec"), changed.__dict__)
    if module is probe:
        return alarm, changed
    monkeypatch.setitem(sys.modules, "hotfuel_wire.alarm", changed)
    return changed, probe


@pytest.mark.parametrize(("rule", "module", "there", "instead"), RULES, ids=[row[0] for row in RULES])
def test_without_the_rule_some_vector_has_another_outcome(rule, module, there, instead, monkeypatch):
    machine, reader = without(monkeypatch, module, there, instead)
    assert any(OUTCOME(line, machine, reader) != line["outcome"] for line in LINES), rule
