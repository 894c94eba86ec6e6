"""The real page in a real browser without a server: its requests are answered here, so that a test decides what it receives, and when."""

import json
import re
import sys
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "host" / "session")]
import live_rig as rig  # noqa: E402  its folder goes onto the path first
import staged  # noqa: E402
from hotfuel.live import charts  # noqa: E402
from hotfuel.live import page as live_page  # noqa: E402
from hotfuel.units import Shown  # noqa: E402

URL = "http://127.0.0.1:9/"  # nothing listens there, and no request reaches it
SIZES = {"phone": (390, 844), "phone on its side": (844, 390), "tablet": (1280, 800), "laptop": (1366, 768), "wide": (2560, 1440)}
# states of recordings; besides them the page's own states:
SCENES = (
    *staged.SCENES,
    "waiting",
    "no limits",
    "low pressure",
    "part failed",
)
OWN = {"stale": "act", "stale after quiet": "quiet", "ended": "act", "no word": "act"}  # each with the recording it follows
FORECAST = ("ahead", "percolation", "hot stop")


class Scene:
    """A staged recording, read to its end by the page's own code."""

    def __init__(self, path: Path, name: str) -> None:
        self.name = name
        with staged.Staged(path, name, still=True) as made:
            self.page = live_page.Page(made.folder, "us", lambda sentence: None)
            while not self.page.state.caught_up:
                self.page.turn()
            self.page.refresh()
            if name in FORECAST:
                rig.wait_for(self._forecast, 120, 0.5)
            self.panels = {units: self._panel(units) for units in ("us", "si")}
        self.html = self.page.html()[0].decode()
        self.page.state.close()

    def _forecast(self) -> bool:
        self.page.turn()
        self.page.refresh()
        return bool(self.page.now.outlooks)

    def _panel(self, units: str) -> dict:
        told = {**self.page.panel(units), "sound": self.page.quieting.told(), "answers": []}
        return told | {"points": charts.Points(Shown(units)).new(self.page.state, self.page.now)}


class Scenes:
    """Each scene, made once on first use."""

    def __init__(self, path: Path) -> None:
        self._path, self._made = path, {}

    def __getitem__(self, name: str) -> Scene:
        name = OWN.get(name, name)
        if name not in self._made:
            self._made[name] = Scene(self._path / name.replace(" ", "-"), name)
        return self._made[name]


_STILL = """(() => {
  let steady = performance.now(), wall = Date.now();
  window.later = milliseconds => { steady += milliseconds; wall += milliseconds; };
  performance.now = () => steady;
  Date.now = () => wall;
})();
"""
_STEPPED = """(() => {
  const tasks = new Map();
  let last = 0;
  const add = (call, delay, every, given) => { tasks.set(++last, { call, given, every, due: performance.now() + (delay || 0) }); return last; };
  window.setTimeout = (call, delay, ...given) => add(call, delay, 0, given);
  window.setInterval = (call, delay, ...given) => add(call, delay, Math.max(delay, 1), given);
  window.clearTimeout = window.clearInterval = number => tasks.delete(number);
  window.pass = milliseconds => {
    const end = performance.now() + milliseconds;
    for (;;) {
      let first = null;
      for (const [number, task] of tasks) if (task.due <= end && (first === null || task.due < tasks.get(first).due)) first = number;
      if (first === null) break;
      const task = tasks.get(first);
      later(Math.max(0, task.due - performance.now()));
      if (task.every) task.due += task.every; else tasks.delete(first);
      task.call(...task.given);
    }
    later(end - performance.now());
  };
})();
"""


_WITHOUT_CHARTS = {"/bokeh.js": "", "/charts.js": "window.Charts = { take() {}, old() {}, dress() {}, count: () => 0 };"}
_ROOM = """document.querySelectorAll('.place:has(.limit:not(:empty)) .chart').forEach(box => {
  box.classList.add('made');
  if (!box.firstChild) box.append(document.createElement('i'));
})"""


