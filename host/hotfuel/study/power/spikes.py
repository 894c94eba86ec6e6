"""Rows of a pull that no engine can have driven: a torque that stands alone above the rows on both sides of it."""

import numpy as np

LONGEST_ROWS = 3  # a longer rise is read as driven
WIDEST_RPM = 600.0  # between the rows on both sides: over more than that a narrow power band rises and falls as much
LEAST_SHARE = 0.10  # by how much of the higher of its two neighbours a row has to stand above it
COARSE_SHARE = 0.5  # the same for one row where neighbours lie farther apart
_TIMES_THE_ROUGHNESS = (
    10.0  # and by how many times what rows usually lie off their neighbours: a noisy recording is rough all over
)


def spikes(rpm: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Which rows (n,) of values (n,) at engine speeds rpm (n,), in their order, stand above the rows on both sides, alone or up to LONGEST_ROWS together.

    Only what is too high: a torque that falls and comes back may be a misfire, which happened. The first and the last row have one side only: never.
    The thresholds are our own choice, no source: tests hold narrow bands, late loads, lifts and misfires against them.
    """
    found = np.zeros(len(values), dtype=bool)
    if len(values) < 2 * LONGEST_ROWS + 2:
        return found
    roughness = float(np.median(np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2)))
    for width in range(1, LONGEST_ROWS + 1):
        inside = np.lib.stride_tricks.sliding_window_view(values[1:-1], width).min(axis=1)
        before, after = values[: len(inside)], values[-len(inside) :]
        beside = np.maximum(before, after)
        near = np.abs(rpm[-len(inside) :] - rpm[: len(inside)]) <= WIDEST_RPM
        share = np.where(near, LEAST_SHARE, COARSE_SHARE if width == 1 else np.inf)
        least = np.maximum(share * np.abs(beside), _TIMES_THE_ROUGHNESS * roughness)
        least = np.maximum(
            least, np.abs(after - before)
        )  # where load comes on, or a pull is ended, the two sides differ by more than a top stands out
        for start in np.flatnonzero(inside - beside > least):
            found[start + 1 : start + 1 + width] = True
    return found
