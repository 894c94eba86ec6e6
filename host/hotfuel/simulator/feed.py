"""From the car model's blocks to the board's process: whole numbers, in slices small enough to keep pace with the wall clock."""

import collections
import math
import struct
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeAlias

import numpy as np

from hotfuel.errors import InputError

if TYPE_CHECKING:
    from hotfuel.car import Car
    from hotfuel.simulator.car_model import Block
    from hotfuel.wired import Input

REFERENCE_V = 3.3  # full scale of the board's ADC
SENDER_SUPPLY_V = 5.0
SENDER_DIVIDER = 29.6 / 19.6  # 10 k over 19.6 k at the board's input: 5 V is full scale
SAMPLES_MOST = 256  # a slice; the board's memory is small
SLICE_WALL_S = 0.04  # how far the board may run ahead of the wall clock
LATE_S = 0.25  # further behind the wall clock than this, the lost time is dropped, not caught up

_BLOCK_HEAD = "<QIH"


@dataclass(frozen=True)
class Senders:
    """What sits between the car and the board's analogue and pulse inputs; the defaults are the car file's."""

    battery_divider: float = 11.0
    fuel_pressure_range_kpa: float = 103.421
    fuel_pressure_zero_percent: float = 10.0
    fuel_pressure_full_percent: float = 90.0
    pulses_per_revolution: float = 2.0
    more: "Sequence[Input]" = ()  # the car file's other inputs

    @classmethod
    def of(cls, car: "Car") -> "Senders":
        """The senders of a car."""
        sensors = car.sensors
        return cls(
            sensors.battery_divider,
            sensors.fuel_pressure_range_kpa,
            sensors.fuel_pressure_zero_percent,
            sensors.fuel_pressure_full_percent,
            car.engine.pulses_per_revolution,
            car.inputs,
        )

    def converter_uv(self, block: "Samples | Block", count: int) -> list[np.ndarray]:
        """Voltages at the converter's four inputs, uV; of an input that the block has no column for 0."""
        found = [np.zeros(count)] * 4
        for one in self.more:
            values = None if one.is_flow else getattr(block, one.column, None)
            if values is not None:
                found[one.number - 1] = np.broadcast_to(one.volts_of(np.asarray(values, dtype=float)), count) / one.divider * 1e6
        return found

    def flow_pulses(self, block: "Samples | Block", count: int, step_s: float, before: list[float]) -> list[np.ndarray]:
        """Running totals of both flow meters; the last ones are left in `before`."""
        totals = [np.full(count, total) for total in before]
        for one in self.more:
            column = {"line": "flow_l_h", "engine": "used_l_h", "return": "returned_l_h"}.get(one.measures or "")
            values = getattr(block, column, None) if column else None
            if values is not None and one.pulses_per_litre is not None:
                which = int(one.source[-1]) - 1
                totals[which] = before[which] + np.cumsum(np.broadcast_to(values, count)) * step_s / 3600 * one.pulses_per_litre
                before[which] = float(totals[which][-1])
        return totals

    def battery_code(self, battery_v: np.ndarray) -> np.ndarray:
        """ADC codes of battery voltages (n,), V."""
        return _code(battery_v / self.battery_divider)

    def fuel_pressure_code(self, fuel_pressure_kpa: np.ndarray) -> np.ndarray:
        """ADC codes of gauge pressures (n,), kPa."""
        share = fuel_pressure_kpa / self.fuel_pressure_range_kpa
        percent = self.fuel_pressure_zero_percent + share * (self.fuel_pressure_full_percent - self.fuel_pressure_zero_percent)
        return _code(percent / 100.0 * SENDER_SUPPLY_V / SENDER_DIVIDER)


def _code(volts: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(np.nan_to_num(volts) / REFERENCE_V * 65535.0), 0, 65535)


@dataclass(frozen=True)
class Slice:
    """A piece of a block, ready to be sent. Times in us of the simulation."""

    start_us: int
    end_us: int
    content: bytes


@dataclass
class Samples:
    """What a source must yield at least: arrays over time. Columns that a source leaves out take the defaults given here."""

    time_s: np.ndarray
    emf_mv: np.ndarray  # [n, channel]
    cold_degc: np.ndarray  # [n, channel]
    engine_rpm: np.ndarray | float = 0.0
    fuel_pressure_kpa: np.ndarray | float = 0.0
    ambient_pressure_kpa: np.ndarray | float = 101.325
    ambient_degc: np.ndarray | float = 20.0
    battery_v: np.ndarray | float = 12.6
    ignition: np.ndarray | float = 1.0


class Blocks(Protocol):
    """An object that yields blocks of samples, as car_model.CarModel does."""

    def blocks(self) -> "Iterable[Samples | Block]":
        """The blocks, in order."""


Source: TypeAlias = "Blocks | Iterable[Samples] | Iterable[Block]"


