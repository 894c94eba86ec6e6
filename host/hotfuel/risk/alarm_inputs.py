"""From margins to what the alarm machine takes: the one place where a percolating bowl and a clamp-on probe are treated, live and afterwards."""

import numpy as np
import numpy.typing as npt
from hotfuel_wire import alarm

from hotfuel.risk.level import Level
from hotfuel.risk.margin import NEEDLE, PlaceMargin


def alarm_inputs(name: str, place: PlaceMargin, running: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(margin, warn_below, seen), each (n,): hundredths of a degC as hotfuel_wire.alarm.Alarms.update takes them; rows that are not `seen` are left out,
    and the time to the next one counts from the last that was.

    running (n,) or a number, nan unknown. A clamp-on probe is only indicative and never reaches act; boiling over behind the needle or in the bowl
    after a hot stop is usual on today's fuel and raises nothing, on the board's lamp as here.
    """
    known = np.isfinite(place.margin_degc)
    margin = np.rint(np.where(known, place.margin_degc, 0.0) * 100).astype(np.int64)
    warn_below = np.rint(np.where(known, place.uncertainty_degc, 0.0) * 100).astype(np.int64)
    margin = np.where((margin < 0) & (place.state != Level.ACT), 0, margin)  # indicative
    if percolates(name, place):
        margin = np.where(np.broadcast_to(running, margin.shape) == 0, warn_below + alarm.DEADBAND, margin)
    margin = np.where(place.state == Level.LOW_PRESSURE, alarm.TOO_LOW, margin)
    margin = np.where(place.state == Level.IMPOSSIBLE_PRESSURE, alarm.IMPOSSIBLE, margin)
    unreadable, seen = place.state == Level.LOST, place.state != Level.NO_MARGIN
    if place.traced is not None:
        unreadable, seen = unreadable | place.traced.doubted, seen & ~place.traced.waiting
    return np.where(unreadable, alarm.UNREADABLE, margin), warn_below, seen


def percolates(name: str, place: PlaceMargin) -> bool:
    """True behind the needle and in the bowl."""
    return name.endswith(NEEDLE) or place.criterion.reason.startswith("percolation")
