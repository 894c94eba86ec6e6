"""What else differed between two sides of pulls: gear, sweep, smoothing, temperatures at the start. Beyond its limit each takes the verdict away."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.power.peaks import SMOOTHED_RPM, smoothed
from hotfuel.study.power.pulls import Pull
from hotfuel.units import Shown

# Limits, common practice, no source: what moves power by about as much as cooler fuel does.
GEAR_RATIO = 0.03  # of rpm per road speed, sides' means; a gear is 15 % or more
SWEEP = 0.10  # of the engine speed gained a second: the faster sweep leaves more power in the flywheel
START_DEGC = 5.0  # coolant, oil, intake air
ROUGHNESS = 2.5  # ratio of what is left of a curve behind a running mean over 200 rpm
_ROUGH_ENOUGH = 0.0003  # of the curve: below, rounding is all that is left
_FINE_POINTS, _FINE_RPM = 20, 100.0


@dataclass(frozen=True)
class Unlike:
    """One thing that differed: its name, and the sentence's end ("in gear 3 with before and in 4 with cooler")."""

    what: str
    words: str


def unlike(
    base: str, base_pulls: Sequence[Pull], name: str, pulls: Sequence[Pull], shown: Shown, *, air_corrected: bool
) -> list[Unlike]:
    """What differed between the sides beyond its limit. air_corrected: the figures are corrected by each pull's own intake temperature."""
    sides = (base_pulls, pulls)
    found = []
    gears = [{pull.facts.gear for pull in side} for side in sides]
    if None not in gears[0] | gears[1] and gears[0] != gears[1]:
        first, second = (" and ".join(f"{gear:g}" for gear in sorted(g for g in side if g is not None)) for side in gears)
        found.append(Unlike("gear", f"the gear was {first} with {base} and {second} with {name}"))
    ratio = _means(sides, lambda pull: pull.facts.gear_ratio)
    if not found and np.isfinite(ratio).all() and abs(ratio[1] / ratio[0] - 1) > GEAR_RATIO:
        found.append(
            Unlike(
                "gear",
                f"engine speed over road speed was {100 * (ratio[1] / ratio[0] - 1):+.0f} % with {name}: another gear or slip",
            )
        )
    sweep = _means(sides, lambda pull: pull.facts.sweep_rpm_s)
    if np.isfinite(sweep).all() and not abs(sweep[1] / sweep[0] - 1) <= SWEEP:
        found.append(
            Unlike("sweep rate", f"the engine swept {sweep[0]:.0f} rpm a second with {base} and {sweep[1]:.0f} with {name}")
        )
    found += _smoothing(base, sides, name)
    for what, label in (("coolant", "coolant"), ("oil", "oil"), ("intake", "intake air")):
        degc = [float(np.mean([pull.facts.starts.get(what, np.nan) for pull in side])) for side in sides]
        if np.isfinite(degc).all() and abs(degc[1] - degc[0]) > START_DEGC and not (what == "intake" and air_corrected):
            first, second = (shown.text(value, "temperature", 0) for value in degc)
            found.append(Unlike("start temperature", f"the {label} began at {first} with {base} and {second} with {name}"))
    return found


def soak_known(sides: Sequence[Sequence[Pull]]) -> bool:
    """Whether coolant or oil at the start is known of every pull, so that heat soak would have shown."""
    return any(all(what in pull.facts.starts for side in sides for pull in side) for what in ("coolant", "oil"))


def _means(sides: Sequence[Sequence[Pull]], value: Callable[[Pull], float]) -> list[float]:
    """Each side's mean; nan unless every pull has it."""
    return [float(np.mean([value(pull) for pull in side])) for side in sides]


def _smoothing(base: str, sides: Sequence[Sequence[Pull]], name: str) -> list[Unlike]:
    said = [{pull.facts.smoothing for pull in side} for side in sides]
    if "" not in said[0] | said[1] and said[0] != said[1]:
        first, second = (" and ".join(sorted(side)) for side in said)
        return [Unlike("smoothing", f'the files of {base} say "{first}", those of {name} "{second}"')]
    rough = [[roughness(pull) for pull in side] for side in sides]
    if not np.isfinite([*rough[0], *rough[1]]).all():
        return []
    middle = [float(np.median(side)) for side in rough]
    if max(middle) > _ROUGH_ENOUGH and max(middle) > ROUGHNESS * max(min(middle), 1e-9):
        more = base if middle[0] > middle[1] else name
        times = max(middle) / max(min(middle), 1e-9)
        return [
            Unlike(
                "smoothing",
                f"the curves of {more} are {min(times, 99):.0f} times rougher than the others': they were smoothed differently",
            )
        ]
    return []


def roughness(pull: Pull) -> float:
    """How much the power curve's points scatter about a running mean over 200 rpm, as a share; nan for curves of few points.

    By the median second difference, so that a step in the curve, which may be the gain itself, counts for nothing.
    """
    if len(pull.rpm) < _FINE_POINTS or np.median(np.diff(pull.rpm)) > _FINE_RPM or pull.rpm[-1] - pull.rpm[0] < 4 * SMOOTHED_RPM:
        return np.nan
    rpm, mean = smoothed(pull.rpm, pull.power_kw)
    inside = (pull.rpm >= rpm[0]) & (pull.rpm <= rpm[-1])
    left = pull.power_kw[inside] / np.interp(pull.rpm[inside], rpm, mean) - 1
    return float(1.4826 * np.median(np.abs(np.diff(left, 2))) / np.sqrt(6))
