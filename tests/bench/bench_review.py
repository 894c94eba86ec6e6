"""The review page of a long recording: 1.4 million ticks of four places. Time and size, against an empty bokeh page of as many figures.

python tests/bench/bench_review.py [ticks]
"""

import statistics
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from bokeh.embed import components
from bokeh.plotting import figure
from bokeh.resources import INLINE
from hotfuel import car as car_file
from hotfuel.report import review, words
from hotfuel.report.plots import Plots
from hotfuel.samples.clock import Clock
from hotfuel.samples.losses import Losses
from hotfuel.samples.table import MESSAGES, scans
from hotfuel.session.folder import SessionFolder
from hotfuel.session.frame import Ticks
from hotfuel.session.recording import Session
from hotfuel.session.timeline import Timeline
from hotfuel.study import story
from hotfuel.units import Shown

START_S = 1_780_000_000.0
PLACES = ("tank", "pump", "carb_inlet", "air_box")
CAR = car_file.EXAMPLE + '\n[[place]]\nname = "air_box"\nchannel = 3\nrole = "air"\n'


def long_session(count: int) -> Session:
    """A session of `count` ticks at 10 Hz, its tables filled directly: stop-and-go over many hours, noise, a gap, a lost probe."""
    random = np.random.default_rng(1)
    seconds = START_S + np.arange(count) * 0.1
    seconds[count // 2 :] += 40.0
    cycle = np.sin(np.arange(count) / 9000)
    degc = np.stack(
        [level + swing * cycle + 0.05 * random.standard_normal(count) for level, swing in ((35, 3), (48, 10), (50, 9), (60, 15))],
        axis=1,
    )
    degc = np.asfortranarray(degc)  # as hotfuel.session.frame lays them out
    degc[count // 3 : count // 3 + 3000, 2] = np.nan
    car = car_file.load(CAR)
    channel = {
        "place": b"",
        "chip": 1,
        "thermocouple": ord("K"),
        "gain": 32,
        "mains_hz": 50,
        "averages": 1,
        "mode": 0,
        "resolution_bits": 19,
    }
    description = {
        "protocol_version": 1, "firmware_major": 1, "firmware_minor": 0, "firmware_patch": 0, "board_id": bytes(8), "boot_count": 1, "reset_cause": 1,
        "period_ms": 100, "simulated": 1, "simulated_speed": 0, "channels": [channel | {"place": name.encode()} for name in PLACES],
    }  # fmt: skip
    decoded = SimpleNamespace(
        scans=np.zeros(0, scans(0)), messages={name: np.zeros(0, dtype) for name, dtype in MESSAGES.items()}, descriptions={1: description},
        losses=Losses(), clock=Clock(), notes=[],
    )  # fmt: skip
    here = Path("long")
    session = Session(SessionFolder(here, here / "wire.log", None, None, None), decoded, car, "", None, {"utc_offset_min": 120})
    timeline = Timeline(decoded.clock, True, {0: START_S})
    reason = np.where(np.isnan(degc), 4, 0).astype(np.uint8)
    session.__dict__["ticks"] = Ticks(
        timeline, seconds, np.zeros(count, "u2"), np.arange(count, dtype="u4"), PLACES, degc, reason
    )
    return session


def median(task, times=5):
    task()  # imports, templates, first allocations
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        task()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def empty_page(count: int) -> str:
    """As many plain figures with one short line each."""
    figures = {f"f{number}": figure(width=690, height=150) for number in range(count)}
    for plot in figures.values():
        plot.line([0, 1], [0, 1])
    script, divs = components(figures)
    return INLINE.render_js() + script + "".join(divs.values())


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_400_000
    session = long_session(count)
    tell_once = long_session(3000)
    tell_once.summary(), story.tell(tell_once)  # imports, the fuel's tables
    start = time.process_time()
    session.summary()
    summed = time.process_time()
    session.alarms()
    alarmed = time.process_time()
    told = story.tell(session)  # the page shows what session and study have calculated
    ended = time.process_time()
    text = review.render(session, told=told)
    summary, shown = session.summary(), Shown("si")
    clock = words.Clock(session.ticks.timeline.anchored, 120)

    def draw() -> list[str]:
        plots = Plots(session, shown, clock)
        plots.picture(summary, 250, told.phases), plots.overview(), plots.technical()
        return [str(chart.svg()) for chart in plots.figures.values()]

    drawing_s = median(draw)
    page_s = median(lambda: review.render(session, told=told))
    figures = text.count('class="chart')
    floor_s = median(lambda: empty_page(figures))
    floor_bytes = len(empty_page(figures).encode())
    print(
        f"{count} ticks x {len(PLACES)} places: margins and summary {summed - start:.2f} s, story {ended - alarmed:.2f} s", end=""
    )
    print(f", alarms {alarmed - summed:.2f} s of processor time")
    print(f"page           {page_s:.3f} s   {len(text.encode()) / 1e6:.2f} MB   {figures} figures")
    print(f"its drawing    {drawing_s:.3f} s   {sum(map(len, draw())) / 1e6:.2f} MB")
    print(f"empty figures  {floor_s:.3f} s   {floor_bytes / 1e6:.2f} MB   drawing {drawing_s / floor_s:.2f} of it")


if __name__ == "__main__":
    main()
