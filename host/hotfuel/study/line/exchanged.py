"""Probes at the tank and at the end of the line that look exchanged: litres of fuel change their temperature slowly, a hose's filling within minutes."""

from dataclasses import dataclass

import numpy as np

from hotfuel.session.means import smoothed
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import fired
from hotfuel.study.line.transport import line_places

WITHIN_S, LEAST_DEGC, SHARE = (
    180.0,
    8.0,
    1 / 3,
)  # a tank changes by less, and the last place by more than this share of it (assumptions)


@dataclass(frozen=True)
class Exchanged:
    """The two places, and by how many degC each changed within the same WITHIN_S."""

    tank: str
    last: str
    tank_degc: float
    last_degc: float


def exchanged(course: Course) -> Exchanged | None:
    """The fastest change at the tank, where the last place of the line hardly changed with it; None without one.

    A tank that cools while the engine stands may have been filled up, so only a running engine counts there.
    """
    line = line_places(course)
    roles = {place.name: place.role for place in course.car.places} if course.car is not None else {}
    count = int(WITHIN_S / STEP_S)
    if len(line) < 2 or roles.get(line[0]) != "tank" or len(course.time_s) <= count:
        return None
    tank, last = (smoothed(course.time_s, course.degc[place]) for place in (line[0], line[-1]))
    by_tank, by_last = tank[count:] - tank[:-count], np.abs(last[count:] - last[:-count])
    stood = np.concatenate([[0], np.cumsum(~fired(course))])
    ran = stood[count:-1] == stood[: -count - 1]
    with np.errstate(invalid="ignore"):
        odd = (np.abs(by_tank) > LEAST_DEGC) & (by_last < SHARE * np.abs(by_tank)) & (ran | (by_tank > 0))
    if not odd.any():
        return None
    at = int(np.argmax(np.where(odd, np.abs(by_tank), 0.0)))
    return Exchanged(line[0], line[-1], float(abs(by_tank[at])), float(by_last[at]))
