"""Bits flipped on the amplifiers' data line: `python tests/bench/bench_bit_errors.py [seeds] [ticks]`.

The firmware's drivers on the chip models, on CPython. The fuel warms and cools as fuel does, and now and then a probe is open for
a while. Good: the host would accept it as a temperature, a code without a fatal status bit. Wrong: a good value more than 0.5
degC from the probe's temperature during the conversion, or any good value of an open probe once the chip has had time to detect
that.
"""

import math
import random
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "firmware")]

from hotfuel.simulator.chips import model  # noqa: E402
from hotfuel.simulator.chips.thermocouple import type_k_nv  # noqa: E402
from hotfuel.temperature.counts import to_degc  # noqa: E402
from hotfuel_wire.messages import CHIPS  # noqa: E402

SHARES = (0.0, 0.001, 0.02)
KINDS = (("MAX31856", "one_shot", 5), ("MAX31856", "automatic", 10), ("MAX31855", "automatic", 5))
WITHIN_DEGC = 0.5
GRAIN_DEGC = {"MAX31856": 0.02, "MAX31855": 0.13}  # the code's own step, halved
OPEN_EVERY_S, OPEN_S = 240.0, 10.0
OPEN_FOUND_S = 3.0  # a test for an open probe comes every 16th conversion
CHIP_DEGC = 25.0
SPI_HZ = 1_000_000
LOOK_BACK_S = 0.7  # the longest from the beginning of a conversion to the tick that reads it


def probe_degc(time_s: float) -> float:
    """Fuel over a drive: a slow swing and a faster one, at most 1 degC a second."""
    return 45 + 18 * math.sin(time_s / 90) + 3 * math.sin(time_s / 4.1)


class World:
    """The quantities the model measures; the time is the clock's."""

    def emf_nv(self, _channel: int, at_us: int) -> int:
        return type_k_nv(round(probe_degc(at_us / 1e6) * 1024)) - type_k_nv(round(CHIP_DEGC * 1024))

    def cold_1024(self, _channel: int, _at_us: int) -> int:
        return round(CHIP_DEGC * 1024)


class Clock:
    now_us = 0


class Board:
    """The part of firmware/board.py that a driver uses: one chip on an SPI bus whose data line flips bits."""

    def __init__(self, share: float, seed: int) -> None:
        self.clock = Clock()
        self.chip: Any = None
        self._share = share
        self._chance = random.Random(seed)
        self._left = self._next()
        self.flipped = 0

    def _next(self) -> int:
        """Whole bits until the next flipped one."""
        return int(math.log(1 - self._chance.random()) / math.log(1 - self._share)) if self._share else 1 << 62

    def spi(self) -> "Board":
        return self

    def select(self, _channel: int) -> Any:
        return None

    def ticks_ms(self) -> int:
        return self.clock.now_us // 1000

    def ticks_us(self) -> int:
        return self.clock.now_us

    def transfer(self, _select: Any, phase: int, out: bytes, into: bytearray) -> None:
        self.chip.select(0)
        self.chip.transfer(out, into, phase, SPI_HZ)
        self.chip.select(1)
        self.clock.now_us += len(out) * 8
        bits = 8 * len(into)
        while self._left < bits:
            into[self._left >> 3] ^= 0x80 >> (self._left & 7)
            self.flipped += 1
            self._left += 1 + self._next()
        self._left -= bits


@dataclass
class Outcome:
    """Results of one run: ticks; good ones; good ones that are wrong, the largest error, degC; ticks with an open probe."""

    ticks: int = 0
    good: int = 0
    wrong: int = 0
    furthest_degc: float = 0.0
    open_ticks: int = 0

    @property
    def good_share(self) -> float:
        """Of the ticks that had a probe."""
        return self.good / max(1, self.ticks - self.open_ticks)


def run(chip: str, mode: str, rate_hz: int, share: float, seed: int, ticks: int) -> Outcome:
    """One chip over so many ticks."""
    import importlib

    board = Board(share, seed)
    board.chip = model(chip)(World(), 0, board.clock)
    settings = {"mode": mode, "mains_hz": 60, "averages": 1, "gain": 32, "rate_hz": rate_hz}
    driver = importlib.import_module(f"chips.{chip.lower()}").Chip(board, 0, settings)
    driver.configure()
    rows = np.zeros((ticks, 4), dtype=np.int64)
    opened = np.zeros((ticks, 2), dtype=bool)
    period_us = 1_000_000 // rate_hz
    for tick in range(ticks):
        at_us = (tick + 1) * period_us
        board.clock.now_us = max(board.clock.now_us, at_us)
        into_cycle_s = at_us / 1e6 % OPEN_EVERY_S
        is_open = into_cycle_s > OPEN_EVERY_S - OPEN_S
        board.chip.set_fault("open_circuit", is_open)
        driver.read_raw()
        # readings of an open probe before the chip has detected it, and for a second after, count neither way
        settling = OPEN_EVERY_S - OPEN_S < into_cycle_s <= OPEN_EVERY_S - OPEN_S + OPEN_FOUND_S or into_cycle_s < OPEN_FOUND_S
        rows[tick] = at_us, driver.hot, driver.cold, driver.status
        opened[tick] = is_open, settling
    degc, reason = to_degc(
        rows[:, 1],
        rows[:, 2],
        rows[:, 3],
        chip=CHIPS[chip],
        gain=settings["gain"] if chip == "MAX31856" else 1,
        resolution_bits=19,
    )
    judged = ~opened[:, 1]
    good = (reason == 0) & judged
    back_s = rows[:, 0, None] / 1e6 - np.linspace(0, LOOK_BACK_S, 15)
    truth = 45 + 18 * np.sin(back_s / 90) + 3 * np.sin(back_s / 4.1)
    off = np.maximum(truth.min(axis=1) - degc, degc - truth.max(axis=1)) - GRAIN_DEGC[chip]
    off = np.where(good, np.where(opened[:, 0], np.inf, off), 0.0)
    return Outcome(
        int(judged.sum()),
        int((good & ~opened[:, 0]).sum()),
        int((off > WITHIN_DEGC).sum()),
        float(off.max()),
        int((judged & opened[:, 0]).sum()),
    )


def total(chip: str, mode: str, rate_hz: int, share: float, seeds: int, ticks: int) -> Outcome:
    """All seeds together."""
    whole = Outcome()
    for seed in range(seeds):
        one = run(chip, mode, rate_hz, share, seed, ticks)
        whole.ticks += one.ticks
        whole.good += one.good
        whole.wrong += one.wrong
        whole.open_ticks += one.open_ticks
        whole.furthest_degc = max(whole.furthest_degc, one.furthest_degc)
    return whole


if __name__ == "__main__":
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    long = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    print(f"{how_many} seeds of {long} ticks\nchip and mode           flipped      ticks    good  wrong  furthest off")
    for row in KINDS:
        for flip in SHARES:
            seen = total(*row, flip, how_many, long)
            print(
                f"{row[0]} {row[1]:9s} {row[2]:2d} Hz  {flip:6.1%}  {seen.ticks:9d} {seen.good_share:7.2%} {seen.wrong:6d} {seen.furthest_degc:9.2f} °C",
                flush=True,
            )
