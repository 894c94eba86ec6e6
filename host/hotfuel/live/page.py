"""The page: a bokeh server that shows the live state to any number of browsers, with nothing from the network.

The browser draws; this end sends one piece of JSON a turn, and only to browsers that took the one before, so that a browser that never reads costs
nothing. Staleness is the browser's own affair (page.js): a dead server cannot leave a live-looking number.
"""

import asyncio
import contextlib
import ipaddress
import json
import logging
import signal
import socket
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from bokeh.application import Application
from bokeh.application.handlers.function import FunctionHandler
from bokeh.document import Document
from bokeh.models import ColumnDataSource
from bokeh.server.server import BaseServer
from tornado.httpserver import HTTPServer
from tornado.ioloop import IOLoop
from tornado.netutil import bind_sockets

from hotfuel.errors import InputError
from hotfuel.live import guard
from hotfuel.live.state import LiveState
from hotfuel.live.traces import Traces
from hotfuel.live.wording import clean, panel
from hotfuel.record import requests
from hotfuel.units import Shown

TURN_S = 0.1
AT_LEAST_S = 0.5  # something is sent that often even if nothing came: the browser counts silence
AHEAD = 2  # pieces sent and not yet taken
BURST, PER_S = 10, 1.0  # requests from browsers: as many at once, as many a second
_ASKED_MAX = 4000  # characters of one request


class View:
    """One browser's document."""

    def __init__(self, page: "Page", document: Document) -> None:
        self.page, self.document = page, document
        self.traces = Traces(page.shown)
        self._sent = self._taken = 0
        self._answer: dict[str, Any] = {}
        self._due = False
        self.told = ColumnDataSource({"panel": ["null"]}, name="told")
        self.asked = ColumnDataSource({"taken": [0], "request": [""]}, name="asked")
        self.asked.on_change("data", lambda attribute, old, new: self._hear(new))
        self.traces.update(page.state, page.state.situation())
        document.add_root(self.traces.figure)
        document.add_root(self.told)
        document.add_root(self.asked)
        document.title = f"{page.title}: fuel heat"
        document.template = page.template
        document.template_variables.update(page.texts)
        document.config.notify_connection_status = False  # the page says it its own way, and loads itself anew
        document.config.reconnect_session = False
        document.on_session_destroyed(lambda context: page.views.discard(self))

    def offer(self) -> None:
        """Have the newest panel sent, unless this browser has not taken the last ones."""
        if not self._due and self._sent - self._taken < AHEAD:
            self._due = True
            self.document.add_next_tick_callback(self._send)

    def _send(self) -> None:
        self._due = False
        page = self.page
        self._sent += 1
        self.traces.update(page.state, page.now)
        more = {"sequence": self._sent, "lines": self.traces.lines, "answer": self._answer}
        self.told.data = {"panel": [json.dumps({**page.panel, **more}, ensure_ascii=False, allow_nan=False)]}

    def _hear(self, data: Any) -> None:
        """What the browser sent: how far it got, and perhaps a request. It can be anything."""
        try:
            taken, asked = data["taken"][0], data["request"][0]
        except (KeyError, IndexError, TypeError):
            return
        if isinstance(taken, int) and 0 <= taken <= self._sent:
            self._taken = max(self._taken, taken)
        if isinstance(asked, str) and asked:
            answer = self.page.ask(asked)
            if answer and answer["id"] != self._answer.get("id"):
                self._answer = answer
                self.offer()


