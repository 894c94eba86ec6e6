"""The live page: from a frame in the log to pixels in a browser; its processor time; memory over 24 hours; opening a long recording.

python tests/bench/bench_live.py [seconds] [--no-day]      needs Chromium for the first part
"""

import resource
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "browser"))
sys.path.insert(0, str(Path(__file__).parent.parent / "host" / "session"))

import live_rig as rig
import synthetic
from hotfuel import car as car_file
from hotfuel import samples
from hotfuel.live.charts import Points
from hotfuel.live.intake import Batch
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.log.append import LogWriter
from hotfuel.log.follow import Follower
from hotfuel.session import folder as session_folder
from hotfuel.units import Shown

WATCH = """() => {
  window.seen = [];
  const number = document.querySelector('[data-place=pump] .temperature');
  let last = '';
  const look = () => { if (number.textContent !== last) { last = number.textContent; window.seen.push([last, Date.now()]); } requestAnimationFrame(look); };
  requestAnimationFrame(look);
}"""
EIGHT = ("tank", "pump", "carb_inlet", "hose", "bowl", "line", "return", "bonnet")


def new_session(folder, name):
    return session_folder.create(Path(folder) / name, car_file.EXAMPLE).path


def to_pixels(folder, seconds):
    """A reading every 200 ms, each with a different temperature: when it was in the log, and when on the screen."""
    path = new_session(folder, "pixels")
    made = synthetic.Recording()
    written, followed, stop = [], [], threading.Event()  # (its text, when), in order

    def follow():  # the minimum: another follower of the same log, without decoding and without a browser
        with Follower(path / "wire.log") as follower:
            while not stop.is_set():
                if follower.wait(0.5):
                    followed.append(time.time())

    with LogWriter(path / "wire.log") as writer, rig.browser() as browser:
        begun = time.monotonic()

        def send(number):
            made.frames.clear()
            time_s = time.monotonic() - begun
            if number == 0:
                made.boot(1)
                made.anchor(0.0, time.time())
            if number % 5 == 0:
                made.auxiliary(time_s, number, 39.3, 13.8)
            made.reading(time_s, [30.0, 20.0 + number % 30, 45.0])
            written.append((f"now {20 + number % 30} °C", time.time()))
            writer.received(made.data)

        send(0)
        server = rig.Server(path, units="si")
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.goto(server.url)
        page.wait_for_selector("[data-place=pump]", timeout=20000)
        page.evaluate(WATCH)
        threading.Thread(target=follow, daemon=True).start()
        for number in range(1, int(seconds / 0.2)):
            send(number)
            page.wait_for_timeout(200)
        page.wait_for_timeout(1000)
        stop.set()
        seen = page.evaluate("window.seen")
        server.close()
    pixels = []
    for text, shown_ms in seen:
        delays = [shown_ms / 1000 - at for said, at in written if said == text and at < shown_ms / 1000]
        pixels += delays[-1:]  # a text comes again after 30 readings
    arrivals = np.array([at for _, at in written])
    floor = [at - arrivals[arrivals < at][-1] for at in followed if at > arrivals[0]]
    p50, p99 = np.percentile(pixels, [50, 99]) * 1000
    base50, base99 = np.percentile(floor, [50, 99]) * 1000
    print(f"log to pixels      {p50:6.0f} ms median, {p99:6.0f} ms p99 of {len(pixels)} readings (aim: p99 under 500 ms)")
    print(
        f"  bare follower    {base50:6.0f} ms median, {base99:6.0f} ms p99; the page takes {p50 / max(base50, 1e-3):.0f} times that"
    )


def cost(folder):
    """Processor time per second of 8 channels at 10 Hz, read and put into words as the page does it, and of decoding the same log in bulk."""
    made = synthetic.Recording(EIGHT, period_ms=100)
    for number in range(600):
        made.reading(number * 0.1, [30.0 + channel + number / 300 for channel in range(8)])
        if number % 10 == 0:
            made.auxiliary(number * 0.1, number * 10, 39.3, 13.8)
    path = new_session(folder, "cost")
    data, seconds, busy = made.data, 60.0, 0.0
    step = len(data) // 600
    with LogWriter(path / "wire.log") as writer, LiveState(path) as state:
        for at in range(0, len(data), step):
            writer.received(data[at : at + step])
            began = time.process_time()
            state.advance(1.0)
            panel(state.situation(), Shown("us"))
            busy += time.process_time() - began
    began = time.process_time()
    samples.decode(path / "wire.log")
    bulk = time.process_time() - began
    print(f"page's processor   {100 * busy / seconds:6.1f} % of one core at 8 channels x 10 Hz, updated 10 times a second")
    print(f"  bulk decode      {100 * bulk / seconds:6.3f} % of one core for the same log")


def whole_day(folder):
    """24 hours at one reading a second through state, words and traces; memory after 3 hours and at the end."""
    path = new_session(folder, "day")
    made = synthetic.Recording(period_ms=1000)
    shown = Shown("us")
    with LiveState(path) as state:
        state._caught_up = True  # as a page that has been open from the start
        points = Points(shown)
        kept = {}
        for hour in range(24):
            times = hour * 3600.0 + np.arange(3600)
            for minute in range(60):
                for time_s in times[minute * 60 : minute * 60 + 60].tolist():
                    made.reading(time_s, [30 + 5 * np.sin(time_s / 900), 42 + 20 * np.sin(time_s / 700), 45.0])
                made.auxiliary(float(times[minute * 60]), int(times[minute * 60]) * 50, 39.3, 13.8)
                made.anchor(float(times[minute * 60]))
                made.mark(float(times[minute * 60]), f"minute {minute}")
                for one in state.intake.feed(made.data):
                    state._take(one) if isinstance(one, Batch) else state._hear(one)
                made.frames.clear()
                now = state.situation()
                panel(now, shown)
                points.new(state, now)
            with open("/proc/self/statm", encoding="ascii") as file:
                kept[hour + 1] = int(file.read().split()[1]) * resource.getpagesize() / 1e6
    print(
        f"memory             {kept[3]:6.1f} MB after 3 h, {kept[12]:.1f} after 12 h, {kept[24]:.1f} after 24 h: {kept[24] - kept[3]:+.1f} MB"
    )


def opening(folder):
    """A recording of three hours, opened by the page, against decoding it in bulk."""
    path = new_session(folder, "long")
    (path / "wire.log").write_bytes(synthetic.drive(3 * 3600.0).data)
    began = time.perf_counter()
    with LiveState(path) as state:
        while state.advance(1.0):
            pass
    ours = time.perf_counter() - began
    began = time.perf_counter()
    samples.decode(path / "wire.log")
    bulk = time.perf_counter() - began
    print(
        f"opening 3 h        {ours:6.2f} s for 54,000 readings of 3 channels with margins and alarms, {ours / bulk:.0f} times a bulk decode alone"
    )


def main():
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    with tempfile.TemporaryDirectory() as folder:
        if rig.missing():
            print(f"log to pixels      not measured: {rig.missing()}")
        else:
            to_pixels(folder, seconds)
        cost(folder)
        opening(folder)
        if "--no-day" not in sys.argv:
            whole_day(folder)


if __name__ == "__main__":
    main()
