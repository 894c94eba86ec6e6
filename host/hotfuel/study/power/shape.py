"""Where on the curve a gain lies, in words that are tested: a third of the curve against the rest of it, in per cent and in power.

The same power more at every speed is more per cent low down, where the engine makes less: a third is named only where it has more by both.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.study.evidence.band import CurveDifference, curve_difference

WHERE = ("low down", "in the middle", "up top")
WORTH_NAMING = 0.25  # of the gain over the rest of the curve: with many pulls even a trifle is beyond the spread


@dataclass(frozen=True)
class Shape:
    """Gain of each third over the rest of the curve (3,) in per cent, with the ends of intervals that hold for the three at once; nan for single pulls."""

    more_percent: np.ndarray
    low_percent: np.ndarray
    high_percent: np.ndarray
    words: str
    is_placed: bool = False  # whether the words name a part of the curve, or a crossing


def shape(rpm: np.ndarray, logs: np.ndarray, design: np.ndarray, band: CurveDifference | None, unit: str = "kW") -> Shape:
    """The shape in words. rpm (k,) of the bins; logs (pulls, k), 100 x log of power kW; design (pulls, columns), first column the side; band: of the curve.

    unit: the reader's, of power.
    """
    nothing = np.full(3, np.nan)
    if band is None or not np.isfinite(band.low).all():
        return Shape(
            nothing, nothing, nothing, "A single pull on a side gives no band for the curve, so nothing is said of its shape."
        )
    thirds = np.minimum(np.arange(len(rpm)) * 3 // len(rpm), 2)
    tested = curve_difference(_against_rest(logs, thirds), design)
    kw = np.exp(logs / 100)
    in_power = np.linalg.lstsq(design, kw, rcond=None)[0][0], curve_difference(_against_rest(kw, thirds), design)
    return Shape(tested.difference, tested.low, tested.high, *_words(rpm, thirds, band, tested, in_power, unit))


def _against_rest(curves: np.ndarray, thirds: np.ndarray) -> np.ndarray:
    """(pulls, k) -> (pulls, 3): the mean of each third less that of the rest."""
    return np.column_stack([curves[:, thirds == i].mean(axis=1) - curves[:, thirds != i].mean(axis=1) for i in range(3)])


def _more(curve: np.ndarray, tested: CurveDifference, thirds: np.ndarray, sign: int) -> list[int]:
    """The thirds that have more of the gain (sign 1) or loss (-1) than the rest, beyond the doubt and by as much as is worth naming."""
    rest = [abs(float(curve[thirds != i].mean())) for i in range(3)]
    ends = tested.low if sign > 0 else -tested.high
    return [i for i in range(3) if ends[i] > 0 and abs(tested.difference[i]) >= WORTH_NAMING * rest[i]]


def _words(
    rpm: np.ndarray,
    thirds: np.ndarray,
    band: CurveDifference,
    tested: CurveDifference,
    in_power: tuple[np.ndarray, CurveDifference],
    unit: str = "kW",
) -> tuple[str, bool]:
    """(the words, whether they name a part of the curve or a crossing). in_power: the curve of the difference (k,) and its thirds, kW."""
    gain, loss = band.low > 0, band.high < 0
    if gain.any() and loss.any():
        up_first = rpm[gain].mean() < rpm[loss].mean()
        crossing = (rpm[gain].max() + rpm[loss].min()) / 2 if up_first else (rpm[loss].max() + rpm[gain].min()) / 2
        words = "a gain low down and a loss up top" if up_first else "a loss low down and a gain up top"
        return f"The curves cross near {round(crossing, -1):.0f} rpm: {words}.", True
    if not gain.any() and not loss.any():
        return "No part of the curve stands out from the spread of the pulls.", False
    word, sign = ("gain", 1) if gain.any() else ("loss", -1)
    in_percent, by_power = _more(band.difference, tested, thirds, sign), _more(in_power[0], in_power[1], thirds, sign)
    if not in_percent or len(in_percent) == 3:
        whole = f"The {word} is over the whole range: no part of it has more per cent than the rest by as much as the pulls could tell, or a quarter of it."
        return whole, False
    where = " and ".join(WHERE[i] for i in in_percent)
    more = [i for i in in_percent if i in by_power]
    if not more and by_power:
        return (
            f"The {word} is over the whole range: larger {where} in per cent, {' and '.join(WHERE[i] for i in by_power)} in {unit}.",
            False,
        )
    if not more:
        same = f"The {word} is about the same number of {unit} throughout, which is more per cent {where}, where the engine makes less."
        return same, False
    where = " and ".join(WHERE[i] for i in more)
    inside = np.isin(thirds, more)
    biggest = max(more, key=lambda i: sign * tested.difference[i])
    return (
        f"It is a {word} {where} ({rpm[inside].min():.0f} to {rpm[inside].max():.0f} rpm): there {abs(tested.difference[biggest]):.1f} % more than over "
        f"the rest of the curve, between {min(abs(tested.low[biggest]), abs(tested.high[biggest])):.1f} and "
        f"{max(abs(tested.low[biggest]), abs(tested.high[biggest])):.1f} %.",
        True,
    )
