"""Trials of measuring: every chip family and both barometers, rates and their load, flipped bits on the wire, loose plugs."""

import random
from collections.abc import Callable

import numpy as np
from hotfuel_wire import barometer
from hotfuel_wire.messages import BAROMETER_CHIPS

from emulated import ready, talk
from emulated.board import EmulatedBoard, in_a_copy
from emulated.chips import Fitted
from emulated.rig import Rig, Row, degrees, described, health, started

# The share of ticks at 5 Hz with a new conversion: an MCP960x takes 320 ms at 18 bits, and reports no new conversion in between.
FAMILIES = {"MAX31856": 1.0, "MAX31855": 1.0, "MCP9601": 200 / 320, "MCP9600": 200 / 320}
WITHIN_DEGC = 0.5
WITHIN_PA = 30
HEALTH_S = 12.0  # one health message at least
BUSY_MOST = 0.33  # of the processor, eight channels at 10 Hz
BITS_S = 10.0
GOOD_LEAST = 0.8
PROBES_DEGC = (-20.0, 42.5, 68.0, 110.0)


def families(rig: Rig) -> list[Row]:
    """One of each amplifier, and the barometer: the host's decoding of the board's bytes against what the models measured."""

    def with_barometer(name: str) -> list[Row]:
        board = ready.board(rig.image, Fitted(tuple(FAMILIES), name), {"inputs": ("barometer",)})
        around = board.fitted.surroundings
        around.hot_degc, around.cold_degc = list(PROBES_DEGC), [25.0, 31.0, 18.5, 40.0]
        around.air_pa, around.air_degc = 83_430, 33.0
        started(board)
        board.run(2.0)
        data = described(board, 3.0)
        degc, reason = degrees(data, board)
        rows = []
        for channel, (chip, share) in enumerate(FAMILIES.items()):
            good = degc[reason[:, channel] == 0, channel]
            off = np.abs(good - PROBES_DEGC[channel]).max() if good.size else np.inf
            rows.append(
                Row(
                    f"{chip} at {PROBES_DEGC[channel]:g} °C",
                    f"{good.size} of {len(degc)} readings, off by {off:.2f} °C at most",
                    bool(off <= WITHIN_DEGC and good.size >= share * len(degc) - 2),
                )
            )
        words = talk.last(data, "barometer")["words"]
        seen = barometer.air_pressure_pa(BAROMETER_CHIPS[name], words, talk.last(data, "auxiliary")["barometer"])
        pressure = Row(
            f"{name} at {around.air_pa} Pa",
            f"{seen - around.air_pa:+.0f} Pa, as the board calculates it",
            abs(seen - around.air_pa) <= WITHIN_PA,
        )
        return [*rows, pressure]

    first = in_a_copy(lambda: with_barometer("BMP280"))
    second = in_a_copy(lambda: with_barometer("BMP390"))
    return [*first, second[-1]]


def _load(board: EmulatedBoard) -> tuple[float, dict[str, int], int]:
    board.usb.take()
    busy = board.busy(HEALTH_S)
    data = board.usb.take()
    readings = [values for name, values in talk.messages(data) if name == "reading"]
    missing = readings[-1]["tick"] - readings[0]["tick"] + 1 - len(readings)
    return busy, health(data), missing


def rates(rig: Rig) -> list[Row]:
    """3 x 5 Hz and 8 x 10 Hz, with a host that reads."""
    rows = []
    for name, board in (("3 x 5 Hz", rig.three), ("8 x 10 Hz", rig.eight)):
        busy, told, missing = in_a_copy(lambda board=board: _load(board))  # type: ignore[misc]
        rows.append(
            Row(
                name,
                f"{told['late_ticks']} late ticks, {missing} missing, {busy:.1%} busy, longest tick {told['longest_tick_us'] / 1000:.1f} ms",
                told["late_ticks"] == 0 and missing == 0 and busy < BUSY_MOST,
            )
        )
    return rows


def flips(share: float, seed: int) -> Callable[[int], int]:
    """A byte with each of its bits flipped with this probability."""
    chance = random.Random(seed)

    def disturb(byte: int) -> int:
        for bit in range(8):
            if chance.random() < share:
                byte ^= 1 << bit
        return byte

    return disturb


def bit_errors(rig: Rig) -> list[Row]:
    """Bits flipped on MISO: no wrong reading goes out as good, and at 0.1 % most ticks still give one. Twenty seeds: bench_bit_errors.py."""

    board = rig.three

    def at(share: float) -> tuple[int, int, float]:
        board.spi.disturb = flips(share, 1)
        degc, reason = degrees(described(board, BITS_S), board)
        good = reason == 0
        truth = np.broadcast_to(board.fitted.surroundings.hot_degc, degc.shape)
        return int(good.sum()), good.size, float(np.abs(degc - truth)[good].max()) if good.any() else 0.0

    rows = []
    for share, least in ((0.0, 0.99), (0.001, GOOD_LEAST), (0.02, 0.0)):
        good, count, off = in_a_copy(lambda share=share: at(share))  # type: ignore[misc]
        rows.append(
            Row(
                f"{share:.1%} of MISO bits flipped",
                f"{good} of {count} readings good, off by {off:.2f} °C at most",
                off <= WITHIN_DEGC and good >= least * count,
            )
        )
    return rows
