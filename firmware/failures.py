"""Optional modules that could not start: kept in flash for the next host that connects, and shown by the lamp even when what drives the lamp is what failed."""

import board
from twinfile import TwinFile

PATTERN = (
    900,
    300,
    120,
    1680,
)  # one long, one short: part of the board does not work. Lamp patterns are lamp.py's; this one must not need it.
LAMP = 8  # its number among them
TEXT_MAX = 180


class Failures:
    """The last failure: (boot, text), or None. Kept until the firmware is installed anew; told to a host once in every boot that failed, and once after."""

    def __init__(self, folder):
        self._file = TwinFile("failure", folder)
        content = (self._file.load() or b"").decode().split(" ", 2)
        self.last = (int(content[1]), content[2]) if len(content) == 3 else None
        self._untold = content[0] == "new"

    def keep(self, text, boot):
        """Written once for each kind of failure, not at every boot that has it."""
        text = text[:TEXT_MAX]
        self._untold = True
        if self.last is None or self.last[1] != text:
            self.last = (boot, text)
            self._save("new")

    def tell(self, emit_event, failed_now):
        """A host is there: it hears of a failure it has not heard of."""
        if not self._untold:
            return
        emit_event("module_failed", value=self.last[0], detail=self.last[1])
        if not failed_now:
            self._untold = False
            self._save("told")

    def _save(self, how):
        try:
            self._file.save(("%s %d %s" % (how, self.last[0], self.last[1])).encode())
        except OSError:  # what cannot be kept is said all the same while the board runs
            pass


def blink(now_ms):
    """The lamp where limits.py could not start; one of the application's on_loop."""
    at = now_ms % sum(PATTERN)
    board.lamp(at < PATTERN[0] or 0 <= at - PATTERN[0] - PATTERN[1] < PATTERN[2])
