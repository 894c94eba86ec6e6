"""Reading a table of evenly spaced rows and columns by linear interpolation, fast, with nan for what is not there."""

import numpy as np

from hotfuel.fuel.components import Array


def along(curve: Array, row: Array) -> Array:
    """A curve at fractional index `row`, linear between its points; nan where `row` is nan, carried on straight beyond the ends."""
    # fmax and fmin drop a nan, so that the index is one of the table; the nan comes back with the fraction
    i = np.fmin(np.fmax(row, 0), len(curve) - 2).astype(np.intp)
    start = curve.take(i)
    return start + (row - i) * (curve.take(i + 1) - start)


def look_up(values: Array, row: Array, column: Array) -> Array:
    """Bilinear in a table (rows, columns) at fractional indices; nan where either is nan."""
    height, width = values.shape
    i = np.fmin(np.fmax(row, 0), height - 2).astype(np.intp)
    j = np.fmin(np.fmax(column, 0), width - 2).astype(np.intp)
    down, right = row - i, column - j
    flat, at = values.ravel(), i * width + j
    near = flat.take(at)
    near = near + right * (flat.take(at + 1) - near)
    at = at + width
    far = flat.take(at)
    far = far + right * (flat.take(at + 1) - far)
    return near + down * (far - near)
