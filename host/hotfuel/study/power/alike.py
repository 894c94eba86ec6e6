"""What else differed between two sides of pulls: gear, sweep rate, smoothing, start temperatures. Beyond its limit each rules out a verdict."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.power.peaks import SMOOTHED_RPM, smoothed
from hotfuel.study.power.pulls import Pull

# Limits, common practice, no source: each moves power by about as much as cooler fuel does.
GEAR_RATIO = 0.03  # of rpm per road speed, sides' means; a gear is 15 % or more
SWEEP = 0.10  # of the rpm gained a second: a faster sweep spends more power on accelerating the flywheel
START_DEGC = 5.0  # of coolant, oil, intake air
ROUGHNESS = 2.5  # ratio of the sides' scatter about a running mean over 200 rpm
_ROUGH_ENOUGH = 0.0003  # of the curve: below this the scatter is rounding
_FINE_POINTS, _FINE_RPM = 20, 100.0


# What differed, and by which measure.
GEAR, SWEEP_UNLIKE, SMOOTHING, START = "gear", "sweep rate", "smoothing", "start temperature"
GEAR_ENGAGED, RPM_PER_SPEED, SWEEP_RATE, SMOOTHING_STATED, ROUGHNESS_RATIO = (
    "gear engaged",
    "rpm per speed",
    "rpm/s",
    "stated",
    "roughness",
)
COOLANT, OIL, INTAKE = "coolant", "oil", "intake"  # keys of Facts.starts


@dataclass(frozen=True)
class Unlike:
    """One thing that differed between the sides `base` and `variant`: what, and by which measure (the names above).

    values: of base and of variant, in the measure's unit (temperatures degC, sweep rpm a second); one number each, of the gear every one that was engaged.
    stated: the smoothing as the files of each side state it.
    """

    what: str
    measured: str
    base: str
    variant: str
    values: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    stated: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())


def unlike(base: str, base_pulls: Sequence[Pull], name: str, pulls: Sequence[Pull], *, air_corrected: bool) -> list[Unlike]:
    """What differed between the sides beyond its limit. air_corrected: the figures are corrected by each pull's own intake temperature."""
    sides = (base_pulls, pulls)
    found = []

    def differs(what: str, measured: str, first: float, second: float) -> None:
        found.append(Unlike(what, measured, base, name, ((first,), (second,))))

    gears = [{pull.facts.gear for pull in side} for side in sides]
    if None not in gears[0] | gears[1] and gears[0] != gears[1]:
        first, second = (tuple(sorted(gear for gear in side if gear is not None)) for side in gears)
        found.append(Unlike(GEAR, GEAR_ENGAGED, base, name, (first, second)))
    ratio = _means(sides, lambda pull: pull.facts.gear_ratio)
    if not found and np.isfinite(ratio).all() and abs(ratio[1] / ratio[0] - 1) > GEAR_RATIO:
        differs(GEAR, RPM_PER_SPEED, *ratio)
    sweep = _means(sides, lambda pull: pull.facts.sweep_rpm_s)
    if np.isfinite(sweep).all() and not abs(sweep[1] / sweep[0] - 1) <= SWEEP:
        differs(SWEEP_UNLIKE, SWEEP_RATE, *sweep)
    found += _smoothing(base, sides, name)
    for what in (COOLANT, OIL, INTAKE):
        degc = _means(sides, _start_degc(what))
        if np.isfinite(degc).all() and abs(degc[1] - degc[0]) > START_DEGC and not (what == INTAKE and air_corrected):
            differs(START, what, *degc)
    return found


def soak_known(sides: Sequence[Sequence[Pull]]) -> bool:
    """Whether coolant or oil at the start is known of every pull, so that heat soak would show."""
    return any(all(what in pull.facts.starts for side in sides for pull in side) for what in ("coolant", "oil"))


def _means(sides: tuple[Sequence[Pull], Sequence[Pull]], value: Callable[[Pull], float]) -> tuple[float, float]:
    """Each side's mean; nan unless every pull has it."""
    first, second = (float(np.mean([value(pull) for pull in side])) for side in sides)
    return first, second


def _start_degc(what: str) -> Callable[[Pull], float]:
    return lambda pull: pull.facts.starts.get(what, np.nan)


def _smoothing(base: str, sides: tuple[Sequence[Pull], Sequence[Pull]], name: str) -> list[Unlike]:
    stated = [{pull.facts.smoothing for pull in side} for side in sides]
    if "" not in stated[0] | stated[1] and stated[0] != stated[1]:
        first, second = (tuple(sorted(side)) for side in stated)
        return [Unlike(SMOOTHING, SMOOTHING_STATED, base, name, stated=(first, second))]
    rough = [[roughness(pull) for pull in side] for side in sides]
    if not np.isfinite([*rough[0], *rough[1]]).all():
        return []
    first_rough, second_rough = (float(np.median(side)) for side in rough)
    low, high = sorted((first_rough, second_rough))
    if high > _ROUGH_ENOUGH and high > ROUGHNESS * max(low, 1e-9):
        return [Unlike(SMOOTHING, ROUGHNESS_RATIO, base, name, ((first_rough,), (second_rough,)))]
    return []


def roughness(pull: Pull) -> float:
    """How much the power curve's points scatter about a running mean over 200 rpm, as a share; nan for curves of few points.

    By the median second difference, so that a step in the curve, which may be the gain itself, does not count.
    """
    if len(pull.rpm) < _FINE_POINTS or np.median(np.diff(pull.rpm)) > _FINE_RPM or pull.rpm[-1] - pull.rpm[0] < 4 * SMOOTHED_RPM:
        return np.nan
    rpm, mean = smoothed(pull.rpm, pull.power_kw)
    inside = (pull.rpm >= rpm[0]) & (pull.rpm <= rpm[-1])
    left = pull.power_kw[inside] / np.interp(pull.rpm[inside], rpm, mean) - 1
    return float(1.4826 * np.median(np.abs(np.diff(left, 2))) / np.sqrt(6))
