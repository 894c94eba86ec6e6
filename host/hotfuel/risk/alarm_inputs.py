"""From margins to the alarm machine's inputs: the only code that treats a percolating bowl and a clamp-on probe, live and afterwards."""

import numpy as np
import numpy.typing as npt
from hotfuel_wire import alarm

from hotfuel.risk.level import Level
from hotfuel.risk.margin import PlaceMargin
from hotfuel.risk.probes import LAG_SHARE


def alarm_inputs(place: PlaceMargin, running: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(margin, warn_below, seen), each (n,): hundredths of a degC as hotfuel_wire.alarm.Alarms.update takes them; rows that are not `seen` are left out,
    and the time to the next one counts from the last row seen.

    running (n,) or a number, nan unknown. A clamp-on probe is only indicative and never reaches act; boiling over behind the needle or in the bowl
    after a hot stop is usual on today's fuel and raises nothing, on the board's lamp as here.
    """
    known = np.isfinite(place.margin_degc)
    left, spread = np.where(known, place.margin_degc, 0.0), np.where(known, place.uncertainty_degc, 0.0)
    if place.traced is not None:  # the alarm has its own lead, upward only, instead of the lag's share of the uncertainty
        lead = place.traced.lead_degc
        hundredths = np.rint(100 * lead).astype(np.int64)
        left = left + lead - np.maximum(hundredths, 0) * 7 // 5 / 100
        spread = np.sqrt(np.maximum(spread * spread - np.square(LAG_SHARE * lead), 0.0))
    margin, warn_below = np.rint(left * 100).astype(np.int64), np.rint(spread * 100).astype(np.int64)
    if place.indicative:
        margin = np.maximum(margin, 0)
    if place.percolates:
        margin = np.where(np.broadcast_to(running, margin.shape) == 0, warn_below + alarm.DEADBAND, margin)
    margin = np.where(place.state == Level.LOW_PRESSURE, alarm.TOO_LOW, margin)
    margin = np.where(place.state == Level.IMPOSSIBLE_PRESSURE, alarm.IMPOSSIBLE, margin)
    unreadable, seen = place.state == Level.LOST, place.state != Level.NO_MARGIN
    if place.traced is not None:
        unreadable, seen = unreadable | place.traced.doubted, seen & ~place.traced.waiting
    return np.where(unreadable, alarm.UNREADABLE, margin), warn_below, seen
