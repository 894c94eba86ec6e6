"""Where on the curve a gain lies: each third of the curve is tested against the rest of it, in per cent and in power.

A gain of equal power at every speed is a larger percentage at low speed, where the engine makes less: a third is named only where it has more by both.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.study.evidence.band import CurveDifference, curve_difference

WORTH_NAMING = 0.25  # of the gain over the rest of the curve: with many pulls even a trifle exceeds the spread

# Kinds of shape.
NO_BAND = "no band"  # a single pull on a side
NOT_ASKED = "not asked"  # the plan asks for the mean alone
CROSSING = "crossing"  # a gain on one side of an engine speed, a loss on the other
NOTHING = "nothing"  # no part of the curve exceeds the spread of the pulls
THROUGHOUT = "throughout"  # no third has more than the rest
SPLIT = "split"  # throughout; one third has more per cent, another more power
SAME_POWER = "same power"  # throughout; the power is the same, so the percentage is larger at low speed
PLACED = "placed"  # some thirds have more by both


@dataclass(frozen=True)
class Shape:
    """Gain of each third over the rest of the curve (3,) in per cent, with the ends of intervals that hold for the three at once; nan for single pulls.

    kind: one of the kinds above. sign: 1 for a gain, -1 for a loss; of a crossing, what the low speeds have. in_percent, in_power: the thirds, from 0 at
    low speed to 2, that have more than the rest. low_rpm, high_rpm: the range of the thirds that have more by both, or both the speed of the crossing.
    """

    more_percent: np.ndarray
    low_percent: np.ndarray
    high_percent: np.ndarray
    kind: str
    sign: int = 1
    in_percent: tuple[int, ...] = ()
    in_power: tuple[int, ...] = ()
    low_rpm: float = np.nan
    high_rpm: float = np.nan

    @property
    def is_placed(self) -> bool:
        """Whether a part of the curve is named, or a crossing."""
        return self.kind in (PLACED, CROSSING)

    @property
    def more_by_both(self) -> tuple[int, ...]:
        """The thirds that have more by per cent and by power."""
        return tuple(i for i in self.in_percent if i in self.in_power)


def unknown(kind: str) -> Shape:
    """The shape where none was tested: kind is NO_BAND or NOT_ASKED."""
    nothing = np.full(3, np.nan)
    return Shape(nothing, nothing, nothing, kind)


def shape(rpm: np.ndarray, logs: np.ndarray, design: np.ndarray, band: CurveDifference | None) -> Shape:
    """The shape. rpm (k,) of the bins; logs (pulls, k), 100 x log of power kW; design (pulls, columns), first column the side; band: of the curve."""
    if band is None or not np.isfinite(band.low).all():
        return unknown(NO_BAND)
    thirds = np.minimum(np.arange(len(rpm)) * 3 // len(rpm), 2)
    tested = curve_difference(_against_rest(logs, thirds), design)
    kw = np.exp(logs / 100)
    in_power = np.linalg.lstsq(design, kw, rcond=None)[0][0], curve_difference(_against_rest(kw, thirds), design)
    return judged(rpm, thirds, band, tested, in_power)


def _against_rest(curves: np.ndarray, thirds: np.ndarray) -> np.ndarray:
    """(pulls, k) -> (pulls, 3): the mean of each third less that of the rest."""
    return np.column_stack([curves[:, thirds == i].mean(axis=1) - curves[:, thirds != i].mean(axis=1) for i in range(3)])


def _more(curve: np.ndarray, tested: CurveDifference, thirds: np.ndarray, sign: int) -> tuple[int, ...]:
    """The thirds that have more of the gain (sign 1) or loss (-1) than the rest, beyond the interval and by as much as is worth naming."""
    rest = [abs(float(curve[thirds != i].mean())) for i in range(3)]
    ends = tested.low if sign > 0 else -tested.high
    return tuple(i for i in range(3) if ends[i] > 0 and abs(tested.difference[i]) >= WORTH_NAMING * rest[i])


def judged(
    rpm: np.ndarray,
    thirds: np.ndarray,
    band: CurveDifference,
    tested: CurveDifference,
    in_power: tuple[np.ndarray, CurveDifference],
) -> Shape:
    """The shape from the band of the curve (k,) and the tests of its thirds (3,). in_power: the curve of the difference (k,) and its thirds, kW."""
    numbers = tested.difference, tested.low, tested.high
    gain, loss = band.low > 0, band.high < 0
    if gain.any() and loss.any():
        gain_first = bool(rpm[gain].mean() < rpm[loss].mean())
        at = (rpm[gain].max() + rpm[loss].min()) / 2 if gain_first else (rpm[loss].max() + rpm[gain].min()) / 2
        return Shape(*numbers, CROSSING, 1 if gain_first else -1, low_rpm=float(at), high_rpm=float(at))
    if not gain.any() and not loss.any():
        return Shape(*numbers, NOTHING)
    sign = 1 if gain.any() else -1
    by_percent, by_power = _more(band.difference, tested, thirds, sign), _more(in_power[0], in_power[1], thirds, sign)
    if not by_percent or len(by_percent) == 3:
        return Shape(*numbers, THROUGHOUT, sign, by_percent, by_power)
    more = [i for i in by_percent if i in by_power]
    if not more:
        return Shape(*numbers, SPLIT if by_power else SAME_POWER, sign, by_percent, by_power)
    inside = np.isin(thirds, more)
    return Shape(*numbers, PLACED, sign, by_percent, by_power, float(rpm[inside].min()), float(rpm[inside].max()))
