"""The alarms of a whole recording: the state machine of hotfuel_wire.alarm run over the margins, skipping the stretches in which it cannot change."""

from dataclasses import dataclass

import numpy as np
from hotfuel_wire import alarm

from hotfuel.risk.level import Level
from hotfuel.risk.margin import MarginTable, alarm_inputs


@dataclass(frozen=True)
class Span:
    """One alarm of one place while it was on: rows of the recording's index, `last` included. level: one of hotfuel_wire.alarm.LEVELS."""

    place: str
    level: str
    first: int
    last: int


def spans(table: MarginTable, seconds: np.ndarray) -> list[Span]:
    """Every alarm, in order of its beginning. seconds: the ticks' times, rising, one per sample of the table."""
    milliseconds = np.rint(np.asarray(seconds) * 1000).astype(np.int64)
    found: list[Span] = []
    for name, place in table.places.items():
        margin, warn_below, seen = alarm_inputs(place, table.running)
        rows = np.flatnonzero(seen)
        if rows.size:
            elapsed_ms = np.diff(milliseconds[rows], prepend=milliseconds[rows[0]])
            found += _of_place(name, rows, margin[rows], warn_below[rows], elapsed_ms, len(margin) - 1)
    return sorted(found, key=lambda span: (span.first, span.place))


def _of_place(
    name: str, rows: np.ndarray, margin: np.ndarray, warn_below: np.ndarray, elapsed_ms: np.ndarray, end: int
) -> list[Span]:
    unreadable = margin == alarm.UNREADABLE
    read = ~unreadable
    low, none = margin == alarm.TOO_LOW, margin == alarm.IMPOSSIBLE
    conditions = {  # where each holds, where it is clear beyond the deadband; as in Alarms.update
        Level.WARN: (read & (margin < warn_below), read & (margin >= warn_below + alarm.DEADBAND)),
        Level.ACT: (read & (margin < 0), read & (margin >= alarm.DEADBAND)),
        Level.LOW_PRESSURE: (low, read & ~low),
        Level.IMPOSSIBLE_PRESSURE: (none, read & ~none),
    }
    # while everything that the machine waits for is clear, nothing can change
    ons = {level: np.flatnonzero(on) for level, (on, _) in conditions.items()}
    offs = {level: np.flatnonzero(off) for level, (_, off) in conditions.items()}
    blind = np.flatnonzero(unreadable)
    seen_again = np.flatnonzero(read)
    clock_ms = np.cumsum(elapsed_ms)
    began: dict[int, int] = {}
    found: list[Span] = []
    at = 0

    def changed(_place: int, level: int, old: int, new: int) -> None:
        if new == alarm.UNACKNOWLEDGED:
            began[level] = at
        else:
            found.append(Span(name, alarm.LEVELS[level], int(rows[began.pop(level)]), int(rows[at])))

    machine = alarm.Alarms(1, changed)
    single, sight = machine.places[0], machine.sights[0]
    while at < len(margin):
        machine.update(0, int(margin[at]), int(warn_below[at]), int(elapsed_ms[at]))
        at += 1
        waiting = any(one.waiting for one in single.values())
        saturated = sight.blind_ms >= 2 * alarm.BLIND_MS  # further unreadable ticks, none a gap, leave it as it is
        if saturated and single[Level.LOST].live and at < len(margin) and unreadable[at]:
            # Blind throughout: neither the window nor a paused timer changes, if the window's pieces are as before.
            after = np.searchsorted(seen_again, at)
            until = int(seen_again[after]) if after < len(seen_again) else len(margin)
            alike = np.flatnonzero((clock_ms[at - 1 : until] - clock_ms[at - 1]) % alarm.PIECE_MS == 0)
            at += int(alike[-1])
        elif not waiting and not sight.unreadable_ms:
            awaited = [offs[level] if single[level].live else ons[level] for level in conditions] + [blind]
            ahead = [int(rows_of[next_of]) for rows_of in awaited if (next_of := rows_of.searchsorted(at)) < len(rows_of)]
            at = min(ahead, default=len(margin))
    found += [Span(name, alarm.LEVELS[level], int(rows[first]), end) for level, first in began.items()]
    return found
