"""A page of the live server in a browser, what it asks the network for, and stamps of its changes."""

import re

import live_rig as rig
import pytest
from playwright.sync_api import TimeoutError

SIZES = ((390, 844), (844, 390), (768, 1024), (1366, 768))
PHONE, LAPTOP = SIZES[0], SIZES[-1]


class Watched:
    """A page of a browser, with its network requests and its console errors."""

    def __init__(self, chromium, url, size=LAPTOP, **more):
        self.context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, **more)
        self.context.set_default_timeout(1000 * rig.SLOWEST_S)
        self.page = self.context.new_page()
        self.asked, self.sockets, self.complaints = [], [], []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: (self.asked.append(socket.url), self.sockets.append(socket)))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self.complaints.append(message.text) if message.type == "error" else None)
        self.page.goto(url)
        self.page.wait_for_selector(".place")

    def text(self, selector):
        return self.page.inner_text(selector)

    def number(self, place, part="temperature"):
        found = re.search(r"−?\d+", self.text(f'[data-place="{place}"] .{part}'))
        return float(found.group().replace("−", "-"))

    def old(self):
        return self.page.evaluate("document.body.classList.contains('old')")

    def answer_whether_to_end(self, button):
        """Press End the recording, then this button. The question disappears after ten seconds; a busy machine may take that long in between."""
        for _ in range(20):
            self.page.click("#end")
            try:
                self.page.click(button, timeout=8000)
            except TimeoutError:
                continue
            if not self.text("#answer").startswith("no answer"):  # the connection was lost for a moment: it says to try again
                return
        pytest.fail("the question whether to end was never shown long enough to be answered")

    def until(self, condition, timeout_s=rig.SLOWEST_S):
        self.page.wait_for_function(f"() => ({condition})", timeout=timeout_s * 1000)


SENT = """(() => {
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (text) { if (String(text).includes("died")) window.sent ||= Date.now(); return send.call(this, text); };
})()"""
STAMPS = """() => {
  window.stamps = [];
  let turn = performance.now();  // of the page's event loop: how late a busy machine lets it be
  window.late = 0;
  setInterval(() => { window.late = Math.max(window.late, performance.now() - turn); turn = performance.now(); }, 10);
  new MutationObserver(() => window.stamps.push([performance.now(), document.body.classList.contains('old'), document.querySelector('#alert-words').textContent,
    document.querySelector('#head-margin').textContent,
    performance.getEntriesByName('reading')[0].startTime])).observe(document.body, { attributes: true, attributeFilter: ['class'] });
}"""
