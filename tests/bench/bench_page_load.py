"""500 loads of the page in 10 s from one client: the effect on other viewers and on the recorder.

python tests/bench/bench_page_load.py [loads, default 500] [seconds, default 10]

A load is what a browser requests: the page, the charts' library and script, a chart, and the WebSocket with its first panel.
Viewers take every panel as a browser does. A viewer's delay is counted for every reading, from when the board wrote it until a
panel with it or a later one arrives; the recorder's from the same time until its bytes are in the log. Both are measured for as
long before the loads as during them. Board, page and loading client are separate processes; the client starts before anything is
counted.
"""

import asyncio
import bisect
import collections
import json
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

sys.path[:0] = [
    str(Path(__file__).parent),
    str(Path(__file__).parents[1] / "host" / "session"),
    str(Path(__file__).parents[1] / "browser"),
]

import live_rig as rig  # noqa: E402  its folder goes onto the path first
import synthetic  # noqa: E402
from bench_link import LEAD_S, Board, Frame  # noqa: E402
from hotfuel import car as car_file  # noqa: E402
from hotfuel.link.receive import Link  # noqa: E402
from hotfuel.log.append import LogWriter  # noqa: E402
from hotfuel.record.recorder import Recorder  # noqa: E402
from hotfuel.samples import decode  # noqa: E402
from hotfuel.session import folder as session_folder  # noqa: E402
from tornado.httpclient import HTTPRequest  # noqa: E402
from tornado.websocket import websocket_connect  # noqa: E402

VIEWERS, PERIOD_S, SPAN = 4, 0.2, 20
SLOWEST = 4  # factor on the seconds asked for that a slow machine may take for the loads


