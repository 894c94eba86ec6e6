"""Puts blocks of a log that are not in the order they were recorded (pieces joined by hand, a damaged file system) back in order.

Board time that falls back reads as a start of the board. Where the description that the readings name says that it is the same start, the ticks do not
contradict it and the wall times agree, the parts are one, in the order of their ticks. Starts of one board are put in the order in which it counted
them, unless wall times contradict that or the count may have restarted. What cannot be settled stays where it is and is reported.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from hotfuel_wire.messages import EVENTS

_AGREE_S = 60.0  # wall times of one start of the board, against its own time
_EARLY_S = 1.0
_MOST = 500  # starts in one log; with more the log is damaged, and nothing is to be put in order


@dataclass
class Order:
    """boots: boot number in the log -> the boot it belongs to. joined: boots that several belong to. notes: sentences for a person."""

    boots: dict[int, int] = field(default_factory=dict)
    joined: set[int] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)


def find(scans: np.ndarray, messages: dict[str, np.ndarray], descriptions: dict[int, dict]) -> Order:
    """Which of the starts seen along the log are really parts of one; `boots` is empty if each is its own."""
    order = Order()
    edges = np.flatnonzero(scans["boot"][1:] != scans["boot"][:-1]) + 1
    if not 0 < len(edges) < _MOST:
        return order
    runs: dict[object, list[int]] = {}
    counted: dict[bytes, list[tuple[int, int]]] = {}  # board -> (start in this log, the board's own number for it)
    for rows in np.split(scans, edges):
        boot, told = int(rows["boot"][0]), descriptions.get(int(rows["description_id"][0]))
        if told is None:
            continue
        key = (bytes(told["board_id"]), int(told["boot_count"]))
        for other in runs.get(key, []):
            if _one(_of(scans, other), rows, messages, other, boot):
                order.boots[boot] = order.boots.get(other, other)
                break
        else:
            counted.setdefault(key[0], []).append((boot, key[1]))
        runs.setdefault(key, []).append(boot)
    _say(order, scans, runs)
    order.joined = set(order.boots.values())
    for starts in counted.values():
        _by_count(order, starts, messages["wall_anchor"])
    if order.boots:  # numbers given to one boot leave no gaps
        numbers = np.unique(np.concatenate([scans["boot"], *(rows["boot"] for rows in messages.values())])).tolist()
        left = sorted({order.boots.get(number, number) for number in numbers})
        order.joined = {left.index(mine) for mine in order.joined}
        order.boots = {number: left.index(order.boots.get(number, number)) for number in numbers}
    return order


def apply(order: Order, scans: np.ndarray, messages: dict[str, np.ndarray]) -> np.ndarray:
    """The scans with parts joined and in the order of their ticks, each once; messages are changed in place."""
    belongs = np.arange(1 << 16, dtype=np.uint16)
    belongs[list(order.boots)] = list(order.boots.values())
    for rows in (scans, *messages.values()):
        rows["boot"] = belongs[rows["boot"]]
    for name, rows in messages.items():
        time_s = np.where(np.isfinite(rows["time"]), rows["time"], -np.inf)
        messages[name] = rows[np.lexsort((np.arange(len(rows)), time_s, rows["boot"]))]
    scans = scans[np.lexsort((np.arange(len(scans)), scans["tick"], scans["boot"]))]
    twice = (np.diff(scans["tick"].astype(np.int64)) == 0) & (np.diff(scans["boot"].astype(np.int32)) == 0)
    joined = np.isin(scans["boot"][1:], list(order.joined))
    return scans[np.concatenate(([True], ~(twice & joined)))]


def ticks_missing(scans: np.ndarray) -> int:
    """Numbers left out between neighbours of one boot and description."""
    step = np.diff(scans["tick"].astype(np.int64)) - 1
    neighbours = (np.diff(scans["boot"].astype(np.int32)) == 0) & (scans["description_id"][1:] == scans["description_id"][:-1])
    return int(step[neighbours & (step > 0)].sum())


def _of(scans: np.ndarray, boot: int) -> np.ndarray:
    return scans[scans["boot"] == boot]


def _one(first: np.ndarray, second: np.ndarray, messages: dict[str, np.ndarray], boot: int, other: int) -> bool:
    """Whether two parts that name the same start of the board can belong together."""
    _, mine, theirs = np.intersect1d(first["tick"], second["tick"], return_indices=True)
    if len(mine) and not (
        np.array_equal(first["channels"][mine], second["channels"][theirs])
        and np.array_equal(first["time"][mine], second["time"][theirs])
    ):
        return False
    for said, rows in ((boot, second), (other, first)):  # nothing comes before the board's start message
        events = messages["event"]
        starts = events["time"][(events["boot"] == said) & (events["code"] == EVENTS["boot"])]
        if len(starts) and rows["time"].min() < starts.max() - _EARLY_S:
            return False
    offsets = [_offset_s(messages["wall_anchor"], which) for which in (boot, other)]
    return offsets[0] is None or offsets[1] is None or abs(offsets[0] - offsets[1]) <= _AGREE_S


def _offset_s(anchors: np.ndarray, boot: int) -> float | None:
    """Wall time minus board time of one part, None without an anchor."""
    mine = anchors[(anchors["boot"] == boot) & np.isfinite(anchors["time"])]
    return float(np.median(mine["wall_us"] / 1e6 - mine["time"])) if len(mine) else None


def _by_count(order: Order, starts: list[tuple[int, int]], anchors: np.ndarray) -> None:
    """Put the starts of one board into the order of its own count. starts: (start of the log, number by the board's count), in the log's order."""
    counts = [count for _, count in starts]
    if counts == sorted(counts):
        return
    by_count = sorted(starts, key=lambda start: start[1])
    walls = {boot: began_s for boot, _ in starts if (began_s := _offset_s(anchors, boot)) is not None}
    known_s = [walls[boot] for boot, _ in by_count if boot in walls]
    if (
        known_s == sorted(known_s)
        and len(set(counts)) == len(counts)
        and (len(walls) == len(starts) or counts[0] == min(counts) or min(counts) > 1)
    ):
        numbers = sorted(boot for boot, _ in starts)
        moved = {boot: number for (boot, _), number in zip(by_count, numbers, strict=True)}
        order.boots = moved | {boot: moved.get(mine, mine) for boot, mine in order.boots.items()}
        order.joined = {moved.get(mine, mine) for mine in order.joined}
        order.notes.append("Starts of the board were not in the order in which it counted them and were put in that order.")
    elif [walls[boot] for boot, _ in starts if boot in walls] != sorted(walls.values()) or len(walls) < len(starts):
        for (_, count), (_, next_count) in pairwise(starts):
            if next_count < count:
                order.notes.append(
                    f"The board's start number {next_count} comes after its number {count} in this log: the parts may be in the wrong order, or its "
                    "settings were erased."
                )


def _say(order: Order, scans: np.ndarray, runs: dict[object, list[int]]) -> None:
    if order.boots:
        parts, were = ("part", "was") if len(order.boots) == 1 else ("parts", "were")
        order.notes.append(
            f"{len(order.boots)} {parts} of this recording {were} out of order and {were} put in order by the board's count of its readings."
        )
    for boots in runs.values():
        for boot in boots[1:]:
            if boot not in order.boots:
                rows = _of(scans, boot)
                order.notes.append(
                    f"A part of this recording with {len(rows)} readings says that it belongs to the same start of the board as an earlier one, but its "
                    "count or its times of day contradict that: it is shown as a start of its own, and its times may be wrong."
                )