def steady(
    emf_mv: Iterable[float], cold_degc: Iterable[float], *, seconds: float, step_s: float = 0.05, **inputs: float
) -> Iterator[Samples]:
    """A source that never changes, in blocks of a second: for tests, and to look at the board on the bench.

    Example: ``steady([1.0, 2.0, 3.0], [25.0] * 3, seconds=10)``
    """
    emf, cold = np.array(list(emf_mv), dtype=float), np.array(list(cold_degc), dtype=float)
    per_block = max(1, round(1.0 / step_s))
    total = round(seconds / step_s)
    for first in range(0, total, per_block):
        count = min(per_block, total - first)
        yield Samples((first + np.arange(count)) * step_s, np.tile(emf, (count, 1)), np.tile(cold, (count, 1)), **inputs)


def slices(source: "Source", senders: Senders, channels: int, speed: float) -> Iterator[Slice]:
    """Cut a source (an iterable of blocks, or an object whose `blocks()` gives one) into slices. Raises InputError for too few channels."""
    blocks = source.blocks() if hasattr(source, "blocks") else source
    pulses, flowed = 0.0, [0.0, 0.0]
    for block in blocks:
        time_s = np.asarray(block.time_s, dtype=float)
        count = len(time_s)
        if count == 0:
            continue
        step_s = float(time_s[1] - time_s[0]) if count > 1 else getattr(block, "step_s", 0.05)
        columns, pulses = _columns(block, count, senders, channels, step_s, pulses, flowed)
        step_us = round(step_s * 1e6)
        most = int(min(SAMPLES_MOST, max(1, SLICE_WALL_S * speed / step_s)))
        for first in range(0, count, most):
            piece = columns[:, first : first + most]
            start_us = round(time_s[first] * 1e6)
            head = struct.pack(_BLOCK_HEAD, start_us, step_us, piece.shape[1])
            yield Slice(start_us, start_us + step_us * piece.shape[1], head + np.ascontiguousarray(piece, dtype="<i4").tobytes())


def _columns(
    block: "Samples | Block", count: int, senders: Senders, channels: int, step_s: float, pulses: float, flowed: list[float]
) -> tuple[np.ndarray, float]:
    """Rows in the order of machine/world.py, and the pulses so far."""
    emf = np.asarray(block.emf_mv, dtype=float).reshape(count, -1)
    cold = np.asarray(block.cold_degc, dtype=float).reshape(count, -1)
    if emf.shape[1] < channels or cold.shape[1] < channels:
        have = min(emf.shape[1], cold.shape[1])
        raise InputError(
            f"the source has {have} channels and the board {channels} chips; give the board as many chips as the source has channels"
        )

    def column(name: str) -> np.ndarray:
        values = getattr(block, name, None)
        return np.broadcast_to(np.asarray(getattr(Samples, name) if values is None else values, dtype=float), count)

    running_total = pulses + np.cumsum(np.nan_to_num(column("engine_rpm")) / 60.0 * senders.pulses_per_revolution * step_s)
    rows = np.vstack(
        [
            np.rint(emf[:, :channels].T * 1e6),
            np.rint(cold[:, :channels].T * 1024.0),
            senders.battery_code(column("battery_v")),
            senders.fuel_pressure_code(column("fuel_pressure_kpa")),
            np.rint(column("ambient_pressure_kpa") * 1000.0),
            np.rint(column("ambient_degc") * 1024.0),
            np.floor(running_total) % 2**31,
            np.nan_to_num(column("ignition")) > 0.5,
            *(np.rint(volts) for volts in senders.converter_uv(block, count)),
            *(np.floor(total) % 2**31 for total in senders.flow_pulses(block, count, step_s, flowed)),
        ]
    )
    return np.clip(rows, -(2**31), 2**31 - 1), float(running_total[-1])


class Supply:
    """Slices in order, none sooner than the wall clock at `speed` allows. Keeps those that a board needs again if it restarts in between."""

    def __init__(self, source: Iterator[Slice], speed: float) -> None:
        self.ended = False
        self.in_hand = 0  # handed out but not yet taken
        self._source = source
        self._speed = speed
        self._next: Slice | None = None
        self._begun_s = math.nan  # the wall clock's time at the simulation's time 0
        self._kept: collections.deque[Slice] = collections.deque()  # the last one taken, and those in hand

    def wait_s(self) -> float:
        """How long until the next slice is due, 0 when it is; infinite, with `ended` set, behind the last one."""
        if self._next is None:
            self._next = next(self._source, None)
            if self._next is None:
                self.ended = True
                return math.inf
        now_s = time.monotonic()
        due_s = self._next.start_us / 1e6 / self._speed
        if math.isnan(self._begun_s) or now_s - self._begun_s - due_s > LATE_S:
            self._begun_s = now_s - due_s
        return max(0.0, self._begun_s + due_s - now_s)

    def hand_out(self) -> Slice:
        """The slice that is due."""
        piece = self._next
        assert piece is not None
        self._next = None
        self._kept.append(piece)
        self.in_hand += 1
        return piece

    def taken(self) -> None:
        """The board has started on the next slice it holds."""
        self.in_hand -= 1
        while len(self._kept) > self.in_hand + 1:
            self._kept.popleft()

    def again(self, from_us: int) -> list[Slice]:
        """The slices handed out before that a board restarting at this time needs again."""
        self._kept = collections.deque(piece for piece in self._kept if piece.end_us > from_us)
        self.in_hand = len(self._kept)
        return list(self._kept)
