"""Where on the curve a gain lies, in words that are tested: a third of the curve against the rest of it."""

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


def shape(rpm: np.ndarray, logs: np.ndarray, design: np.ndarray, band: CurveDifference | None) -> Shape:
    """The shape in words. rpm (k,) of the bins; logs (pulls, k), 100 x log of power; design (pulls, columns), first column the side; band: of the curve."""
    nothing = np.full(3, np.nan)
    if band is None or not np.isfinite(band.low).all():
        return Shape(
            nothing, nothing, nothing, "A single pull on a side gives no band for the curve, so nothing is said of its shape."
        )
    thirds = np.minimum(np.arange(len(rpm)) * 3 // len(rpm), 2)
    against = np.column_stack([logs[:, thirds == i].mean(axis=1) - logs[:, thirds != i].mean(axis=1) for i in range(3)])
    tested = curve_difference(against, design)
    low, high = tested.low, tested.high
    return Shape(tested.difference, low, high, *_words(rpm, thirds, band, tested))


def _words(rpm: np.ndarray, thirds: np.ndarray, band: CurveDifference, tested: CurveDifference) -> tuple[str, bool]:
    """(the words, whether they name a part of the curve or a crossing)."""
    gain, loss = band.low > 0, band.high < 0
    if gain.any() and loss.any():
        up_first = rpm[gain].mean() < rpm[loss].mean()
        crossing = (rpm[gain].max() + rpm[loss].min()) / 2 if up_first else (rpm[loss].max() + rpm[gain].min()) / 2
        words = "a gain low down and a loss up top" if up_first else "a loss low down and a gain up top"
        return f"The curves cross near {round(crossing, -1):.0f} rpm: {words}.", True
    if not gain.any() and not loss.any():
        return "No part of the curve stands out from the spread of the pulls.", False
    word, sign = ("gain", 1) if gain.any() else ("loss", -1)
    rest = [abs(float(band.difference[thirds != i].mean())) for i in range(3)]
    ends = tested.low if sign > 0 else -tested.high
    more = [i for i in range(3) if ends[i] > 0 and abs(tested.difference[i]) >= WORTH_NAMING * rest[i]]
    if not more or len(more) == 3:
        whole = f"The {word} is over the whole range: no part of it has more than the rest by as much as the pulls could tell, or a quarter of it."
        return whole, False
    where = " and ".join(WHERE[i] for i in more)
    inside = np.isin(thirds, more)
    biggest = max(more, key=lambda i: sign * tested.difference[i])
    return (
        f"It is a {word} {where} ({rpm[inside].min():.0f} to {rpm[inside].max():.0f} rpm): there {abs(tested.difference[biggest]):.1f} % more than over "
        f"the rest of the curve, between {min(abs(tested.low[biggest]), abs(tested.high[biggest])):.1f} and "
        f"{max(abs(tested.low[biggest]), abs(tested.high[biggest])):.1f} %.",
        True,
    )
