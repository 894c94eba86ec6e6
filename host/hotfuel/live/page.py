"""The page: a small server that shows the live state to any number of browsers, with nothing from the network.

The page itself is one answer of a few kB that shows numbers as soon as it is there; what is new comes over one WebSocket, as JSON, and only to browsers
that took the piece before, so that a browser that never reads costs nothing. The charts' script is fetched after the numbers. The browser judges by itself
whether numbers are stale (page.js): a dead server cannot leave a number that looks live.
"""

import asyncio
import contextlib
import gzip
import json
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from tornado.websocket import WebSocketClosedError, WebSocketHandler

from hotfuel.live import charts, guard
from hotfuel.live.asking import Desk
from hotfuel.live.plain import Steady, clean
from hotfuel.live.sounds import Quieting
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.record import requests
from hotfuel.units import Shown

TURN_S = 0.1
AT_LEAST_S = 0.5  # something is sent at least this often, even without news: the browser takes silence as a failure
AHEAD = 2  # messages sent and not yet confirmed
_SYSTEMS = ("us", "si")
_CHARTS_MAX = 24
_KEPT_S = 86400
_SCRIPTS = ("look.js", "sound.js", "marks.js", "page.js")


class Page:
    """The state, what is made of it each turn, and the browsers that look at it."""

    def __init__(
        self, session_path: str | Path, units: str | None, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.state = LiveState(session_path)
        self.units = Shown(units).system if units else self.state.shown.system
        self.views: set[View] = set()
        self.title = clean(self.state.name, 80)
        self.quieting = Quieting()
        self.desk = Desk(self.state, self.quieting, clock)
        environment = jinja2.Environment(autoescape=True)
        files = resources.files("hotfuel.live")

        def text(name: str) -> str:
            return files.joinpath(name).read_text(encoding="utf-8")

        self._template = environment.from_string(text("page.html.jinja"))
        car = self.state.car.name if self.state.car else "no car file"
        self._texts = {
            "title": f"{self.title}: fuel heat", "style": text("page.css") + text("places.css"), "script": "\n".join(map(text, _SCRIPTS)),
            "car": clean(car, 200), "planned": clean(self.state.planned, 200), "text_max": requests.TEXT_MAX, "units": self.units,
        }  # fmt: skip
        script = (resources.files("bokeh") / "server/static/js/bokeh.min.js").read_bytes()
        charting = text("charts.js").encode()
        self.scripts = {
            "bokeh.js": (script, gzip.compress(script, 9, mtime=0)),
            "charts.js": (charting, gzip.compress(charting, 9, mtime=0)),
        }
        charts.template()  # made before the first browser connects
        self._say, self._clock = say, clock
        self._steady = {system: Steady() for system in _SYSTEMS}
        self._sent_at = self._turned_at = -1e9
        self._failed = ""
        self.leaving = False  # what is sent from now on is the last
        self.live_at: float | None = None  # when a turn last saw the recording go on
        self.late_s = 0.0  # how late the last turn came
        self._html: tuple[bytes, bytes] | None = None
        self._panels: dict[str, dict[str, Any]] = {}
        self._written: dict[str, str] = {}
        self.refresh()

    def refresh(self) -> None:
        """Recompute what is shown."""
        self.now = self.state.situation()
        self._panels, self._written, self._html = {}, {}, None
        self.quieting.update(self.panel(self.units))
        self.desk.look()

    def panel(self, units: str) -> dict[str, Any]:
        """What is shown now in these units."""
        if units not in self._panels:
            self._panels[units] = panel(self.now, Shown(units), self._steady[units])
        return self._panels[units]

    def written(self, units: str) -> str:
        """The panel as JSON without its closing bracket, the same for every browser."""
        if units not in self._written:
            told = {**self.panel(units), "sound": self.quieting.told()}
            self._written[units] = json.dumps(told, ensure_ascii=False, allow_nan=False)[:-1]
        return self._written[units]

    def html(self) -> tuple[bytes, bytes]:
        """The page as it is sent, plain and gzip: complete by itself but for what is new and the charts. Made once for each state."""
        if self._html is None:
            told = self.panel(self.units)
            # of a recording that has ended what the last message would say to a browser that looked on
            first = None if told["live"] else {**told, "sound": self.quieting.told(), "last": True}
            html = self._template.render(**self._texts, panel=told, first=first).encode()
            self._html = html, gzip.compress(html, 1)
        return self._html

    def turn(self) -> None:
        """Read what has come, and send what is new."""
        came = self.state.advance()
        now = self._clock()
        if self.state.live:
            self.live_at = now
        if (
            came and self.state.caught_up
        ) or now - self._sent_at >= AT_LEAST_S:  # a recording is read sooner than shown on the way
            self._sent_at = now
            self.refresh()
            for view in list(self.views):
                view.offer()

    def keep_up(self) -> None:
        """A turn, if one is overdue: called before every request, so that many of them cannot come between the viewers and what is new."""
        if self._clock() - self._turned_at >= 2 * TURN_S:
            self._guarded_turn()

    def leave(self) -> None:
        """Send every browser the final panel, now."""
        self.leaving, self._sent_at = True, -1e9
        self._guarded_turn()

    def _guarded_turn(self) -> None:
        """A turn. An error is reported once; the page then goes stale, the recording is not affected."""
        self._turned_at = self._clock()
        try:
            self.turn()
            self._failed = ""
        except Exception as error:  # whatever goes wrong here, the browsers see it as stale numbers
            if str(error) != self._failed:
                self._failed = str(error)
                self._say(f"The page is not being updated ({type(error).__name__}: {error}); the recording is not affected.")

    async def work(self) -> None:
        """Take turns until cancelled."""
        while True:
            self._guarded_turn()
            pause_s = TURN_S if self.state.caught_up else 0.005
            due = self._clock() + pause_s
            await asyncio.sleep(pause_s)
            self.late_s = self._clock() - due

    def handlers(self) -> list[tuple[Any, ...]]:
        """Routes behind the gate."""
        return [
            (r"/?", _Html, {"page": self}),
            (r"/live", View, {"page": self}),
            (r"/(bokeh\.js|charts\.js)", _Script, {"page": self}),
            (r"/chart", _Chart, {"page": self}),
        ]


class View(WebSocketHandler):
    """One browser."""

    def initialize(self, page: Page) -> None:
        """Called by tornado first, with the page it belongs to."""
        self.page = page
        self._sent = self._taken = self._last = 0
        self._units = page.units
        self._points: charts.Points | None = None
        self._asked: dict[str, None] = {}

    def check_origin(self, origin: str) -> bool:
        """The gate has compared origin and host before."""
        return True

    def open(self, *_: str, **__: str) -> None:
        """The browser has connected."""
        self.set_nodelay(True)
        self.page.views.add(self)
        self.offer()

    def on_close(self) -> None:
        """The browser has disconnected."""
        self.page.views.discard(self)

    @property
    def has_the_last(self) -> bool:
        """True once this browser has confirmed the final panel."""
        return 0 < self._last <= self._taken

    def offer(self) -> None:
        """Send the newest panel, unless this browser has not taken the last ones."""
        if self._sent - self._taken >= AHEAD:
            return
        self._sent += 1
        answers = [answer for number in self._asked if (answer := self.page.desk.answer(number))]
        more: dict[str, Any] = {"sequence": self._sent, "answers": answers, "last": self.page.leaving}
        if self.page.leaving:
            self._last = self._last or self._sent
        if self._points is not None:
            more["points"] = self._points.new(self.page.state, self.page.now)
        self._asked = {answer["id"]: None for answer in answers if answer["done"] and not answer["kept"]}
        text = f"{self.page.written(self._units)}, {json.dumps(more, ensure_ascii=False, allow_nan=False)[1:]}"
        with contextlib.suppress(WebSocketClosedError):
            self.write_message(text)

    def on_message(self, message: str | bytes) -> None:
        """A message from the browser: the last panel it took, its units, whether its charts are loaded, perhaps a request. Not trusted: it can be anything."""
        try:
            told = json.loads(message)
        except (ValueError, RecursionError):
            return
        if not isinstance(told, dict):
            return
        taken, units, asked = told.get("taken"), told.get("units"), told.get("ask")
        if isinstance(taken, int) and 0 <= taken <= self._sent:
            self._taken = max(self._taken, taken)
        if units in _SYSTEMS and units != self._units:
            self._units = units
            if self._points is not None:
                self._points = charts.Points(Shown(units))
        if told.get("charts") is True and self._points is None:
            self._points = charts.Points(Shown(self._units))
        if isinstance(asked, str) and asked:
            answer = self.page.desk.ask(asked, self.page.panel(self._units)["time"])
            if answer and len(self._asked) < 200:
                self._asked[answer["id"]] = None
            self.page.quieting.update(self.page.panel(self.page.units))
            self.page._written = {}
            self.offer()


class _Html(guard.Answer):
    def initialize(self, page: Page) -> None:
        self.page = page

    async def get(self) -> None:
        html, packed = self.page.html()
        await self.send(html, "text/html; charset=utf-8", packed)


class _Script(guard.Answer):
    def initialize(self, page: Page) -> None:
        self.page = page

    async def get(self, name: str) -> None:
        data, packed = self.page.scripts[name]
        await self.send(data, "text/javascript; charset=utf-8", packed, _KEPT_S)


class _Chart(guard.Answer):
    def initialize(self, page: Page) -> None:
        self.page = page

    async def get(self) -> None:
        place = self.get_argument("place", "")
        if place not in charts.places_of(self.page.state)[:_CHARTS_MAX]:
            self.set_status(404)
            await self.send(b"no such place", "text/plain; charset=utf-8")
            return
        await self.send(charts.chart(place).encode(), "application/json")
