"""A stop that lasts longer than the recorded one: the recorded hot soak is continued by the soak forecast, and the margins with it."""

import numpy as np
from scipy import special

from hotfuel.errors import InputError
from hotfuel.places import HOSES, place_words, probe_of
from hotfuel.risk.margin import MarginTable
from hotfuel.risk.soak import BAND, forecast_soak
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.line.assumed import LongerStop
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.grid import STEP_S
from hotfuel.study.line.unknown import Unknown, What

_LEAST_S = 60.0
# Uncertainty of a stop's hottest moment, as a share of that of any one moment, in a hose and in a pump with its metal; and its middle: a forecast soak ends
# a little too hot (from trials on a second model).
_HOTTEST_HOSE_U, _HOTTEST_METAL_U, _HOTTEST_MIDDLE = 1.0, 0.75, -0.4
_AFTER_U_DEGC, _AFTER_S = 2.5, 180.0  # other fuel passes a place after a longer stop than after the recorded one (assumption)


def lengthen(course: Course, table: MarginTable, after: Changed, margin: dict[str, np.ndarray], minutes: float) -> None:
    """Add to `margin` (DRAWS, m) and `after.degc` what follows the end of the longest stop, up to `minutes` after its beginning.

    Raises InputError for a session without a hot soak of a minute, and for a recorded stop that was at least as long.
    """
    stops = [p for p in phases(course) if p.kind == SOAK and p.duration_s >= _LEAST_S]
    if not stops:
        raise InputError(f"{course.name} has no hot stop of a minute or more, so nothing shows how a longer one would go on")
    stop = max(stops, key=lambda p: p.duration_s)
    if stop.duration_s >= 60 * minutes:
        raise InputError(f"the stop of {course.name} lasted {stop.duration_s / 60:.0f} min already: give a longer one than that")
    rows = (course.time_s >= stop.start_s) & (course.time_s < stop.end_s)
    ends = after.grid.soak & (after.grid.time_s >= stop.start_s) & (after.grid.time_s < stop.end_s)
    if not ends.any():
        return
    last = int(np.flatnonzero(ends)[-1])
    draws = after.draws.normal(Unknown(What.LONGER_STOP), 0.0, 1.0)[:, 0]
    for base in after.grid.degc:
        places = [p for p in margin if probe_of(p) == base]
        if not places or after.car.place(base).role == "tank":  # a parked tank follows the air, not the engine
            continue
        hose = after.car.place(base).role in HOSES
        draw = _HOTTEST_MIDDLE + (_HOTTEST_HOSE_U if hose else _HOTTEST_METAL_U) * draws
        limits = {p: float(np.nanmedian(table.places[p].limit_degc[rows][-30:])) for p in places}
        try:
            ahead = forecast_soak(
                (course.time_s - stop.start_s)[rows], course.degc[base][rows], course.ambient_degc,
                onset_degc=min(limits.values()) - 6.0, limit_degc=min(limits.values()),
            )  # fmt: skip
        except InputError as error:
            raise InputError(f"at the {place_words(base)} {error}") from None
        later = (ahead.time_s > stop.duration_s) & (ahead.time_s <= 60 * minutes)
        if not later.any():
            continue
        sides = special.ndtri(BAND[2])
        least, middle, greatest = ahead.path_degc[:, later]
        above = np.where(draw[:, None] > 0, greatest - middle, middle - least) / sides
        comes = (middle + draw[:, None] * above).max(axis=1) + (after.degc[base] - after.grid.degc[base])[:, last] * 0.5
        hottest = np.maximum(after.degc[base][:, last], comes)
        gone = hottest - after.degc[base][:, last]
        after.degc[base] = _moved(after.degc[base], last, gone)
        passes = after.draws.normal(Unknown(What.AFTER_LONGER_STOP), 0.0, _AFTER_U_DEGC)
        then = slice(last + 1, last + 1 + int(_AFTER_S / STEP_S))
        after.degc[base][:, then] += passes
        for place in places:
            margin[place] = _moved(margin[place], last, -gone)
            margin[place][:, then] -= passes
    after.assumptions.append(LongerStop(stop.duration_s / 60, minutes))


def _moved(values: np.ndarray, row: int, by: np.ndarray) -> np.ndarray:
    """`values` (m,) or (DRAWS, m) with `by` (DRAWS,) added in one row: the stop's last row stands for what follows it."""
    made = np.array(np.broadcast_to(values, (len(by), values.shape[1])))
    made[:, row] += by
    return made
