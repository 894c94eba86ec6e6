"""A whole log as tables: readings, messages, descriptions, losses, clock."""

import os
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
from hotfuel_wire.messages import EVENTS

from hotfuel.log import follow, identity, others
from hotfuel.log.other import Other
from hotfuel.samples import bulk, order, table
from hotfuel.samples.build import Builder
from hotfuel.samples.clock import Clock
from hotfuel.samples.losses import Gap, Losses, gap_reason, lost

_LATE_S = 2.0  # a log without its first frame whose first reading came later than this after the board's start may lack readings
_FROM_THE_START_S = 15.0  # a boot whose first health message has a board time below this began in this log


@dataclass
class Decoded:
    """A log as tables, in log order; the columns are those of samples.table, PROTOCOL.md gives their meaning."""

    scans: np.ndarray  # table.scans, one row per reading
    messages: dict[str, np.ndarray]  # name -> table.MESSAGES[name]; every name is there, without rows if none came
    descriptions: dict[int, dict]  # description_id -> values as hotfuel_wire.codec.unpack gives them
    losses: Losses
    clock: Clock
    corrections: list[str] = field(default_factory=list)  # what was corrected or could not be, in sentences
    other_recordings: Sequence[others.Other] = ()  # whose bytes are left out
    path: Path | None = None  # of the log, if it was read from a file
    named: frozenset[int] = frozenset()  # ids of the descriptions that readings name

    @property
    def notes(self) -> list[str]:
        """What was left out, was corrected or could not be, in sentences."""
        return [*(f"{other.sentence(self.path)}." for other in self.other_recordings), *self.corrections]

    @property
    def marks_end(self) -> bool:
        """Whether the recorder of the log's last part writes the mark of its end (`log.ending`)."""
        starts = self.messages["log_start"]
        return bool(len(starts)) and bool(starts["marks_end"][starts["part"] == starts["part"].max()][-1] == 1)

    @cached_property
    def readings(self) -> np.ndarray:
        """table.READINGS, one row per reading and channel; made from `scans` when first asked for."""
        return table.readings(self.scans)


def decode(log: bytes | bytearray | memoryview | str | os.PathLike[str], *, as_it_stands: bool = False) -> Decoded:
    """Decode a log: its bytes, or the path of one or of the session folder it is in.

    Bytes of another recording are left out, and `.notes` say so. as_it_stands: True keeps them, and blocks in the wrong order where they are, as a
    reader that follows a growing stream gets them.
    Damage never raises: it is counted in `.losses`. Raises InputError if the path cannot be read.
    Example: `decode("drive/wire.log").readings["hot"]`.
    """
    if isinstance(log, str | os.PathLike):
        path = Path(log)
        path = path / "wire.log" if path.is_dir() else path
        size = path.stat().st_size if path.exists() else 0
        found = _assemble(follow.blocks(path, bulk.BLOCK, everything=True), size, as_it_stands)
        head = b"" if as_it_stands else identity.head(path)
        if not as_it_stands and _may_hold_another(found, head):
            found = _without(found, follow.blocks(path, bulk.BLOCK), others.of(path), path)
        return _with_its_beginning(found, head)
    view = memoryview(log).cast("B")
    found = _assemble((view[at : at + bulk.BLOCK] for at in range(0, len(view), bulk.BLOCK)), len(view), as_it_stands)
    head = b"" if as_it_stands else bytes(view[: identity.HEAD])
    if not as_it_stands and _may_hold_another(found, head):
        read = others.reading_bytes(view)
        strangers = others.Finder(read).others(len(view))
        found = _without(found, others.own(read, len(view), strangers, bulk.BLOCK), strangers, None)
    return _with_its_beginning(found, head)


def _may_hold_another(found: Decoded, head: bytes) -> bool:
    """Whether a log's frames give reason to look for another recording in it: nearly every log has one start and begins with it, and its readings name
    one description."""
    count = len(found.messages["log_start"])
    return len(found.named) > 1 or count > 1 or (count == 1 and not identity.begins(head))


