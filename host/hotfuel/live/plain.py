"""Plain text and numbers for a screen: cleaned, signed, no finer than their uncertainty."""

import math
import time
import unicodedata

from hotfuel.places import place_words
from hotfuel.session.pulls import Extent
from hotfuel.text import minus
from hotfuel.units import Shown

_STEPS = (20.0, 10.0, 5.0, 2.0, 1.0)
_STICKS = 0.7  # of a step: a number does not change until it has moved this far


def clean(text: str, most: int = 200) -> str:
    """Text of unknown origin for a screen: no control or formatting characters, single blanks, at most `most` characters."""
    kept = "".join(" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in text[: 20 * most])
    return " ".join(kept.split())[:most]


def place_label(name: str) -> str:
    """The place's name for a person: "carb inlet, behind the needle"."""
    return clean(place_words(name), 40)


def pull_text(one: Extent, place: str, shown: Shown) -> str:
    """For example "carb inlet 141 to 118 °F in 9 s": to the lowest, or to the end of a pull that warmed it more; "" where nothing is known."""
    if not (math.isfinite(one.start_degc) and math.isfinite(one.lowest_degc)):
        return ""
    down = one.start_degc - one.lowest_degc >= one.end_degc - one.start_degc
    to, after_s = (one.lowest_degc, one.lowest_after_s) if down else (one.end_degc, one.duration_s)
    first = shown.text(one.start_degc, "temperature", 0).digits
    return f"{place_words(place)} {first} to {shown.text(to, 'temperature', 0)} in {after_s:.0f} s"


def spell_of(seconds: float) -> str:
    """A length of time at a glance: "12 s", "10 min", "2 h 05 min"."""
    whole = max(round(seconds), 0) if math.isfinite(seconds) else 0
    if whole < 120:
        return f"{whole} s"
    return f"{whole // 60} min" if whole < 7200 else f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def number(value: float, decimals: int = 0) -> str:
    """With a real minus sign; a dash for an unknown value."""
    if not math.isfinite(value):
        return "–"
    return minus(f"{round(value, decimals) + 0.0:.{decimals}f}")


def step_of(uncertainty: float) -> float:
    """The step a number of this uncertainty is rounded to: 1, 2, 5, 10 or 20, the largest that does not exceed it. Example: step_of(4.5) -> 2.0."""
    return next((step for step in _STEPS if step <= uncertainty), 1.0)


class Steady:
    """Rounds numbers so that they do not flicker: the number shown stays until the value has moved by most of a step."""

    def __init__(self) -> None:
        self._shown: dict[str, tuple[float, float]] = {}

    def __call__(self, name: str, value: float, step: float) -> float:
        """`value` to a whole number of steps; `name` identifies the number."""
        if not math.isfinite(value):
            self._shown.pop(name, None)
            return math.nan
        kept, kept_step = self._shown.get(name, (math.nan, step))
        if kept_step != step or not abs(value - kept) <= _STICKS * step:
            kept = round(value / step) * step + 0.0
        self._shown[name] = (kept, step)
        return kept


class Clock:
    """Axis seconds as this computer's time of day, or as time since the board started where no wall time is known."""

    def __init__(self, wall_offset_s: float, now: float) -> None:
        self._offset_s, self.now = wall_offset_s, now

    @property
    def known(self) -> bool:
        """True if the time of day is known."""
        return math.isfinite(self._offset_s)

    def moment(self, at: float) -> str:
        """ "14:03:26", or "0:12:05 h" after the start."""
        if not math.isfinite(at):
            return "–"
        if self.known:
            return time.strftime("%H:%M:%S", time.localtime(at + self._offset_s))
        return f"{int(at // 3600)}:{int(at // 60) % 60:02d}:{int(at) % 60:02d} h"

    def day(self, at: float) -> str:
        """ "29 November 2026, " where that is not today; "" today, or where the time of day is not known."""
        if not self.known or not math.isfinite(at):
            return ""
        then = time.localtime(at + self._offset_s)
        return "" if then[:3] == time.localtime()[:3] else f"{then.tm_mday} {time.strftime('%B %Y', then)}, "

    def minute(self, at: float) -> str:
        """ "14:03"; only where the time of day is known."""
        return time.strftime("%H:%M", time.localtime(at + self._offset_s))

    def ago(self, at: float) -> str:
        """How long since `at`."""
        return spell_of(self.now - at)
