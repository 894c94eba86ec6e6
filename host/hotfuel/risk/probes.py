"""Classifies each tick of a probe for the alarm, by the rule of hotfuel_wire.probe: read, unreadable, doubted, or no new conversion yet.

`ProbeTrace` follows a probe batch by batch, live; `traced` takes a whole recording, stepping only where a reading moved faster than its probe can.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt
from hotfuel_wire import probe as wire
from hotfuel_wire.alarm import UNREADABLE, WAIT_MS
from hotfuel_wire.probe import Probe

from hotfuel.places import place_words
from hotfuel.temperature.counts import NO_NEW_CONVERSION

# How well a lag is known, as a standard uncertainty: makers' figures for one size of sheath differ by a factor of two, a fuel line's flow is not their
# water's 0.2 m/s (assumption, common practice, no source).
LAG_SHARE = 0.3

_CHUNK = 1 << 13  # ticks or blocks at a time: they stay in the processor's cache


@dataclass(frozen=True)
class Traced:
    """Each (n,) bool. doubted: a fall faster than the probe can follow, unreadable for the alarm. waiting: no new conversion yet, nothing to evaluate.

    falls: (row, degC) of each such fall that stayed and was accepted in the end. lead (n,), int16: lag times recent slope in hundredths of a degC, by how
    much the fuel is hotter than the reading; its standard uncertainty is LAG_SHARE of it.
    """

    doubted: np.ndarray
    waiting: np.ndarray
    lead: np.ndarray
    falls: tuple[tuple[int, float], ...] = ()

    @property
    def lead_degc(self) -> np.ndarray:
        """The lead in degC."""
        return self.lead / 100


def fall_note(place: str, *, tank: bool = False) -> str:
    """A sentence for the user, where `falls` has a row. tank: the place is a tank."""
    why = "check probe and wire"
    if tank:
        why = "in a tank so does fuel that comes over a bare probe, by sloshing or filling up: look at its level, then check probe and wire"
    return (
        f"{place_words(place)}: the reading fell faster than its probe can and stayed down; for 10 s it counted as unreadable, then it was believed. "
        f"A shorted lead reads like this{':' if not tank else ';'} {why}"
    )


class ProbeTrace:
    """One probe of a running recording."""

    def __init__(self, lag_s: float) -> None:
        self._probe = Probe(round(lag_s * 1000))
        self._seen_ms: int | None = None

    def see(self, time_s: "npt.ArrayLike | Clock", degc: npt.ArrayLike, reason: npt.ArrayLike) -> Traced:
        """The next ticks: time_s (n,) rising, degc (n,) with nan where there is none, reason (n,): a key of hotfuel.temperature.counts.REASONS. The places of
        a recording can share a Clock of their times."""
        times = (time_s if isinstance(time_s, Clock) else Clock.of(time_s)).ms
        readings = _hundredths_or_nan(degc).tolist()
        not_ready = np.asarray(reason) == NO_NEW_CONVERSION
        doubted, waiting = np.zeros((2, len(times)), dtype=bool)
        lead = np.zeros(len(times), np.int16)
        falls = []
        for row, (now_ms, hundredths, late) in enumerate(zip(times.tolist(), readings, not_ready.tolist(), strict=True)):
            reading = int(hundredths) if math.isfinite(hundredths) else UNREADABLE
            self._seen_ms = now_ms if self._seen_ms is None else self._seen_ms
            elapsed_ms = now_ms - self._seen_ms
            if late and elapsed_ms <= WAIT_MS:
                waiting[row] = True
                continue
            self._seen_ms = now_ms
            doubted[row] = not self._probe.take(reading, elapsed_ms) and reading != UNREADABLE
            lead[row] = self._probe.leading.lead
            if self._probe.fell:
                falls.append((row, self._probe.fell / 100))
        return Traced(doubted, waiting, lead, tuple(falls))


def traced(lag_s: float, time_s: "npt.ArrayLike | Clock", degc: npt.ArrayLike, reason: npt.ArrayLike) -> Traced:
    """What a new ProbeTrace returns for a whole recording; arguments as there. The places of a recording can share a Clock of their times."""
    clock = time_s if isinstance(time_s, Clock) else Clock.of(time_s)
    ticks = len(clock.ms)
    waiting = _waiting(clock.ms, np.asarray(reason) == NO_NEW_CONVERSION)
    values = _hundredths_or_nan(degc)  # a float holds them without loss
    rows = None
    if waiting.any():
        rows = np.flatnonzero(~waiting)
        clock, values = Clock(clock.ms[rows]), values[rows]
    doubted, rising, falls = _followed(round(lag_s * 1000), clock.ms, values)
    if falls or doubted.any() or rising.any():
        values[doubted | rising] = np.nan
    lead = _leads(round(lag_s * 1000), clock, values)
    if rows is not None:
        falls = [(int(rows[at]), fall) for at, fall in falls]
        doubted, lead = _spread(doubted, rows, ticks), _spread(lead, rows, ticks)
    return Traced(doubted, waiting, lead, tuple(falls))


@dataclass(frozen=True)
class Clock:
    """Times of ticks in whole milliseconds, int64 (n,), rising, and where the blocks of a lead begin."""

    ms: np.ndarray

    @classmethod
    def of(cls, time_s: npt.ArrayLike) -> "Clock":
        """time_s (n,): rising."""
        return cls(_times_ms(time_s))

    @cached_property
    def edges(self) -> np.ndarray:
        """The tick that begins each block: the first one BLOCK_MS or more after the one before."""
        found, at, stride = [np.zeros(0, np.int64)], 0, 1
        while at < len(self.ms):
            # mostly the ticks are even, and a block has as many as the last one
            rows = np.arange(at, min(at + _CHUNK * stride, len(self.ms) - stride), stride)
            since = self.ms[rows]
            even = (self.ms[rows + stride] - since >= wire.BLOCK_MS) & (self.ms[rows + stride - 1] - since < wire.BLOCK_MS)
            good = len(rows) if even.all() else int(even.argmin())
            if good:
                found.append(rows[:good])
                at = int(rows[good - 1]) + stride
                continue
            begin = at
            following = np.searchsorted(self.ms, self.ms[begin : begin + _CHUNK] + wire.BLOCK_MS).tolist()
            one_by_one = []
            while at - begin < len(following):
                one_by_one.append(at)
                at = following[at - begin]
            found.append(np.array(one_by_one))
            stride = max(at - one_by_one[-1], 1)
        return np.concatenate(found)


def _followed(lag_ms: int, times: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[tuple[int, float]]]:
    """(doubted, rising, falls), each tick's; stepped only where a reading moved faster than the probe can. values: hundredths, nan for unreadable."""
    doubted, rising = np.zeros((2, len(times)), dtype=bool)
    falls = []
    at = -1
    for before, first in _jumps(lag_ms, times, values):
        if first <= at:
            continue
        at = before
        probe = Probe(lag_ms)
        probe.take(int(values[at]), 0)
        while at + 1 < len(times) and (at < first or not probe.settled or np.isnan(values[at])):
            at += 1
            reading = UNREADABLE if np.isnan(values[at]) else int(values[at])
            doubted[at] = not probe.take(reading, int(times[at] - times[at - 1])) and reading != UNREADABLE
            rising[at] = probe.rising
            if probe.fell:
                falls.append((at, probe.fell / 100))
    return doubted, rising, falls


