"""Optional modules that could not start: kept in flash for the next host, and shown by the lamp even if the module that drives the lamp has failed."""

import board
from twinfile import TwinFile

# one long, one short: part of the board does not work. Defined here too, because lamp.py may be what failed.
PATTERN = (
    900,
    300,
    120,
    1680,
)
LAMP = 8  # its number in lamp.py
TEXT_MAX = 180


class Failures:
    """The last failure: (boot, text), or None. Kept until the next installation; reported to a host once in every boot that failed, and once after."""

    def __init__(self, folder):
        self._file = TwinFile("failure", folder)
        content = (self._file.load() or b"").decode().split(" ", 2)
        self.last = (int(content[1]), content[2]) if len(content) == 3 else None
        self._untold = content[0] == "new"

    def keep(self, text, boot):
        """Writes each kind of failure once, not at every boot."""
        text = text[:TEXT_MAX]
        self._untold = True
        if self.last is None or self.last[1] != text:
            self.last = (boot, text)
            self._save("new")

    def tell(self, emit_event, failed_now):
        """Called when a host connects: reports a failure not yet reported."""
        if not self._untold:
            return
        emit_event("module_failed", value=self.last[0], detail=self.last[1])
        if not failed_now:
            self._untold = False
            self._save("told")

    def _save(self, how):
        try:
            self._file.save(("%s %d %s" % (how, self.last[0], self.last[1])).encode())
        except OSError:  # not kept, but still reported while the board runs
            pass


def blink(now_ms):
    """Drives the lamp if limits.py could not start; added to the application's on_loop."""
    at = now_ms % sum(PATTERN)
    board.lamp(at < PATTERN[0] or 0 <= at - PATTERN[0] - PATTERN[1] < PATTERN[2])
