"""500 loads of the page in 10 s from one client: what other viewers and the recorder notice of it.

python tests/bench/bench_page_load.py [loads, default 500] [seconds, default 10]

A load is what a browser asks for: the page, the charts' library and script, a chart, and the WebSocket with its first panel. Viewers take every panel
as a browser does. A viewer's delay counts from the moment the board wrote a reading until a panel with its temperature is there; the recorder's from
there until its bytes are in the log. Both are told for as long before the loads as during them. Board, page and loading client are processes of
their own.
"""

import asyncio
import collections
import itertools
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

VIEWERS, PERIOD_S, SPAN = 4, 0.2, 30


def frames(seconds: float) -> list[Frame]:
    """Readings that tell themselves apart for six seconds."""
    made = synthetic.Recording()
    result = [Frame(-0.1, made.data)]
    for number in range(int(seconds / PERIOD_S)):
        if number % 5 == 0:
            made.auxiliary(number * PERIOD_S, number, 39.3, 13.8)
            result.append(Frame((number - 0.5) * PERIOD_S, made.frames[-1]))
        made.reading(number * PERIOD_S, [30.0, 20.0 + number % SPAN, 45.0])
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


async def view(url: str, end: float, seen: list[tuple[float, int]]) -> None:
    """One viewer: (when, the pump's temperature) of every panel."""
    parts = urlsplit(url)
    connection = await websocket_connect(HTTPRequest(f"ws://{parts.netloc}/live", headers={"Origin": f"http://{parts.netloc}"}))
    while (left := end - time.monotonic()) > 0:
        try:
            told = json.loads(await asyncio.wait_for(connection.read_message(), left))
        except TimeoutError:
            break
        seen.append((time.monotonic(), int(next(row["temperature"] for row in told["places"] if row["place"] == "pump"))))
        await connection.write_message(json.dumps({"taken": told["sequence"]}))
    connection.close()


async def load(url: str) -> collections.Counter[int]:
    """One browser that opens the page and goes: the statuses it got."""
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
    """`count` loads, one after `seconds / count` each, whether the ones before are through or not."""
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


def told(title: str, delays: list[float]) -> None:
    p50, p99 = np.percentile(delays, [50, 99]) * 1000
    print(f"{title:44s} {p50:6.0f} ms median, {p99:6.0f} ms p99, {1000 * max(delays):6.0f} ms most, of {len(delays)}")


def trial(folder: Path, count: int, seconds: float) -> None:
    path = session_folder.create(folder / "loads", car_file.EXAMPLE).path
    sent_frames = frames(2 * seconds + 8)
    stop, seen = threading.Event(), [[] for _ in range(VIEWERS)]
    with Board(sent_frames) as board, Link(board.device) as link, Counted(path / "wire.log") as writer:
        begun = time.monotonic()
        recorder = threading.Thread(
            target=lambda: Recorder(link, writer, folder=path, say=print).run(None, stop.is_set), daemon=True
        )
        recorder.start()
        server = rig.Server(path, units="si")
        time.sleep(LEAD_S + 3)
        calm = time.monotonic()

        async def watch() -> tuple[float, float, str]:
            viewers = asyncio.gather(*(view(server.url, calm + 2 * seconds + 3, mine) for mine in seen))
            await asyncio.sleep(seconds)
            busy = time.monotonic()
            client = await asyncio.create_subprocess_exec(
                sys.executable, __file__, "--client", server.url, str(count), str(seconds), stdout=subprocess.PIPE
            )
            said, _ = await client.communicate()
            over = time.monotonic()
            await viewers
            return busy, over, said.decode()

        busy, over, said = asyncio.run(watch())
        stop.set()
        recorder.join(5)
        server.close()
        sent = board.sent_s()
    print(f"{count} loads in {seconds:.0f} s: statuses and how long the client took {said.strip()}")
    readings = [(float(at), 20 + number % SPAN) for number, at in enumerate(sent[board.readings])]
    for name, first, last in (("before", calm, busy), ("with the loads", busy, over)):
        delays = [at - max((when for when, degc in readings if degc == shown and begun < when <= at), default=at)
                  for mine in seen for at, shown in changes(mine) if first <= at < last]  # fmt: skip
        told(f"viewers, {name}", delays)
        ends = np.cumsum([len(frame.data) for frame in sent_frames])
        stored = [at - float(when) for frame_end, when in zip(ends, sent, strict=True) if first <= when < last
                  for at in [next((moment for total, moment in writer.at if total >= frame_end), None)] if at is not None]  # fmt: skip
        told(f"recorder, {name}", stored)
    log = decode(path / "wire.log")
    print(
        f"readings in the log {len(log.readings) // 3} of {int((sent > 0)[board.readings].sum())} sent; gaps {len(log.messages['link_gap'])}"
    )


def changes(seen: list[tuple[float, int]]) -> list[tuple[float, int]]:
    """The panels at which the number became another."""
    return [now for before, now in itertools.pairwise(seen) if before[1] != now[1]]


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
