"""How page and terminal end that a recorder has started: with the recording, once whoever looks has been told that it has ended.

The recorder asks for nothing: it closes its log, which both see, and waits for them. So it works on every system, and after a crash too.
"""

import asyncio
import contextlib
import signal
import time
from collections.abc import Awaitable, Callable, Collection
from typing import Any, Protocol

GONE_S = 0.5  # a log that another folder takes over is closed for a moment, and its page replaced: nothing has ended then
TOLD_S = 3.0  # a browser that has not taken the last by then, on a phone that sleeps perhaps, is left alone
WAIT_S = GONE_S + TOLD_S + 2.0  # what a recorder waits for those it started
_LOOK_EVERY_S = 0.05


class Shown(Protocol):
    """What is needed of a page."""

    state: Any  # a live.state.LiveState
    live_at: float | None  # when a turn last saw the recording go on: one may begin and end between two looks from here

    @property
    def views(self) -> Collection[Any]:
        """The browsers that look."""

    def leave(self) -> None:
        """Send everybody the last there is."""


async def after_the_recording(
    page: Shown,
    stop: asyncio.Event,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> None:
    """Set `stop` once the recording has ended and every browser that looks has taken that, at most TOLD_S after it was told."""
    while page.state.live or not page.state.caught_up or page.live_at is None or clock() - page.live_at < GONE_S:
        await sleep(_LOOK_EVERY_S)
    page.leave()
    told = clock()
    while clock() - told < TOLD_S and not all(view.has_the_last for view in list(page.views)):
        await sleep(_LOOK_EVERY_S)
    stop.set()


def leave_ctrl_c() -> None:
    """Ctrl-C reaches every process of a terminal: here it is left to the recorder."""
    with contextlib.suppress(ValueError):  # not in the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)
