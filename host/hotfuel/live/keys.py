"""Single keys from the terminal, without waiting for Enter; none where there is no keyboard."""

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def keyboard() -> Iterator[Callable[[], str]]:
    """Gives a function that returns the keys pressed since it was last called. The terminal is put back however the block ends."""
    if not sys.stdin or not sys.stdin.isatty():
        yield lambda: ""
        return
    try:
        import select
        import termios
        import tty
    except ImportError:  # Windows
        import msvcrt

        def pressed() -> str:
            found = ""
            while msvcrt.kbhit():  # type: ignore[attr-defined]
                found += msvcrt.getwch()  # type: ignore[attr-defined]
            return found

        yield pressed
        return
    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)

    def waiting() -> str:
        found = ""
        while select.select([descriptor], [], [], 0)[0]:
            letter = sys.stdin.read(1)
            if not letter:
                break
            found += letter
        return found

    def stop(*_: object) -> None:
        raise KeyboardInterrupt  # so that the terminal is put back when another process ends this one

    earlier = signal.signal(signal.SIGTERM, stop)
    try:
        tty.setcbreak(descriptor)
        yield waiting
    finally:
        signal.signal(signal.SIGTERM, earlier)
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