def frames(seconds: float) -> list[Frame]:
    """80 s of readings that can be told apart: the temperatures of pump and carburettor inlet count up."""
    made = synthetic.Recording()
    result = [Frame(-0.1, made.data)]
    for number in range(int(seconds / PERIOD_S)):
        if number % 5 == 0:
            made.auxiliary(number * PERIOD_S, number, 39.3, 13.8)
            result.append(Frame((number - 0.5) * PERIOD_S, made.frames[-1]))
        made.reading(number * PERIOD_S, [30.0, 20.0 + number % SPAN, 25.0 + number // SPAN % SPAN])
        result.append(Frame(number * PERIOD_S, made.frames[-1], True))
    return result


class Counted(LogWriter):
    """Notes when each piece was in the log."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.bytes, self.at = 0, []

    def received(self, data: bytes) -> None:
        super().received(data)
        self.bytes += len(data)
        self.at.append((self.bytes, time.monotonic()))


async def view(url: str, over: asyncio.Event, seen: list[tuple[float, int]]) -> None:
    """One viewer: (time, which reading) of every panel, until the trial is over."""
    parts = urlsplit(url)
    connection = await websocket_connect(HTTPRequest(f"ws://{parts.netloc}/live", headers={"Origin": f"http://{parts.netloc}"}))
    while not over.is_set():
        told = json.loads(await connection.read_message())
        degc = {row["place"]: int(row["temperature"]) for row in told["places"]}
        seen.append((time.monotonic(), degc["pump"] - 20 + SPAN * (degc["carb_inlet"] - 25)))
        await connection.write_message(json.dumps({"taken": told["sequence"]}))
    connection.close()


async def load(url: str) -> collections.Counter[int]:
    """One browser that opens the page and leaves: the statuses it got."""
    parts, got = urlsplit(url), collections.Counter()
    for path in ("", "bokeh.js", "charts.js", "chart?place=pump"):
        reader, writer = await asyncio.open_connection(parts.hostname, parts.port)
        writer.write(
            f"GET /{path} HTTP/1.1\r\nHost: {parts.netloc}\r\nAccept-Encoding: gzip\r\nConnection: close\r\n\r\n".encode()
        )
        answer = await reader.read(-1)
        got[int(answer.split(b" ", 2)[1])] += 1
        writer.close()
    try:
        connection = await websocket_connect(
            HTTPRequest(f"ws://{parts.netloc}/live", headers={"Origin": f"http://{parts.netloc}"})
        )
        await connection.read_message()
        connection.close()
        got[101] += 1
    except Exception as error:
        got[getattr(error, "code", 0)] += 1
    return got


async def loads(url: str, count: int, seconds: float) -> None:
    """Print a line when ready, and after a line from the parent process start `count` loads, one every `seconds / count`, whether
    or not the earlier ones have finished."""
    print("ready", flush=True)
    await asyncio.to_thread(sys.stdin.readline)
    begun, tasks = time.monotonic(), []
    for number in range(count):
        await asyncio.sleep(max(0.0, begun + number * seconds / count - time.monotonic()))
        tasks.append(asyncio.create_task(load(url)))
    got = sum(await asyncio.gather(*tasks, return_exceptions=False), collections.Counter())
    print(
        json.dumps(
            {str(status): number for status, number in sorted(got.items())} | {"seconds": round(time.monotonic() - begun, 1)}
        )
    )


def print_row(title: str, late_s: list[float]) -> None:
    p50, p99 = np.percentile(late_s, [50, 99]) * 1000
    print(f"{title:44s} {p50:6.0f} ms median, {p99:6.0f} ms p99, {1000 * max(late_s):6.0f} ms most, of {len(late_s)}")


def trial(folder: Path, count: int, seconds: float) -> None:
    path = session_folder.create(folder / "loads", car_file.EXAMPLE).path
    sent_frames = frames((SLOWEST + 2) * seconds + 20)
    stop, seen = threading.Event(), [[] for _ in range(VIEWERS)]
    with Board(sent_frames) as board, Link(board.device) as link, Counted(path / "wire.log") as writer:
        recorder = threading.Thread(
            target=lambda: Recorder(link, writer, folder=path, say=print).run(None, stop.is_set), daemon=True
        )
        recorder.start()
        server = rig.Server(path, units="si")
        time.sleep(LEAD_S + 3)

        async def watch() -> tuple[float, float, float, str]:
            client = await asyncio.create_subprocess_exec(
                sys.executable, __file__, "--client", server.url, str(count), str(seconds),
                stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            )  # fmt: skip
            assert client.stdout is not None
            await client.stdout.readline()
            ended = asyncio.Event()
            viewers = asyncio.gather(*(view(server.url, ended, mine) for mine in seen))
            await asyncio.sleep(2)
            calm = time.monotonic()
            await asyncio.sleep(seconds)
            busy = time.monotonic()
            said, _ = await asyncio.wait_for(client.communicate(b"go\n"), SLOWEST * seconds)
            over = time.monotonic()
            await asyncio.sleep(3)  # the last readings need their panel too
            ended.set()
            await viewers
            return calm, busy, over, said.decode()

        calm, busy, over, said = asyncio.run(watch())
        ended = time.monotonic()
        stop.set()
        recorder.join(5)
        server.close()
        sent = board.sent_s()
    print(f"{count} loads in {seconds:.0f} s: statuses, and the time the client took {said.strip()}")
    readings = [float(at) for at in sent[board.readings] if 0 < at < ended]
    for name, first, last in (("before", calm, busy), ("with the loads", busy, over)):
        print_row(f"viewers, {name}", [late for mine in seen for late in delays(readings, mine, first, last)])
        ends = np.cumsum([len(frame.data) for frame in sent_frames])
        stored = [at - float(when) for frame_end, when in zip(ends, sent, strict=True) if first <= when < last
                  for at in [next((moment for total, moment in writer.at if total >= frame_end), None)] if at is not None]  # fmt: skip
        print_row(f"recorder, {name}", stored)
    log = decode(path / "wire.log")
    print(f"readings in the log {len(log.readings) // 3} of {len(readings)} sent; gaps {len(log.messages['link_gap'])}")


def delays(readings: list[float], seen: list[tuple[float, int]], first: float, last: float) -> list[float]:
    """For every reading written between these times: the delay until this viewer had it or a later one. seen: reading numbers modulo SPAN squared."""
    reached, panels = -1, []
    for at, shown in seen:
        written = bisect.bisect_right(readings, at) - 1
        reached = max(reached, written - (written - shown) % SPAN**2)
        panels.append((reached, at))
    found = []
    for number, written in enumerate(readings):
        if first <= written < last:
            row = bisect.bisect_left(panels, (number, 0.0))
            found.append((panels[row][1] if row < len(panels) else seen[-1][0]) - written)
    return found


def main() -> None:
    if "--client" in sys.argv:
        at = sys.argv.index("--client")
        asyncio.run(loads(sys.argv[at + 1], int(sys.argv[at + 2]), float(sys.argv[at + 3])))
        return
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder:
        trial(Path(folder), count, float(sys.argv[2]) if len(sys.argv) > 2 else 10.0)


if __name__ == "__main__":
    main()
