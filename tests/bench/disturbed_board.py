"""A simulated board that is unplugged, loses power and sends corrupted bytes at random; what it sent, and the count of
everything. For bench_long_run.py."""

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from hotfuel.link import port as ports
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import Samples, steady
from hotfuel_wire import codec, framing

UNPLUG_EVERY_S, REBOOT_EVERY_S = 2400.0, 3600.0  # of simulated time, on average
AWAY_S = (0.05, 0.5)  # s of real time that it stays unplugged
COLD_DEGC = 25.0

Tick = tuple[int, int]  # boot (counted from 0), tick number


@dataclass
class Sent:
    """Every reading the board wrote, captured where its process writes: boot -> tick -> hot codes."""

    boots: list[dict[int, tuple[int, ...]]] = field(default_factory=list)
    health: list[dict] = field(default_factory=list)  # the last of each boot
    ids: dict[int, int] = field(default_factory=dict)  # description id -> boot
    _readers: dict[int, framing.FrameReader] = field(default_factory=dict)

    def note(self, number: int, data: bytes) -> None:
        if number not in self._readers:
            self._readers[number] = framing.FrameReader()
            self.boots.append({})
            self.health.append({})
        for payload in self._readers[number].feed(data):
            name, values = codec.unpack(payload)
            if name == "reading":
                self.boots[-1][values["tick"]] = tuple(channel["hot"] for channel in values["channels"])
            elif name == "health":
                self.health[-1] = values
            elif name == "description":
                self.ids[codec.description_id(payload)] = len(self.boots) - 1


class Noisy(ports.Port):
    """A port whose bytes are changed now and then."""

    def __init__(self, inner: ports.Port, draw: random.Random, share: float) -> None:
        super().__init__(inner.url)
        self._inner, self._draw, self._share = inner, draw, share
        self._next = self._distance()
        self.changed = 0

    def _distance(self) -> int:
        return round(self._draw.expovariate(self._share)) if self._share else 1 << 60

    def read(self, timeout_s: float) -> bytes:
        data = bytearray(self._inner.read(timeout_s))
        while self._next < len(data):
            data[self._next] ^= self._draw.randrange(1, 256)
            self.changed += 1
            self._next += 1 + self._distance()
        self._next -= len(data)
        return bytes(data)

    def write(self, data: bytes) -> None:
        self._inner.write(data)

    def close(self) -> None:
        self._inner.close()


@dataclass
class Outcome:
    """The count. The `ends` of a boot are covered where the log has a damaged piece or a gap there; `wrong` lists every mismatch."""

    hours: float = 0.0
    wall_s: float = 0.0
    engine: str = ""
    boots: int = 0
    unplugged: int = 0
    rebooted: int = 0
    bytes_changed: int = 0
    pieces_damaged: int = 0
    gaps: int = 0
    sent: int = 0
    stored: int = 0
    between: int = 0
    starts: int = 0
    ends: int = 0
    never_made: int = 0
    board_dropped: int = 0
    live: int = 0
    warned: int = 0
    panels: int = 0
    page_grew_mb: float = 0.0
    wrong: list[str] = field(default_factory=list)

    def check(self, what: str, seen: object, wanted: object) -> None:
        if seen != wanted:
            self.wrong.append(f"{what}: {seen}, wanted {wanted}")


def source(seconds: float):
    """Three places at constant temperature, in blocks of a minute; the second is over any limit from the middle on, so that the alarm is raised."""
    for number, block in enumerate(steady([0.6, 1.0, 0.9], [COLD_DEGC] * 3, seconds=seconds, step_s=0.2)):
        if number > seconds / 2:
            block.emf_mv[:, 1] = 3.5
        yield Samples(block.time_s, block.emf_mv, block.cold_degc, engine_rpm=2000.0, fuel_pressure_kpa=35.0)


def disturb(
    board: SimulatedBoard, hours: float, every: float, draw: random.Random, outcome: Outcome, ended: Callable[[], bool]
) -> None:
    """Unplug, cut the power, or both, at random times of simulated time, `every` times as far apart; never in the last twentieth."""
    at = 0.0
    while True:
        unplugs = every * draw.expovariate(1 / UNPLUG_EVERY_S)
        reboots = every * draw.expovariate(1 / REBOOT_EVERY_S)
        at = max(at, board.time_s) + min(unplugs, reboots)
        if at > 0.95 * 3600 * hours:
            return
        while board.time_s < at:
            if ended():
                return
            time.sleep(0.002)
        if reboots <= unplugs:
            outcome.rebooted += 1
            board.reboot()
            continue
        outcome.unplugged += 1
        board.unplug()
        time.sleep(draw.uniform(*AWAY_S))
        if draw.random() < 0.25:
            outcome.rebooted += 1
            board.reboot()
            time.sleep(draw.uniform(*AWAY_S))
        board.plug()
