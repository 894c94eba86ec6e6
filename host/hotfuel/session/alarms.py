"""The alarms of a whole recording: the state machine of hotfuel_wire.alarm run over the margins, leaping over stretches where it cannot change."""

from dataclasses import dataclass

import numpy as np
from hotfuel_wire import alarm

from hotfuel.risk.alarm_inputs import alarm_inputs
from hotfuel.risk.margin import MarginTable


@dataclass(frozen=True)
class Span:
    """One alarm of one place while it was on: rows of the recording's index, `last` included. level: one of hotfuel_wire.alarm.LEVELS."""

    place: str
    level: str
    first: int
    last: int


def spans(table: MarginTable, seconds: np.ndarray) -> list[Span]:
    """Every alarm, in order of its beginning. seconds: the ticks' times, rising, one per sample of the table."""
    elapsed_ms = np.rint(np.diff(seconds, prepend=seconds[:1]) * 1000).astype(np.int64)
    found: list[Span] = []
    for name, place in table.places.items():
        margin, warn_below, seen = alarm_inputs(name, place, table.running)
        found += _of_place(name, margin, warn_below, elapsed_ms, seen)
    return sorted(found, key=lambda span: (span.first, span.place))


def _of_place(name: str, margin: np.ndarray, warn_below: np.ndarray, elapsed_ms: np.ndarray, seen: np.ndarray) -> list[Span]:
    lost = margin == alarm.NO_MARGIN
    here = seen & ~lost
    conditions = (  # per level: where its condition holds, where it is clear beyond the deadband; as Alarms.update has them
        (here & (margin < warn_below), here & (margin >= warn_below + alarm.DEADBAND)),
        (here & (margin < 0), here & (margin >= alarm.DEADBAND)),
        (seen & lost, here),
    )
    # one bit a condition: while the bits that the machine waits for are all clear, nothing can change
    bits = np.zeros(len(margin), np.uint8)
    for level, (on, off) in enumerate(conditions):
        bits |= (on.astype(np.uint8) << level) | (off.astype(np.uint8) << (level + 3))
    positions = [np.flatnonzero(bits & (1 << number)) for number in range(6)]
    began: dict[int, int] = {}
    found: list[Span] = []
    at = 0

    def changed(_place: int, level: int, old: int, new: int) -> None:
        if new == alarm.UNACKNOWLEDGED:
            began[level] = at
        else:
            found.append(Span(name, alarm.LEVELS[level], began.pop(level), at))

    machine = alarm.Alarms(1, changed)
    last = len(margin) - 1
    while at <= last:
        awaited = [level + 3 if single.live else level for level, single in enumerate(machine.places[0])]
        mask = sum(1 << number for number in awaited)
        on_now = len(began)
        while at <= last and len(began) == on_now and bits[at] & mask:
            machine.update(0, int(margin[at]), int(warn_below[at]), int(elapsed_ms[at]))
            at += 1
        if at <= last and len(began) == on_now:
            if seen[at]:
                machine.update(0, int(margin[at]), int(warn_below[at]), int(elapsed_ms[at]))  # ends what had begun to hold
            ahead = (positions[number][np.searchsorted(positions[number], at + 1) :][:1] for number in awaited)
            at = min((int(rows[0]) for rows in ahead if rows.size), default=last + 1)
    found += [Span(name, alarm.LEVELS[level], first, last) for level, first in began.items()]
    return found