class FedPage:
    """A browser's page. `asked`: its requests over its WebSocket; `units`: those it wanted; `complaints`: its errors.

    clock: "still": timers run, but time stands still unless `later` moves it, so that nothing gets old on a slow machine;
    "stepped": timers too run only in `pass_ms`; "real". script: False as in a browser without JavaScript. charts: whether they
    are drawn; otherwise their boxes have the size they would have, and stay empty.
    """

    def __init__(
        self, chromium, scenes: Scenes, size: str = "laptop", *, clock: str = "still", script: bool = True, charts: bool = False
    ) -> None:
        width, height = SIZES[size]
        self._charts = charts
        self.scenes, self._scene, self._sequence, self._taken = scenes, scenes["quiet"], 0, 0
        self.asked, self.units, self.complaints, self.sockets, self.connected = [], [], [], [], True
        self.context = chromium.new_context(viewport={"width": width, "height": height}, java_script_enabled=script)
        self.context.set_default_timeout(1000 * rig.SLOWEST_S)
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        if clock == "stepped":
            self.page.add_init_script(_STILL + _STEPPED)
        elif clock == "still":
            self.page.add_init_script(_STILL)
        self.page.route(re.compile(".*"), self._answer)
        self.page.route_web_socket(re.compile("/live$"), self._open)

    def open(self, name: str = "quiet", **changes) -> "FedPage":
        """Load the page and send it a scene."""
        self._scene = self.scenes[name]
        self.page.goto(URL)
        self.send(name, **changes)
        return self

    def _answer(self, route) -> None:
        path, wanted = urlsplit(route.request.url).path, urlsplit(route.request.url).query
        if path == "/":
            route.fulfill(body=self._scene.html, content_type="text/html; charset=utf-8")
        elif path == "/chart":
            route.fulfill(body=charts.chart(parse_qs(wanted)["place"][0]), content_type="application/json")
        elif path in _WITHOUT_CHARTS and not self._charts:
            route.fulfill(body=_WITHOUT_CHARTS[path], content_type="text/javascript; charset=utf-8")
        elif path.lstrip("/") in self._scene.page.scripts:
            route.fulfill(body=self._scene.page.scripts[path.lstrip("/")][0], content_type="text/javascript; charset=utf-8")
        else:
            route.abort()

    def _open(self, socket) -> None:
        if not self.connected:
            socket.close()
            return
        self.sockets.append(socket)
        self._taken = 0
        socket.on_message(self._hear)

    def _hear(self, message: str) -> None:
        told = json.loads(message)
        self._taken = max(self._taken, told.get("taken", 0))
        if "units" in told:
            self.units.append(told["units"])
        if "ask" in told:
            self.asked.append(json.loads(told["ask"]))

    def send(self, name: str, units: str = "us", wait: bool = True, **changes) -> dict:
        """Send a panel of this scene with these changes, and wait until the page has it. Returns what was sent."""
        told = {**self.scenes[name].panels[units], "age_s": None if name == "waiting" else 0.2, "live": True, **changes}
        if name.startswith("stale"):
            told["age_s"] = 7.3
        elif name == "ended":
            told["live"] = False
        if not self._charts:
            del told["points"]
        rig.wait_for(lambda: self.page.evaluate("1") and self.sockets)
        self._sequence += 1
        self.sockets[-1].send(json.dumps(told | {"sequence": self._sequence}))
        if wait:
            rig.wait_for(lambda: self.page.evaluate("1") and self._taken >= self._sequence, every_s=0.01)
        if name == "no word":
            self.disconnect()
        return told

    def look(self, scene="quiet", size="laptop", *, view="near", look="day", scale="1", **changes) -> None:
        """Show a scene at a size (a name of SIZES, or pixels), and wait until it is drawn."""
        wanted = dict(zip(("width", "height"), SIZES.get(size, size), strict=True))
        if self.page.viewport_size != wanted:
            self.page.set_viewport_size(wanted)
        self.page.evaluate("choice => Object.assign(document.body.dataset, choice)", {"view": view, "look": look, "size": scale})
        if not self.connected:
            self.reconnect()
        self.send(scene, **changes)
        if scene == "no word":
            self.later(2500)
            assert self.old()
        if not self._charts:
            self.page.evaluate(_ROOM)
        self.page.evaluate(
            "() => new Promise(done => requestAnimationFrame(() => { scrollTo(0, 0); requestAnimationFrame(done); }))"
        )

    def disconnect(self) -> None:
        """Close the connection from the server's side."""
        self.connected = False
        for socket in self.sockets:
            socket.close()
        self.sockets.clear()

    def reconnect(self) -> None:
        """Accept connections again."""
        self.connected = True
        rig.wait_for(lambda: self.page.evaluate("1") and self.sockets)

    def old(self) -> bool:
        """True if the page says that it is out of date."""
        return self.page.evaluate("document.body.classList.contains('old')")

    def later(self, milliseconds: int) -> None:
        """Move the still clock forward by so much; returns once the page has noticed."""
        self.page.evaluate("milliseconds => { later(milliseconds); window.dispatchEvent(new Event('focus')); }", milliseconds)

    def until(self, condition: str, timeout_s: float = rig.SLOWEST_S) -> None:
        """Wait until this expression is true on the page."""
        rig.wait_for(lambda: self.page.evaluate(condition), timeout_s, 0.03)

    def pass_ms(self, milliseconds: int) -> None:
        """Move the stepped clock forward by so much, its timers in their order."""
        self.page.evaluate("milliseconds => pass(milliseconds)", milliseconds)

    def close(self) -> None:
        self.context.close()
