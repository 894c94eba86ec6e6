"""A day on the road, faster than real time: simulated board, pseudo-terminal, recorder, alarm, live state, page; unplugged,
rebooted and corrupted at random.

python tests/bench/bench_long_run.py [simulated hours, default 24] [speed, default 1000] [seed]

What the board's process wrote is counted before anything can lose it. Every tick it sent must then be in the log, or reported
lost: by a number missing between two readings, by numbers missing at the beginning of a boot (a board counts from its start), or,
at the end of a boot, where no later number can show it, by a damaged piece or a link gap at that position of the log. The page
runs in its own process with a browser's connection open all the time: it must have shown the recording's end, and its memory must
not grow after a quarter of the run.
"""

import asyncio
import json
import random
import resource
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "browser"))

import live_rig
from disturbed_board import Noisy, Outcome, Sent, Tick, disturb, source
from hotfuel import car as car_file
from hotfuel import samples, session
from hotfuel.link import port as ports
from hotfuel.link.receive import Link
from hotfuel.live.state import LiveState
from hotfuel.live.warner import Warner
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.session import folder as session_folder
from hotfuel.simulator import process
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.units import Shown
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import EVENTS
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect

DAMAGED_SHARE = 0.01  # of frames, a byte in each
FRAME_BYTES = 45  # of a reading of three channels
BROWSE = "browse"
PAGE_GROWS_MB = 5.0
SHOWN_S = 10.0  # s until the page has shown what is in the log, however busy the machine
END_S = 1.5  # s without bytes after the source's end: the rest has arrived


def run(folder: Path, hours: float, speed: float, seed: int = 1, damaged: float = DAMAGED_SHARE, every: float = 1.0) -> Outcome:
    """One long run, recorded into `folder`, and its count. damaged: share of frames; every: factor on the usual times between faults."""
    draw = random.Random(seed)
    seconds = hours * 3600
    outcome = Outcome(hours)
    sent = Sent()
    began = time.monotonic()
    receive = process.BoardProcess.receive

    def tapped(self: process.BoardProcess) -> bytes:
        data = receive(self)
        sent.note(self.process.pid, data)
        return data

    noisy: list[Noisy] = []

    def open_port(url: str) -> ports.Port:
        noisy.append(Noisy(ports.open_port(url), draw, damaged / FRAME_BYTES))
        return noisy[-1]

    car = car_file.load(car_file.EXAMPLE)
    session_folder.create(folder, car_file.EXAMPLE)
    said: list[str] = []
    troubles: list[str] = []
    live_ticks: Counter[Tick] = Counter()
    done = threading.Event()
    process.BoardProcess.receive = tapped  # type: ignore[method-assign]
    try:
        with (
            SimulatedBoard(source(seconds), speed=speed) as board,
            Link(board.device, open_port=open_port) as link,
            ExitStack() as stack,
        ):
            outcome.engine = board.engine
            stack.callback((seen := Seen(folder)).end)
            wall_s = time.time()
            writer = LogWriter(folder / "wire.log")
            recorder = Recorder(
                link, writer, heard=Warner(car, Shown("si"), said.append).hear, say=troubles.append, folder=folder,
                wall=lambda: wall_s + board.time_s,
            )  # fmt: skip
            state = LiveState(folder)
            state.watch = lambda batch: live_ticks.update((batch.boot, int(tick)) for tick in batch.tick)
            follower = threading.Thread(target=_follow, args=(state, done))
            faults = threading.Thread(target=disturb, args=(board, hours, every, random.Random(seed + 10), outcome, done.is_set))
            follower.start()
            faults.start()
            quiet_since = [time.monotonic()]

            def ended() -> bool:
                if not board.finished:
                    quiet_since[0] = time.monotonic()
                return board.finished and time.monotonic() - quiet_since[0] > END_S

            recorder.run(stop=ended)
            writer.close()
            done.set()
            faults.join()
            follower.join()
            seen.close(outcome)
            if board.failure:
                outcome.wrong.append(f"the board: {board.failure}")
    finally:
        process.BoardProcess.receive = receive  # type: ignore[method-assign]
        done.set()
    outcome.wrong += [sentence for sentence in troubles if "warning does not work" in sentence]
    outcome.bytes_changed = sum(port.changed for port in noisy)
    outcome.warned = sum("ACT" in sentence for sentence in said)
    outcome.wall_s = time.monotonic() - began
    count(outcome, folder, sent, live_ticks)
    return outcome