def _without(found: Decoded, own: Iterable[bytes], strangers: Sequence[Other], path: Path | None) -> Decoded:
    """The log again without the bytes of other recordings."""
    if strangers:
        size = found.losses.bytes_total - sum(other.end - other.begin for other in strangers)
        found = _assemble(own, size, False)
        found.other_recordings, found.path = strangers, path
    return found


def _with_its_beginning(found: Decoded, head: bytes) -> Decoded:
    """The log, with a remark if its beginning may be missing: everything counted from its first reading is then off by what is missing.

    head: its first bytes. A recording begins with a frame of its own, one of an early version with a description, or where its reader came in.
    """
    if not (head and len(found.scans)) or identity.begins(head) or identity.begins_with_a_description(head):
        return found
    after_s = float(found.scans["time"][0])
    if after_s > _LATE_S:
        fast = any(one["simulated"] and one["simulated_speed"] > 1 for one in found.descriptions.values())
        simulated = (
            " So are the times of day, which a simulated drive faster than real time counts from there too." if fast else ""
        )
        found.corrections.append(
            f"This log does not begin as a recording begins: its first reading came {after_s:.0f} s after the board's start. If the log was cut, all that "
            f"is counted from its first reading is off by what is missing.{simulated}"
        )
    return found


def _assemble(source: Iterable[bytes | memoryview], size: int, as_it_stands: bool) -> Decoded:
    builder = Builder(size)

    def measured() -> Iterator[bytes | memoryview]:
        for data in source:
            builder.losses.bytes_total += len(data)
            yield data

    for block in bulk.blocks(measured()):
        builder.add(block)
    messages = builder.messages()
    losses = builder.losses
    scans = builder.scans()
    in_order = as_it_stands or builder.starts < 2
    found = order.Order() if in_order else order.find(scans, messages, builder.descriptions)
    if found.boots:
        scans = order.apply(found, scans, messages)
        losses.ticks_missing = order.ticks_missing(scans)
        builder.fast_boots = {found.boots.get(boot, boot) for boot in builder.fast_boots}
    losses.gaps = [
        Gap(row["wall_us"] / 1e6, row["length_ms"] / 1e3, reason, int(row["boot"]), float(row["time"]))
        for row in messages["link_gap"]
        if lost(row["length_ms"], reason := gap_reason(row["reason"]))
    ]
    losses.board_dropped = _dropped(messages["health"])
    losses.ticks_missing += _missing_at_starts(messages["event"], scans, builder.descriptions)
    clock = Clock.from_anchors(messages["wall_anchor"], frozenset(builder.fast_boots))
    notes = [*found.notes, *clock.notes]
    return Decoded(scans, messages, builder.descriptions, losses, clock, notes, named=frozenset(builder.named))


def _dropped(health: np.ndarray) -> int:
    """What the board dropped while this log was being recorded: its running totals grow from the first health message of a boot to the last."""
    dropped = 0
    for boot in np.unique(health["boot"]):
        mine = health[health["boot"] == boot]
        total = mine["frames_dropped"].astype(np.int64) + mine["readings_dropped"]
        dropped += int(total.max() - (0 if mine["time"][0] < _FROM_THE_START_S else total[0]))
    return dropped


def _missing_at_starts(events: np.ndarray, scans: np.ndarray, descriptions: dict[int, dict]) -> int:
    """Numbers left out before the first reading of every boot whose start message is in this log.

    A reading's number is its board time in whole periods. The board waits for the middle of a period, sends its start message, and takes its first
    reading in the next. A board that needs longer to send it may have taken that reading later: such a number is not counted.
    """
    missing = 0
    for event in events[events["code"] == EVENTS["boot"]]:
        first = bisect_left(scans["boot"], event["boot"])
        if first == len(scans) or scans["boot"][first] != event["boot"]:
            continue
        told = descriptions.get(int(scans["description_id"][first]))
        if told and told["period_ms"] and told["boot_count"] == event["value"]:
            number = max(1, int(event["time"] * 1000 / told["period_ms"] + 0.5))
            missing += max(0, int(scans["tick"][first]) - number)
    return missing
