"""What `hotfuel board info` prints: words, where the board sends numbers and codes."""

import pytest
from hotfuel.live.board_words import about_lines, health_lines

ABOUT = {
    "reset_cause": "power_on",
    "uptime_ms": "7500000",
    "lost": "carb_inlet",
    "attached": "limits,store",
    "last_sequence": "none",
}
HEALTH = {
    "type": 1, "late_ticks": 2, "longest_tick_us": 1234, "memory_free": 1, "store_free_kb": 65535, "lamp": 4, "alarm_unseen": 1,
    "limits_age_days": 65535, "failed": 16,
}  # fmt: skip


def test_codes_of_the_board_are_words():
    assert about_lines({**ABOUT, "failure": "boot 3, main.py_x", "failed": "store"}) == [
        "reset cause: power on",
        "running for: 2 h 05 min",
        "lost: carb inlet",
        "attached: limits, store",
        "failure: boot 3, main.py_x",  # as the board wrote it
    ]
    assert health_lines(HEALTH, "none") == [
        "late ticks: 2",
        "longest tick: 1.2 ms",
        "store free: no store",
        "lamp: sensor lost",
        "an alarm since the button was last pressed: yes",
        "limits age days: no limits are loaded",
        "failed: more inputs",
    ]


@pytest.mark.parametrize(("lamp", "shown"), [(0, "alive"), (3, "no limits, or old ones"), (6, "act"), (77, "pattern 77")])
def test_the_lamp_is_said_by_what_it_shows(lamp, shown):
    assert f"lamp: {shown}" in health_lines({**HEALTH, "lamp": lamp}, "none")


def test_limits_of_an_unknown_age_are_not_called_missing():
    assert "limits age days: unknown" in health_lines(HEALTH, "1700000000")
