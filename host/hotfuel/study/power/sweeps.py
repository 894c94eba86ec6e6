"""Where a pull begins and ends: the upward sweeps of engine speed in a file."""

from itertools import pairwise

import numpy as np


def sweeps_up(rpm: np.ndarray, usable: np.ndarray) -> tuple[list[np.ndarray], int]:
    """(rows of each upward sweep, number of rows left out), rpm (n,) and usable (n,).

    A turning point is a reversal by more than a tenth of the speed range, so noise makes none. Sweeps over less than three fifths of the range are left
    out; if none remains (a file in which the speed only falls), all rows are one sweep.
    """
    rows = np.flatnonzero(usable)
    speeds = rpm[rows]
    span = float(speeds.max() - speeds.min())
    if span <= 0:
        return [rows], 0
    turns, low, high = [0], 0, 0
    rising: bool | None = None
    for i, speed in enumerate(speeds):
        high = i if speed >= speeds[high] else high
        low = i if speed < speeds[low] else low  # the first row of a flat minimum: a sweep begins there
        if rising is not False and speed < speeds[high] - span / 10:
            turns.append(high)
            rising, low = False, i
        elif rising is not True and speed > speeds[low] + span / 10:
            turns.append(low)
            rising, high = True, i
    turns = sorted({*turns, len(rows) - 1})
    sweeps = []
    for start, end in pairwise(turns):
        piece = rows[start : end + 1]
        if rpm[piece[-1]] - rpm[piece[0]] >= 0.6 * span:
            sweeps.append(piece)
    if not sweeps:
        return [rows], 0
    return sweeps, len(rows) - sum(len(s) for s in sweeps)