def _jumps(lag_ms: int, times: np.ndarray, values: np.ndarray) -> list[tuple[int, int]]:
    """(tick, next tick with a reading) between which the reading moved further than the probe can."""
    change = lru_cache(maxsize=None)(Probe(lag_ms).change)
    found = []
    last = np.zeros(0, np.int64)
    for start in range(0, len(values), _CHUNK):
        read = np.concatenate((last, start + np.flatnonzero(~np.isnan(values[start : start + _CHUNK]))))
        last = read[-1:]
        moved = np.diff(values[read[0] : read[-1] + 1] if len(read) and read[-1] - read[0] == len(read) - 1 else values[read])
        np.abs(moved, out=moved)
        for step in np.flatnonzero(moved > wire.NOISE).tolist():  # a probe can move that far in no time
            before, after = int(read[step]), int(read[step + 1])
            if moved[step] > change(min(int(times[after] - times[before]), 60_000)):
                found.append((before, after))
    return found


def _leads(lag_ms: int, clock: Clock, values: np.ndarray) -> np.ndarray:
    """hotfuel_wire.probe.Lead for all ticks at once, number for number. values: hundredths, nan where not usable; written to."""
    edges = clock.edges
    if len(edges) < wire.BLOCKS_LEAST + 1:
        return np.zeros(len(values), np.int16)
    at_ms = clock.ms[edges]
    ticks = np.diff(edges)
    unusable = np.flatnonzero(np.isnan(values))
    if unusable.size:
        values[unusable] = 0
        blocks = np.searchsorted(edges, unusable, side="right") - 1
        ticks -= np.bincount(blocks, minlength=len(edges))[:-1]
    sums = np.add.reduceat(values, edges)[:-1]
    means = np.floor(sums / np.maximum(ticks, 1)).astype(np.int64)  # whole numbers below 2**52: without an error
    good = (ticks > 0) & (np.diff(at_ms) <= wire.BLOCK_MOST_MS)
    number = np.arange(len(good))
    gap = -1 if good.all() else np.maximum.accumulate(np.where(good, -1, number))
    run = number - gap  # blocks without a gap up to this one
    of_block = np.zeros(len(edges) + 1, np.int16)
    for count in range(wire.BLOCKS_LEAST, wire.BLOCKS + 1):
        fitted = np.flatnonzero(run >= count if count == wire.BLOCKS else run == count)
        for start in range(0, len(fitted), _CHUNK):
            here = fitted[start : start + _CHUNK]
            first = here + (1 - count)
            together = first[-1] - first[0] == len(first) - 1  # as they mostly are: nothing to gather
            windows = np.lib.stride_tricks.sliding_window_view(means, count).T
            back = windows[:, slice(first[0], first[-1] + 1) if together else first]
            of_block[here + 2] = _fit(lag_ms, back, at_ms[here + 1] - at_ms[here + 1 - count])
    lengths = np.diff(edges, prepend=0, append=len(values))  # what a block says holds in the next one
    return np.repeat(of_block, lengths)


