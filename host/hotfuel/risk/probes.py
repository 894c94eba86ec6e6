"""Classifies each tick of a probe for the alarm, by the rule of hotfuel_wire.probe: read, unreadable, doubted, or no new conversion yet.

`ProbeTrace` follows a probe batch by batch, live; `traced` takes a whole recording, stepping only where a reading moved faster than its probe can.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from hotfuel_wire import probe as wire
from hotfuel_wire.alarm import UNREADABLE, WAIT_MS
from hotfuel_wire.probe import Probe

from hotfuel.temperature.counts import NO_NEW_CONVERSION

# How well a lag is known, as a standard uncertainty: makers' figures for one size of sheath differ by a factor of two, a fuel line's flow is not their
# water's 0.2 m/s (assumption, common practice, no source).
LAG_SHARE = 0.3


@dataclass(frozen=True)
class Traced:
    """Each (n,) bool. doubted: a fall faster than the probe can do, unreadable for the alarm. waiting: no new conversion yet, nothing to judge.

    falls: (row, degC) of each such fall that stayed and was believed after all. lead_degc (n,): lag times recent slope, what the fuel is hotter than
    the reading; its standard uncertainty is LAG_SHARE of it.
    """

    doubted: np.ndarray
    waiting: np.ndarray
    lead_degc: np.ndarray
    falls: tuple[tuple[int, float], ...] = ()


def fall_note(place: str) -> str:
    """For a person, where `falls` has a row."""
    return (
        f"{place}: the reading fell faster than its probe can and stayed down; for 10 s it counted as unreadable, then it was believed. "
        "A shorted lead reads like this: check probe and wire"
    )


class ProbeTrace:
    """One probe of a running recording."""

    def __init__(self, lag_s: float) -> None:
        self._probe = Probe(round(lag_s * 1000))
        self._seen_ms: int | None = None

    def see(self, time_s: npt.ArrayLike, degc: npt.ArrayLike, reason: npt.ArrayLike) -> Traced:
        """The next ticks: time_s (n,) rising, degc (n,) with nan where there is none, reason (n,): a key of hotfuel.temperature.counts.REASONS."""
        times, readings = _times_ms(time_s), _hundredths(degc)
        not_ready = np.asarray(reason) == NO_NEW_CONVERSION
        doubted, waiting = np.zeros((2, len(times)), dtype=bool)
        lead = np.zeros(len(times))
        falls = []
        for row, (now_ms, reading, late) in enumerate(zip(times.tolist(), readings.tolist(), not_ready.tolist(), strict=True)):
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
        return Traced(doubted, waiting, lead / 100, tuple(falls))


def traced(lag_s: float, time_s: npt.ArrayLike, degc: npt.ArrayLike, reason: npt.ArrayLike) -> Traced:
    """As a fresh ProbeTrace sees a whole recording; arguments as there."""
    times, readings = _times_ms(time_s), _hundredths(degc)
    waiting = _waiting(times, np.asarray(reason) == NO_NEW_CONVERSION)
    rows = np.flatnonzero(~waiting)
    probe = Probe(round(lag_s * 1000))
    elapsed_ms = np.diff(times[rows], prepend=times[rows][:1])
    read = np.flatnonzero(readings[rows] != UNREADABLE)
    values = readings[rows][read]
    clock = np.cumsum(np.minimum(elapsed_ms, 60_000))[read]
    moved = np.abs(np.diff(values))
    between = np.clip(np.diff(clock), 0, 60_000)
    most = np.zeros(60_001, dtype=np.int64)  # by the time between two readings, of which there are few
    for elapsed in np.flatnonzero(np.bincount(between)).tolist():
        most[elapsed] = probe.change(elapsed)
    suspect = read[1:][moved > most[between]]
    doubted, rising = np.zeros((2, len(times)), dtype=bool)
    falls = []
    at = -1
    for first in suspect.tolist():
        if first <= at:
            continue
        at = int(read[np.searchsorted(read, first) - 1])
        probe = Probe(round(lag_s * 1000))
        probe.take(int(readings[rows[at]]), 0)
        while at + 1 < len(rows) and (at < first or not probe.settled or readings[rows[at]] == UNREADABLE):
            at += 1
            row = int(rows[at])
            doubted[row] = not probe.take(int(readings[row]), int(elapsed_ms[at])) and readings[row] != UNREADABLE
            rising[row] = probe.rising
            if probe.fell:
                falls.append((row, probe.fell / 100))
    lead = np.zeros(len(times))
    usable = (readings != UNREADABLE) & ~doubted & ~rising
    lead[rows] = _leads(round(lag_s * 1000), np.minimum(elapsed_ms, 60_000), readings[rows], usable[rows]) / 100
    return Traced(doubted, waiting, lead, tuple(falls))


def _leads(lag_ms: int, elapsed_ms: np.ndarray, readings: np.ndarray, usable: np.ndarray) -> np.ndarray:
    """hotfuel_wire.probe.Lead for all ticks at once, number for number."""
    edges = _edges(np.cumsum(elapsed_ms).astype(np.int64).tobytes())
    lead = np.zeros(len(readings), dtype=np.int64)
    if len(edges) < wire.BLOCKS_LEAST + 1:
        return lead
    starts = edges[:-1]
    clock = np.cumsum(elapsed_ms)[edges]
    spans_ms = np.diff(clock)
    sums = np.add.reduceat(np.where(usable, readings, 0)[: edges[-1]], starts)
    ticks = np.add.reduceat(usable[: edges[-1]].astype(np.int64), starts)
    means = sums // np.maximum(ticks, 1)
    good = (ticks > 0) & (spans_ms <= wire.BLOCK_MOST_MS)
    number = np.arange(len(good))
    run = number - np.maximum.accumulate(np.where(good, -1, number))  # blocks without a gap up to this one
    of_block = np.zeros(len(good), dtype=np.int64)
    for count in range(wire.BLOCKS_LEAST, wire.BLOCKS + 1):
        here = np.flatnonzero(run >= count if count == wire.BLOCKS else run == count)
        if here.size:
            back = here[:, None] + np.arange(1 - count, 1)
            of_block[here] = _fit(lag_ms, means[back], spans_ms[back].sum(axis=1))
    lead[edges[1] :] = np.repeat(of_block, np.diff(edges[1:], append=len(lead)))
    return lead


@lru_cache(maxsize=1)  # the places of a recording have one clock
def _edges(clock_ms: bytes) -> np.ndarray:
    """Where blocks begin, of a clock (int64) that begins at 0."""
    clock = np.frombuffer(clock_ms, np.int64)
    following = np.searchsorted(
        clock, clock + wire.BLOCK_MS
    ).tolist()  # row -> where the block after one that begins there begins
    edges, at = [], 0
    while at < len(following):
        edges.append(at)
        at = following[at]
    return np.array(edges)


def _fit(lag_ms: int, means: np.ndarray, span_ms: np.ndarray) -> np.ndarray:
    """means (k, count), span_ms (k,): Lead._fit."""
    count = means.shape[1]
    off = np.clip(means - means[:, -1:], -wire.REACH, wire.REACH)
    weights = 2 * np.arange(count) - count + 1
    squares = count * (count * count - 1) // 3
    slope = 16 * (off @ weights) // squares
    rest = off - (off.sum(axis=1) // count)[:, None] - slope[:, None] * weights // 16
    noise = wire.DOUBT * (256 * np.minimum((rest * rest).sum(axis=1), 1 << 20) // ((count - 2) * squares) + wire.FLOOR)
    size = np.minimum(np.abs(slope), 2000)
    lead = min(lag_ms, wire.LAG_MOST_MS) // 100 * slope * count // (span_ms * 8 // 100)
    lead = np.clip(lead, -wire.LEAD_MOST, wire.LEAD_MOST)
    square = np.maximum(size * size, 1)
    return np.where(size * size <= noise, 0, lead * (256 * (size * size - noise) // square) // 256)


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
    answer: np.ndarray = np.rint(np.asarray(time_s, dtype=float) * 1000).astype(np.int64)
    return answer


def _hundredths(degc: npt.ArrayLike) -> np.ndarray:
    values = np.asarray(degc, dtype=float)
    return np.where(np.isnan(values), UNREADABLE, np.rint(np.nan_to_num(values) * 100)).astype(np.int64)
