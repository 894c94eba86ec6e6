"""What a board says of itself, in words: the lines of `hotfuel board info`."""

from collections.abc import Mapping
from typing import Any

from hotfuel_wire.messages import FAILED

from hotfuel.live.link_rows import lamp_shows
from hotfuel.live.plain import spell_of

NO_LIMITS_DAYS = 65535  # health.limits_age_days without limits, or with limits of unknown age
_NO_STORE_KB = 65535
_LEFT_OUT = ("type", "tick", "time_ms", "saturated", "memory_free")  # memory_free stands in what `info` answers


def about_lines(about: Mapping[str, str]) -> list[str]:
    """Lines about the board from its answers to `info` and `version`; about: those, name -> text."""
    lines = []
    for name, value in about.items():
        if name in (
            "limits_age_days",
            "failed",
            "last_sequence",
        ):  # health has the first two; the third means nothing to a person
            continue
        label, text = name.replace("_", " "), value or "none"
        if name == "uptime_ms" and value.isdigit():
            label, text = "running for", spell_of(int(value) / 1000)
        elif name == "memory_free":
            text = f"{value} bytes"
        elif name in ("reset_cause", "attached", "lost"):
            text = text.replace(",", ", ").replace("_", " ")
        lines.append(f"{label}: {text}")
    return lines


def health_lines(health: Mapping[str, Any], limits_made: str) -> list[str]:
    """Lines from the board's last health message. limits_made: as `info` answers, seconds or a word."""
    said = {name: str(value) for name, value in health.items() if name not in _LEFT_OUT}
    if health["limits_age_days"] == NO_LIMITS_DAYS:
        said["limits_age_days"] = "unknown" if limits_made.isdigit() else "no limits are loaded"
    said["failed"] = ", ".join(name.replace("_", " ") for name, bit in FAILED.items() if health["failed"] & bit) or "nothing"
    said["lamp"] = lamp_shows(health["lamp"])
    named = {
        "longest_tick_us": ("longest tick", f"{health['longest_tick_us'] / 1000:.1f} ms"),
        "store_free_kb": (
            "store free",
            "no store" if health["store_free_kb"] == _NO_STORE_KB else f"{health['store_free_kb']} kB",
        ),
        "alarm_unseen": ("an alarm since the button was last pressed", "yes" if health["alarm_unseen"] else "no"),
    }
    return [": ".join(named.get(name, (name.replace("_", " "), value))) for name, value in said.items()]