def _fit(lag_ms: int, means: np.ndarray, span_ms: np.ndarray) -> np.ndarray:
    """means (count, k), span_ms (k,): Lead._fit."""
    count = len(means)
    # int32 holds it all and is twice as fast: what remains beside a straight line is, squared and summed, at most 8 * REACH**2
    off = np.clip(means - means[-1], -wire.REACH, wire.REACH).astype(np.int32)
    weights = range(1 - count, count, 2)
    squares = count * (count * count - 1) // 3
    slope = 16 * sum(weight * (off[-1 - at] - off[at]) for at, weight in enumerate(range(count - 1, 0, -2))) // squares
    off -= off.sum(axis=0, dtype=np.int32) // count
    for weight, row in zip(weights, off, strict=True):
        row -= slope * weight >> 4
    off *= off
    # floats: whole numbers below 2**52 divide and round down without an error, several times faster than as integers
    rest = np.minimum(off.sum(axis=0, dtype=np.int32), 1 << 20).astype(float)
    noise = wire.DOUBT * (np.floor(256 * rest / ((count - 2) * squares)) + wire.FLOOR)
    lead = np.floor(min(lag_ms, wire.LAG_MOST_MS) // 100 * count * slope.astype(float) / (span_ms * 8 // 100))
    lead = np.clip(lead, -wire.LEAD_MOST, wire.LEAD_MOST)
    size = np.minimum(np.abs(slope), 2000).astype(float)
    size *= size
    lead *= np.floor(256 * (size - noise) / np.maximum(size, 1))
    return np.where(size <= noise, 0, np.floor(lead / 256))


def _spread(values: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    """`values` at these rows of `count`, 0 elsewhere."""
    result = np.zeros(count, values.dtype)
    result[rows] = values
    return result


def _waiting(times: np.ndarray, not_ready: np.ndarray) -> np.ndarray:
    waiting = np.zeros(len(times), dtype=bool)
    late = np.flatnonzero(not_ready)
    if not late.size:
        return waiting
    # the last tick with a conversion, or the first tick
    judged = np.maximum.accumulate(np.where(not_ready, 0, np.arange(len(times))))
    waiting[late] = times[late] - times[judged[late]] <= WAIT_MS
    for row in late[~waiting[late]].tolist():  # beyond the first wait: one in every WAIT_MS counts, as unreadable
        if not waiting[row] and row + 1 < len(times):
            after = row + 1
            while after < len(times) and not_ready[after] and times[after] - times[row] <= WAIT_MS:
                waiting[after] = True
                after += 1
    return waiting


def _times_ms(time_s: npt.ArrayLike) -> np.ndarray:
    milliseconds = np.asarray(time_s, dtype=float) * 1000
    answer: np.ndarray = np.rint(milliseconds, out=milliseconds).astype(np.int64)
    return answer


def _hundredths_or_nan(degc: npt.ArrayLike) -> np.ndarray:
    values = np.asarray(degc, dtype=float) * 100
    np.rint(values, out=values)
    return values
