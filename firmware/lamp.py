# Patterns of the one lamp and the buzzer. Pure functions: milliseconds in, on or off out; board.py drives the pins.
#
# A dark lamp means "dead", so every living state blinks. At most three flashes a second (WCAG 2.3.1), for people sensitive to flicker.
# The card for the dashboard is hardware/LAMP.md.

from hotfuel_wire import alarm, const

# pattern -> on and off times in turn, ms
ALIVE, WINK, STORE_FULL, NO_LIMITS, LOST, WARN, ACT, TEST, FAILED, PROMPT = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
PATTERNS = (
    (60, 2940),  # alive, limits loaded, every configured sensor good
    (800, 2200),  # the slow wink: an alarm has come since the button was last pressed
    (120, 280, 120, 280, 120, 280, 120, 1680),  # four short: the store is full
    (120, 280, 120, 2480),  # two short: no limits, or old ones
    (120, 280, 120, 280, 120, 2080),  # three short: a sensor is lost
    (900, 600),  # warn: long blinks
    (200, 200),  # act: fast
    (2000, 0),  # lamp test at boot
    (900, 300, 120, 1680),  # one long, one short: part of the board could not start; also in failures.py
    (1750, 250),  # lit with short gaps: at its prompt, not measuring; driven by board.py
)
_TOTALS = tuple([sum(pattern) for pattern in PATTERNS])

TEST_MS = const(2000)
CODE_PAUSE_MS = const(1200)


def choose(shown, unseen, limits_good, store_full, failed=0):
    """The pattern to show: that of the most urgent level (`shown`), else of the rest, the most urgent first."""
    if shown == alarm.WARN:
        return WARN
    if shown == alarm.LOST:
        return LOST
    if alarm.URGENCY[shown]:  # act, and every other alarm there is or will be: none may look like "alive"
        return ACT
    if failed:
        return FAILED
    if not limits_good:
        return NO_LIMITS
    if unseen:
        return WINK
    if store_full:
        return STORE_FULL
    return ALIVE


def blink_code(place, margin):
    """On and off times that show a place (1 for the first channel) and a margin in whole degrees of the user's unit.

    First the place in short flashes; after a pause the tens as long ones and the units as short ones. No margin left: one flash of 3 s.
    """
    times = [200, 300] * place
    times[-1] = CODE_PAUSE_MS
    if margin <= 0:
        return times + [3000, CODE_PAUSE_MS]
    margin = min(margin, 99)
    times += [900, 300] * (margin // 10) + [200, 300] * (margin % 10)
    times[-1] = CODE_PAUSE_MS
    return times


def level(times, total, elapsed_ms):
    """Whether a pattern that began elapsed_ms ago, and repeats after `total`, has the lamp on."""
    at = elapsed_ms % total
    on = True
    for time in times:
        if at < time:
            return on
        at -= time
        on = not on
    return False


class Lamp:
    """The lamp over time. `pattern` is what it shows now."""

    def __init__(self):
        self.pattern = TEST
        self._began_ms = 0
        self._code = None

    def show(self, pattern, now_ms):
        """Shows a pattern from now on; does not restart one already shown, nor cut the lamp test short."""
        if pattern != self.pattern and not (self.pattern == TEST and now_ms < TEST_MS):
            self.pattern = pattern
            self._began_ms = now_ms

    def tell(self, times, now_ms):
        """Plays a blink code once, then returns to the pattern. Not while act is shown."""
        if self.pattern != ACT:
            self._code = times
            self._began_ms = now_ms

    def on(self, now_ms):
        """Whether the lamp is lit at board time now_ms."""
        elapsed_ms = now_ms - self._began_ms
        if self._code is not None:
            if self.pattern != ACT and elapsed_ms < sum(self._code):
                return level(self._code, sum(self._code), elapsed_ms)
            self._code = None
            self._began_ms = now_ms
            elapsed_ms = 0
        return level(PATTERNS[self.pattern], _TOTALS[self.pattern], elapsed_ms)


def buzzer(sounding, allowed, ignition_on):
    """The buzzer sounds for act only, if the settings allow it, and never after key-off."""
    return sounding and allowed and ignition_on