class Page:
    """The state, what is made of it each turn, and the browsers that look at it."""

    def __init__(
        self, session_path: str | Path, units: str | None, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.state = LiveState(session_path)
        self.shown = Shown(units) if units else self.state.shown
        self.views: set[View] = set()
        self.title = clean(self.state.name, 80)
        environment = jinja2.Environment(autoescape=True)
        files = resources.files("hotfuel.live")
        self.template = environment.from_string(files.joinpath("page.html.jinja").read_text(encoding="utf-8"))
        car = self.state.car.name if self.state.car else "no car file"
        self.texts = {
            "style": files.joinpath("page.css").read_text(encoding="utf-8"), "script": files.joinpath("page.js").read_text(encoding="utf-8"),
            "car": clean(car, 80), "text_max": requests.TEXT_MAX,
        }  # fmt: skip
        self._say, self._clock = say, clock
        self._sent_at = -1e9
        self._failed = ""
        self._tokens, self._tokens_at = float(BURST), clock()
        self._answered: dict[str, dict[str, Any]] = {}
        self.refresh()

    def refresh(self) -> None:
        """Work out anew what is shown."""
        self.now = self.state.situation()
        self.panel = panel(self.now, self.shown)

    def turn(self) -> None:
        """Read on, and send what is new."""
        came = self.state.advance()
        now = self._clock()
        if came or now - self._sent_at >= AT_LEAST_S:
            self._sent_at = now
            self.refresh()
            for view in list(self.views):
                view.offer()

    async def work(self) -> None:
        """Turns without end. An error is said once and costs the page its freshness, never the recording."""
        while True:
            try:
                self.turn()
                self._failed = ""
            except Exception as error:  # whatever goes wrong here, the browsers see it as stale numbers
                if str(error) != self._failed:
                    self._failed = str(error)
                    self._say(
                        f"The page cannot go on at this moment ({type(error).__name__}: {error}); the recording is not touched."
                    )
            await asyncio.sleep(TURN_S if self.state.caught_up else 0.005)

    def document(self, document: Document) -> None:
        """Called for each browser that comes."""
        self.views.add(View(self, document))

    def ask(self, text: str) -> dict[str, Any]:
        """Do what a browser asks, if it may be asked. Returns {"id", "words", "done"}; {} for what is no request. A repeated id is answered once."""
        try:
            asked = json.loads(text) if len(text) <= _ASKED_MAX else None
        except (ValueError, RecursionError):
            asked = None
        if (
            not isinstance(asked, dict)
            or asked.get("kind") not in ("mark", "acknowledge", "end")
            or not isinstance(asked.get("id"), str)
        ):
            return {}
        number = asked["id"][:40]
        if number not in self._answered:
            done, words = self._do(asked["kind"], asked.get("text"))
            self._answered[number] = {"id": number, "words": words, "done": done}
            while len(self._answered) > 100:
                del self._answered[next(iter(self._answered))]
        return self._answered[number]

    def _do(self, kind: str, text: Any) -> tuple[bool, str]:
        now = self._clock()
        self._tokens = min(self._tokens + (now - self._tokens_at) * PER_S, BURST)
        self._tokens_at = now
        if not self.state.live:
            return False, "The recording has ended: nothing can be added."
        if self._tokens < 1:
            return False, "Too many requests: wait a few seconds."
        self._tokens -= 1
        words = clean(text, requests.TEXT_MAX) if isinstance(text, str) else ""
        try:
            requests.ask(self.state.folder.path, kind, (words or "mark") if kind == "mark" else "")
        except OSError as error:
            return False, f"It could not be passed on ({error.strerror})."
        if kind == "acknowledge":
            if self.state.host is not None:
                self.state.host.acknowledge()
            return True, "Sound quieted. Lamp and warnings stay as they are."
        return True, {"mark": "Mark passed on.", "end": "The recording is asked to end."}[kind]


def serve(
    session_path: str | Path,
    *,
    address: str = "127.0.0.1",
    port: int = 0,
    units: str | None = None,
    say: Callable[[str], None] = print,
) -> None:
    """Show a session on a page until Ctrl-C or SIGTERM. Says its link once.

    address: where it listens; on any other than loopback the link holds a token, without which everything is refused. port: 0 takes a free one.
    Raises InputError if there is no recording or the address cannot be used.
    """
    for noisy in ("bokeh", "tornado"):
        logging.getLogger(noisy).setLevel(logging.CRITICAL)  # what a hostile browser makes them log is nobody's to read
    page = Page(session_path, units, say)
    token = "" if address in guard.LOOPBACK_ADDRESSES else guard.new_token()
    try:
        sockets = bind_sockets(port, address or "0.0.0.0", backlog=32)
    except (OSError, OverflowError) as error:
        page.state.close()
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"the page cannot listen on {address} port {port} ({reason}): give another address or port, or 0 for a free one"
        ) from None
    try:
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(_run(page, token, sockets, address, say))
    finally:
        page.state.close()


async def _run(page: Page, token: str, sockets: list[socket.socket], address: str, say: Callable[[str], None]) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):  # not in the main thread, or not on this system
            loop.add_signal_handler(number, stop.set)
    application = guard.GuardedTornado(Application(FunctionHandler(page.document)), token)
    http = HTTPServer(application, max_header_size=1 << 14, max_body_size=guard.MESSAGE_MAX, idle_connection_timeout=120)
    http.add_sockets(sockets)
    server = BaseServer(IOLoop.current(), application, http)
    server.start()
    work = asyncio.create_task(page.work())
    say(_invitation(address, sockets[0].getsockname()[1], token))
    try:
        await stop.wait()
    finally:
        work.cancel()
        http.stop()
        server.stop()
        await asyncio.sleep(0)


def _invitation(address: str, port: int, token: str) -> str:
    name = address
    if token and address in ("", "0.0.0.0", "::"):
        name = _own_address()
    with contextlib.suppress(ValueError):
        name = f"[{name}]" if ipaddress.ip_address(name).version == 6 else name
    link = f"http://{name}:{port}/" + token
    if not token:
        return f"live page: {link}"
    return f"live page: {link}  (whoever has this link can look, mark and end the recording)"


def _own_address() -> str:
    """This computer's address in the network it would use; no packet is sent for it."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        return str(probe.getsockname()[0])
    return socket.gethostname()
