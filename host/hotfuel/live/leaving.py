"""How a page or terminal that a recorder started ends: with the recording, once its viewers have been told that it has ended.

The recorder sends no request: it closes its log, which both can see, and waits for them. That works on every system, and after a crash.
"""

import asyncio
import contextlib
import signal
import time
from collections.abc import Awaitable, Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from hotfuel.live.page import View
    from hotfuel.live.state import LiveState

GONE_S = 0.5  # a log that moves to another folder is closed for a moment and its page replaced: the recording has not ended then
TOLD_S = 3.0  # a browser that has not confirmed the final panel by then (a phone asleep, perhaps) is not waited for
WAIT_S = GONE_S + TOLD_S + 2.0  # how long a recorder waits for those it started
_LOOK_EVERY_S = 0.05


class Shown(Protocol):
    """What `after_the_recording` needs of a page."""

    state: "LiveState"
    live_at: float | None  # when a turn last saw the recording running; it may begin and end between two checks here

    @property
    def views(self) -> "Collection[View]":
        """The connected browsers."""

    def leave(self) -> None:
        """Send every browser the final panel."""


def show_token(token: Path | None) -> None:
    """Tell the recorder that something is shown from now on. It waits only for views with a token, and removes the token when it has ended."""
    if token is not None:
        with contextlib.suppress(OSError):
            token.touch()


def taken_away(token: Path | None) -> Callable[[], bool]:
    """A check that is true once the recorder has removed a token that existed; never true without one."""
    there = token is not None and token.exists()
    return lambda: there and token is not None and not token.exists()


async def after_the_recording(
    page: Shown,
    stop: asyncio.Event,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ended: Callable[[], bool] = lambda: False,
) -> None:
    """Set `stop` once the recording has ended and every connected browser has confirmed it, at most TOLD_S after it was told. ended: true once the recorder
    says so, for a recording that was over before it was first seen running."""
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
    """Ignore Ctrl-C, which reaches every process of a terminal: the recorder handles it."""
    with contextlib.suppress(ValueError):  # not in the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)
