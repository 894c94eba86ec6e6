"""How page and terminal end that a recorder has started: with the recording, once whoever looks has been told that it has ended.

The recorder asks for nothing: it closes its log, which both see, and waits for them. So it works on every system, and after a crash too.
"""

import asyncio
import contextlib
import signal
import time
from collections.abc import Awaitable, Callable, Collection
from pathlib import Path
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


def show_token(token: Path | None) -> None:
    """Tell the recorder that something is shown from now on. It waits for nobody else, and takes the token away when it has ended."""
    if token is not None:
        with contextlib.suppress(OSError):
            token.touch()


def taken_away(token: Path | None) -> Callable[[], bool]:
    """Whether the recorder has taken a token away that was there; never, if there is none."""
    there = token is not None and token.exists()
    return lambda: there and token is not None and not token.exists()


async def after_the_recording(
    page: Shown,
    stop: asyncio.Event,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ended: Callable[[], bool] = lambda: False,
) -> None:
    """Set `stop` once the recording has ended and every browser that looks has taken that, at most TOLD_S after it was told. ended: its recorder says so,
    which a recording needs that was over before anything of it was seen."""
    while page.state.live or not page.state.caught_up or not _over(page, clock, ended):
        await sleep(_LOOK_EVERY_S)
    page.leave()
    told = clock()
    while clock() - told < TOLD_S and not all(view.has_the_last for view in list(page.views)):
        await sleep(_LOOK_EVERY_S)
    stop.set()


def _over(page: Shown, clock: Callable[[], float], ended: Callable[[], bool]) -> bool:
    if page.live_at is None:
        return ended()
    return ended() or clock() - page.live_at >= GONE_S


def leave_ctrl_c() -> None:
    """Ctrl-C reaches every process of a terminal: here it is left to the recorder."""
    with contextlib.suppress(ValueError):  # not in the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)
