"""Probes compared with each other while the car stands cold before its first start: all places are at one temperature then, so differences between
the readings are errors of the probes.

The technique is common practice where thermocouples are used (an isothermal check); how far the places of a parked car differ is an assumption.
"""

from dataclasses import dataclass, field

import numpy as np

from hotfuel.session.means import smoothed
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import fired

LEAST_S, MOST_S = 60.0, 300.0
SPREAD_DEGC = 4.0  # a larger difference than between probes as bought: the car had been driven
DRIFT_DEGC_MIN = 0.15
OVER_AIR_DEGC = 6.0
# Standard uncertainty of a place's own temperature against the others': a tank follows the night's air more slowly than a hose (assumptions).
PLACE_U_DEGC, TANK_U_DEGC = 0.15, 0.3
# One fuel probe this far from all others, which agree this closely, reads wrong if the car had cooled through; noise moves a minute's mean by more than
# DRIFT_DEGC_MIN (assumptions).
APART_DEGC, AGREE_DEGC, APART_DRIFT_DEGC_MIN = 5.0, 2.0, 0.4
STAYS = 0.1  # share of a probe's uncertainty that the check does not remove: ASTM E230 special tolerances grow with 0.4 % beyond their 1.1 degC


@dataclass(frozen=True)
class Parked:
    """degc: by how much each place reads above the average of all; empty where the session has no such minute. seconds: how long it lasted."""

    degc: dict[str, float] = field(default_factory=dict)
    seconds: float = 0.0

    def u_degc(self, course: Course, place: str, u_degc: float) -> float:
        """Standard uncertainty of a place's reading against the others', after correction; u_degc: by its budget, returned for a place not checked."""
        if place not in self.degc or course.car is None:
            return u_degc
        own = TANK_U_DEGC if course.car.place(place).role == "tank" else PLACE_U_DEGC
        return float(min(np.hypot(own, STAYS * u_degc), u_degc))


@dataclass(frozen=True)
class Apart:
    """The one fuel probe that reads `by_degc` more (minus: less) than the others, which agree, while the car stands before its first start.

    tank: it is a tank's, whose fuel may truly be that much warmer or colder.
    """

    place: str
    by_degc: float
    tank: bool = False


def parked(course: Course) -> Parked:
    """From a session that begins with a minute or more of a car that stands cold, else an empty one."""
    means, drift, seconds = _standing(course)
    hot = [p for p in means if p not in course.fuel_places]  # metal or air under the bonnet shows that the engine is cold
    air = course.ambient_degc
    if len(means) < 3 or not (hot or np.isfinite(air)):
        return Parked()
    middle = float(np.mean(list(means.values())))
    if np.ptp(list(means.values())) > SPREAD_DEGC or drift > DRIFT_DEGC_MIN:
        return Parked()
    if np.isfinite(air) and abs(middle - air) > OVER_AIR_DEGC:
        return Parked()
    return Parked({p: degc - middle for p, degc in means.items()}, seconds)


def apart(course: Course) -> Apart | None:
    """The probe that stands apart from two or more others; None without one, and where the others are not at the outside air's temperature."""
    found, drift, _ = _standing(course)
    means = {place: degc for place, degc in found.items() if place in course.fuel_places}
    if len(means) < 3 or drift > APART_DRIFT_DEGC_MIN:
        return None
    place = max(means, key=lambda p: abs(means[p] - float(np.median(list(means.values())))))
    others = [degc for p, degc in means.items() if p != place]
    middle, air = float(np.mean(others)), course.ambient_degc
    if (
        abs(means[place] - middle) < APART_DEGC
        or np.ptp(others) > AGREE_DEGC
        or (np.isfinite(air) and abs(middle - air) > OVER_AIR_DEGC)
    ):
        return None
    tanks = [p.name for p in course.car.places if p.role == "tank"] if course.car is not None else []
    return Apart(place, means[place] - middle, place in tanks)


def _standing(course: Course) -> tuple[dict[str, float], float, float]:
    """({place: mean degC}, the fastest drift in degC a minute, seconds) of the time before the first start; empty where that is short."""
    on = fired(course)
    count = int(np.argmax(on)) if on.any() else 0
    count = min(count, int(MOST_S / STEP_S))
    if course.car is None or count * STEP_S < LEAST_S:
        return {}, 0.0, 0.0
    first = int(np.argmax(on))
    rows = slice(first - count, first)
    means, drift = {}, []
    for place, values in course.degc.items():
        read = np.isfinite(values[rows])
        if read.mean() < 0.8:
            continue
        means[place] = float(np.nanmean(values[rows]))
        smooth = smoothed(course.time_s[rows], values[rows])
        smooth = smooth[np.isfinite(smooth)]
        drift.append(abs(float(smooth[-1] - smooth[0])) / (count * STEP_S / 60))
    return means, max(drift, default=0.0), count * STEP_S
