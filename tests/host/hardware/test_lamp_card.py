"""The lamp card states the firmware's patterns."""

import re

from hotfuel_wire import alarm
from read_pages import LAMP, ROOT, SVG, drawn, page, table

LAMP_NAMES = sorted(
    ("alive", "wink", "store_full", "no_limits", "lost", "warn", "act", "test", "failed", "prompt"),
    key=lambda name: LAMP[name.upper()],
)


def test_lamp_card_states_every_pattern():
    rows = table("LAMP.md", ["pattern", "lit and dark, ms"])[1:]
    assert {row[2]: tuple(map(int, row[1].split(","))) for row in rows} == dict(zip(LAMP_NAMES, LAMP["PATTERNS"], strict=True))
    assert all(len(row[3]) > 40 for row in rows)


def test_lamp_card_keeps_the_firmwares_order_of_urgency():
    choose, names = LAMP["choose"], LAMP_NAMES
    none, lost, warn, act = alarm.QUIET, alarm.LOST, alarm.WARN, alarm.ACT
    calls = (
        (act, 1, 0, 1, 1), (warn, 1, 0, 1, 1), (lost, 1, 0, 1, 1), (none, 1, 0, 1, 1), (none, 1, 0, 1), (none, 1, 1, 1), (none, 0, 1, 1), (none, 0, 1, 0),
    )  # fmt: skip
    order = [names[choose(*call)] for call in calls]
    assert [row[2] for row in table("LAMP.md", ["pattern"])[1:]] == [*order, "test", "prompt"]


def test_bars_on_the_card_are_the_patterns():
    bars = {}
    for element in drawn("lamp.svg").iter(SVG + "rect"):
        if element.get("class") == "on":
            bars.setdefault(element.get("data-pattern"), []).append(
                (int(element.get("data-from-ms")), int(element.get("data-ms")))
            )
    assert set(bars) == set(LAMP_NAMES)
    for name, pattern in zip(LAMP_NAMES, LAMP["PATTERNS"], strict=True):
        total = sum(pattern)
        until = total if name == "test" else 6000
        lit = [LAMP["level"](pattern, total, at) for at in range(0, until, 10)]
        shown = [any(start <= at < start + length for start, length in bars[name]) for at in range(0, until, 10)]
        assert shown == lit, name


def test_blink_code_examples_on_the_card():
    for blinks, means in table("LAMP.md", ["blinks", "means"])[1:]:
        place = int(re.search(r"place (\d)", means).group(1))
        margin = 0 if "no room" in means else int(re.search(r"(\d+) degrees", means).group(1))
        lit = LAMP["blink_code"](place, margin)[::2]
        words = blinks.replace("·", "").replace("3 s", "whole").split()
        assert [{"short": 200, "long": 900, "whole": 3000}[word] for word in words] == lit
    limits = (ROOT / "firmware" / "limits.py").read_text(encoding="utf-8")
    held = float(re.search(r"Held for ([\d.]+) s", page("LAMP.md")).group(1))
    assert int(re.search(r"^_LONG_PRESS_MS = const\((\d+)\)", limits, re.M).group(1)) == 1000 * held
    assert int(re.search(r"older than (\d+) days", page("LAMP.md")).group(1)) == int(
        re.search(r"^_LIMITS_GOOD_DAYS = const\((\d+)\)", limits, re.M).group(1)
    )