class Seen:
    """The page in a separate process, and beside it a client that takes every panel as a browser does and notes the page's memory."""

    def __init__(self, folder: Path) -> None:
        self._server = live_rig.Server(folder)
        # The link is said before the page is made; what making it takes is no growth.
        urllib.request.urlopen(self._server.url, timeout=live_rig.SLOWEST_S).read()
        self._notes = folder.parent / "panels.txt"
        command = [sys.executable, __file__, BROWSE, self._server.url.rstrip("/"), str(self._server.process.pid)]
        with self._notes.open("w", encoding="utf-8") as file:
            self._browser = subprocess.Popen(command, stdout=file)

    def close(self, outcome: Outcome) -> None:
        """Check the end, then stop the page."""
        deadline = time.monotonic() + SHOWN_S
        while not (rows := self._rows()) or rows[-1]["pump"] != "act":  # its limit is passed in the second half
            if time.monotonic() > deadline:
                outcome.wrong.append(
                    f"the page shows the pump as {rows[-1]['pump'] if rows else 'nothing'} at the end, wanted act"
                )
                break
            time.sleep(0.1)
        outcome.check(
            "the page's process and its browser have ended", (self._server.process.poll(), self._browser.poll()), (None, None)
        )
        outcome.panels = len(rows)
        memory_mb = [row["memory_mb"] for row in rows]
        outcome.page_grew_mb = max(memory_mb[len(rows) // 4 :], default=0.0) - max(memory_mb[: len(rows) // 4], default=0.0)
        if outcome.page_grew_mb > PAGE_GROWS_MB:
            outcome.wrong.append(
                f"the page's memory grew by {outcome.page_grew_mb:.1f} MB after the first quarter, allowed are {PAGE_GROWS_MB:g}"
            )

    def end(self) -> None:
        """Stop both."""
        self._server.close()
        self._browser.kill()
        self._browser.wait()

    def _rows(self) -> list[dict]:
        return [
            json.loads(line) for line in self._notes.read_text(encoding="utf-8").splitlines(keepends=True) if line.endswith("\n")
        ]


def browse(url: str, pid: int) -> None:
    """Take panels from the page until it ends; print a line for each: its number, the pump's state and the page's memory."""

    async def look() -> None:
        line = await websocket_connect(
            HTTPRequest(url.replace("http", "ws", 1).rstrip("/") + "/live", headers={"Origin": url.rstrip("/")})
        )
        while (text := await line.read_message()) is not None:
            panel = json.loads(text)
            pump = next((row["key"] for row in panel["places"] if row["place"] == "pump"), None)
            print(json.dumps({"sequence": panel["sequence"], "pump": pump, "memory_mb": _memory_mb(pid)}), flush=True)
            await line.write_message(json.dumps({"taken": panel["sequence"]}))

    asyncio.run(look())


def _memory_mb(pid: int) -> float:
    """Resident memory of a process; 0 where the system does not report it."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) * resource.getpagesize() / 1e6
    except OSError:
        return 0.0


def _follow(state: LiveState, done: threading.Event) -> None:
    """The live state as page and terminal use it, to the log's end."""
    with state:
        while not done.is_set():
            state.advance()
            state.situation()
            time.sleep(0.1)
        while state.advance():
            pass
        state.situation()


def count(outcome: Outcome, folder: Path, sent: Sent, live_ticks: Counter[Tick]) -> None:
    """Fill the outcome by comparing the log with what was sent."""
    decoded = samples.decode(folder / "wire.log")
    readings = decoded.readings.reshape(-1, 3)
    stored: list[dict[int, tuple[int, ...]]] = [{} for _ in sent.boots]
    log_boot: dict[int, int] = {}  # boot as counted in the log -> boot as the board began it
    for row in readings:
        boot = sent.ids.get(int(row["description_id"][0]), -1)
        tick = int(row["tick"][0])
        if boot < 0 or sent.boots[boot].get(tick) != tuple(row["hot"].tolist()):
            outcome.wrong.append(f"a reading that was never sent: boot {boot}, tick {tick}")
            continue
        if tick in stored[boot]:
            outcome.wrong.append(f"boot {boot}, tick {tick} is in the log twice")
        stored[boot][tick] = tuple(row["hot"].tolist())
        outcome.check(f"boot number {boot} in the log", log_boot.setdefault(int(row["boot"][0]), boot), boot)
    missing = missing_at_starts = 0
    started = {log_boot.get(int(row["boot"])) for row in decoded.messages["event"] if row["code"] == EVENTS["boot"]}
    ends: list[int] = []
    for number, (made, kept) in enumerate(zip(sent.boots, stored, strict=True)):
        outcome.sent += len(made)
        outcome.stored += len(kept)
        if not made:
            continue
        outcome.never_made += max(made) - min(made) + 1 - len(made)
        if not kept:
            outcome.ends += len(made)
            ends.append(number)
            continue
        first, last = min(kept), max(kept)
        missing += last - first + 1 - len(kept)
        missing_at_starts += first - 1 if number in started else 0
        outcome.between += sum(first < tick < last and tick not in kept for tick in made)
        outcome.starts += sum(tick < first for tick in made)
        behind = sum(tick > last for tick in made)
        outcome.ends += behind
        ends += [number] if behind else []
        # the same from the log alone: a board counts its ticks from its start
        outcome.check(f"ticks before the first of boot {number}, by its number", first - 1, sum(tick < first for tick in made))
    never_made_between = missing - outcome.between
    losses = decoded.losses
    outcome.boots, outcome.pieces_damaged, outcome.gaps = len(sent.boots), losses.pieces_damaged, len(losses.gaps)
    outcome.board_dropped = sum(health.get("frames_dropped", 0) + health.get("readings_dropped", 0) for health in sent.health)
    outcome.check(
        "numbers the log says are missing", losses.ticks_missing, outcome.between + never_made_between + missing_at_starts
    )
    outcome.check("sent = stored + reported", outcome.sent, outcome.stored + outcome.between + outcome.starts + outcome.ends)
    outcome.check(
        "ends of boots without a damaged piece or gap in the log", set(ends) - _explained(folder / "wire.log", sent), set()
    )
    outcome.live = sum(live_ticks.values())
    wanted = {(at, tick) for at, boot in log_boot.items() for tick in stored[boot]}
    outcome.check("ticks the live state missed, or that are not in the log", len(wanted ^ set(live_ticks)), 0)
    outcome.check("ticks the live state saw twice", sum(times - 1 for times in live_ticks.values()), 0)
    opened = session.open(folder)
    outcome.check("rows of the session's temperatures", len(opened.temperatures()), outcome.stored)
    if not outcome.warned:
        outcome.wrong.append("the alarm did not report a pump far over its limit")


def _explained(log: Path, sent: Sent) -> set[int]:
    """Boots that have a damaged piece or a gap in the log after their last reading and before the next boot's first."""
    explained: set[int] = set()
    boot, trouble = 0, False
    for piece in log.read_bytes().split(b"\x00"):
        if not piece:
            continue
        try:
            name, values = codec.unpack(framing.decode(piece))
        except ValueError:
            trouble = True
            continue
        if name == "link_gap":
            trouble = True
        elif name == "reading":
            now = sent.ids[values["description_id"]]
            if now != boot and trouble:
                explained.update(range(boot, now))
            boot, trouble = now, False
    return explained | ({boot} if trouble else set())


ROWS = (
    ("simulated hours", "hours"), ("boots of the board", "boots"), ("unplugged", "unplugged"), ("power cut", "rebooted"),
    ("bytes changed on the way", "bytes_changed"), ("damaged pieces in the log", "pieces_damaged"), ("gaps in the log", "gaps"),
    ("ticks sent by the board", "sent"), ("  stored", "stored"), ("  lost, a number missing between two readings", "between"),
    ("  lost at the beginning of a boot, by its numbers", "starts"), ("  lost at the end of a boot, damage or gap in the log", "ends"),
    ("ticks never made (board late), by its numbers", "never_made"), ("frames and readings dropped by the board, by its health", "board_dropped"),
    ("ticks the live state showed", "live"), ("alarms said", "warned"),
    ("panels the page sent to its browser", "panels"), ("MB its memory grew by after the first quarter", "page_grew_mb"),
)  # fmt: skip


def main() -> None:
    if sys.argv[1:2] == [BROWSE]:
        browse(sys.argv[2], int(sys.argv[3]))
        return
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    speed = float(sys.argv[2]) if len(sys.argv) > 2 else 1000.0
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    with tempfile.TemporaryDirectory() as name:
        outcome = run(Path(name) / "session", hours, speed, seed)
    for title, attribute in ROWS:
        print(f"{title:56s} {getattr(outcome, attribute):>10.6g}")
    print(f"{outcome.wall_s:.0f} s, {hours * 3600 / outcome.wall_s:.0f} times real time, firmware under {outcome.engine}")
    for sentence in outcome.wrong[:20]:
        print("WRONG", sentence)
    raise SystemExit(1 if outcome.wrong else 0)


if __name__ == "__main__":
    main()
