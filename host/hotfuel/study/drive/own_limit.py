"""The car's own limit: marks of trouble, or of a run without any, shift the criterion as censored observations.

"Stumbled" at a margin says that this car's limit is at or below the temperature reached; "ran through", that it is above. One number
is estimated: the shift of the limit in degC, with a normal prior as wide as the criterion's own uncertainty, updated on a grid with a probit likelihood.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr

from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.restarts import AFTER_S, says_trouble

PRIOR_SD_DEGC = 5.0  # width of the criteria in degC (V/L 4 to 36 is ±4.5 degC at 88 kPa by the mixture model)
EVENT_SD_DEGC = 2.0  # from one event of a car to the next: probe, load, chance (assumption)
_Q975 = 1.96  # of the normal distribution: 95 % lie within so many standard deviations
_MOVED_DEGC, _NARROWED = 0.5, 0.9
_LOOK_BACK_S = 60.0
_LOOK_AHEAD_S = 10.0


@dataclass(frozen=True)
class Event:
    """Trouble, or none, when the smallest margin around the mark was `margin_degc`. text: the mark."""

    margin_degc: float
    trouble: bool
    place: str
    text: str


@dataclass(frozen=True)
class OwnLimit:
    """The limit of this car lies `shift_degc` above the criterion's (negative: below), with its 95 % interval, by so many events with trouble and without."""

    shift_degc: float
    low_degc: float
    high_degc: float
    troubles: int
    ran_through: int

    @property
    def tells(self) -> bool:
        """Whether the events moved or narrowed anything: trouble far beyond the limit, or none far below it, was to be expected."""
        return abs(self.shift_degc) >= _MOVED_DEGC or self.high_degc - self.low_degc < _NARROWED * 2 * _Q975 * PRIOR_SD_DEGC


def events(course: Course) -> list[Event]:
    """Events from the marks "stumbled", "died", "hard start", "ran through" and the like; marks with no margin around them are left out. Marks of trouble
    within two minutes of the first are one event: an engine that starts hard and then dies has one stop behind it, not two."""
    found: list[Event] = []
    first_s = -np.inf
    for second, text in course.marks:
        trouble = says_trouble(text)
        if trouble is None:
            continue
        rows = (course.time_s >= second - _LOOK_BACK_S) & (course.time_s <= second + _LOOK_AHEAD_S)
        least = {
            p: float(np.nanmin(m["margin_degc"][rows]))
            for p, m in course.margins.items()
            if np.isfinite(m["margin_degc"][rows]).any()
        }
        if least:
            place = min(least, key=lambda p: least[p])
            here = Event(least[place], trouble, place, text)
            if found and trouble and found[-1].trouble and second - first_s <= AFTER_S:
                before = found.pop()
                here = replace(min(before, here, key=lambda one: one.margin_degc), text=f"{before.text}; {text}")
            else:
                first_s = second
            found.append(here)
    return found


def own_limit(
    observed: Sequence[Event],
    prior_sd_degc: float = PRIOR_SD_DEGC,
    event_sd_degc: float = EVENT_SD_DEGC,
) -> OwnLimit:
    """The shift of the limit from events of one car, one place or system. Raises InputError for margins that are not finite.

    P(trouble at margin m | shift s) = Phi((-s - m) / event_sd): with no shift trouble starts at margin 0.
    Example: trouble at +6 degC left moves the limit down by about 7 degC.
    """
    margins = np.array([event.margin_degc for event in observed], dtype=float)
    if not np.isfinite(margins).all():
        raise InputError("an event without a margin tells nothing about the limit: leave it out")
    trouble = np.array([event.trouble for event in observed], dtype=bool)
    far = max(6 * prior_sd_degc, float(np.abs(margins).max(initial=0.0)) + 6 * event_sd_degc)
    shifts = np.linspace(-far, far, 4801)
    log_density = -0.5 * (shifts / prior_sd_degc) ** 2
    z = (-shifts[:, None] - margins[None, :]) / event_sd_degc
    log_density = log_density + log_ndtr(np.where(trouble, z, -z)).sum(axis=1)
    density = np.exp(log_density - log_density.max())
    share = (np.cumsum(density) - density / 2) / density.sum()
    low, middle, high = (float(np.interp(q, share, shifts)) for q in (0.025, 0.5, 0.975))
    troubles = int(trouble.sum())
    return OwnLimit(middle, low, high, troubles, len(observed) - troubles)
