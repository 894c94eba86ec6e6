"""Requests from browsers, limited in rate and each done once: marks, quieting, ending. A mark counts as kept once it is in the log."""

import json
import time
from collections.abc import Callable
from typing import Any

from hotfuel.live.plain import clean
from hotfuel.live.sounds import Quieting
from hotfuel.live.state import LiveState
from hotfuel.record import requests

BURST, PER_S = 10, 1.0  # requests from browsers: as many at once, as many a second
AGE_MAX_S = 86400.0  # a mark may have waited in a browser for a day
_KINDS = ("mark", "quiet", "end")
_ASKED_MAX = 4000  # characters of one request
_REMEMBERED = 1000
_AGAIN_S = 20.0  # a mark not in the log by then is requested again: another recorder may have taken over


class Desk:
    """Takes requests. clock: monotonic seconds; wall: unix seconds."""

    def __init__(
        self,
        state: LiveState,
        quieting: Quieting,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._state, self._quieting, self._clock, self._wall = state, quieting, clock, wall
        self._tokens, self._tokens_at = float(BURST), clock()
        self._answered: dict[str, dict[str, Any]] = {}
        self._waiting: dict[str, tuple[int, str, float]] = {}  # id -> (unix us, text, when it was passed on last)

    def ask(self, text: str, moment: str) -> dict[str, Any]:
        """Do what a browser asks, if it is allowed. Returns {"id", "words", "done", "kept"}; {} for anything that is not a request. A repeated id is done once.

        moment: the time as the page shows it. done: it was passed on; kept: nothing more is to be done for it.
        """
        try:
            asked = json.loads(text) if len(text) <= _ASKED_MAX else None
        except (ValueError, RecursionError):
            asked = None
        if not isinstance(asked, dict) or asked.get("kind") not in _KINDS or not isinstance(asked.get("id"), str):
            return {}
        number = asked["id"][:40]
        known = self._answered.get(number)
        if known is None or not known["done"]:
            done, words = self._do(number, asked, moment)
            self._answered[number] = {"id": number, "words": words, "done": done, "kept": done and number not in self._waiting}
            while len(self._answered) > _REMEMBERED:
                del self._answered[next(iter(self._answered))]
        return self._answered[number]

    def answer(self, number: str) -> dict[str, Any] | None:
        """The answer to a request, None before there is one."""
        return self._answered.get(number)

    def look(self) -> None:
        """Check which marks have reached the log."""
        if not self._waiting:
            return
        written, now = set(self._state.marked), self._clock()
        for number, (wall_us, text, passed_at) in list(self._waiting.items()):
            if (wall_us, text) in written:
                del self._waiting[number]
                if number in self._answered:
                    self._answered[number] |= {"kept": True, "words": "Mark in the recording."}
            elif now - passed_at > _AGAIN_S and self._state.live and self._state.caught_up:
                self._waiting[number] = (wall_us, text, now)
                self._pass_on("mark", text, wall_us / 1e6)

    def _do(self, number: str, asked: dict[str, Any], moment: str) -> tuple[bool, str]:
        now, kind = self._clock(), asked["kind"]
        self._tokens = min(self._tokens + (now - self._tokens_at) * PER_S, BURST)
        self._tokens_at = now
        if not self._state.live:
            return False, "The recording has ended: nothing can be added."
        if self._tokens < 1:
            return False, "Too many requests: wait a few seconds."
        self._tokens -= 1
        if kind == "quiet":
            return self._quiet(asked.get("place"), moment)
        if kind == "end":
            trouble = self._pass_on("end")
            return not trouble, trouble or "The recording is asked to end."
        text, age_s = asked.get("text"), asked.get("age_s", 0)
        words = (clean(text, requests.TEXT_MAX) if isinstance(text, str) else "") or "mark"
        known_age = isinstance(age_s, int | float) and not isinstance(age_s, bool) and 0 <= age_s <= AGE_MAX_S
        wall_us = int((self._wall() - (age_s if known_age else 0)) * 1e6)
        trouble = self._pass_on("mark", words, wall_us / 1e6)
        if not trouble:
            self._waiting[number] = (int(wall_us / 1e6 * 1e6), words, now)
        return not trouble, trouble or "Mark passed on."

    def _quiet(self, place: Any, moment: str) -> tuple[bool, str]:
        if not isinstance(place, str | None):
            return False, "Nothing was quieted: the place has to be a name."
        all_quiet = self._quieting.quiet(place or "", moment)
        if all_quiet:
            trouble = self._pass_on("acknowledge")
            if trouble:
                return False, trouble
            if self._state.host is not None:
                self._state.host.acknowledge()
        return True, "Sound quieted. Lamp and warnings stay as they are."

    def _pass_on(self, kind: str, text: str = "", wall_s: float | None = None) -> str:
        try:
            requests.ask(self._state.folder.path, kind, text, wall_s)
        except OSError as error:
            return f"It could not be passed on ({error.strerror})."
        return ""
