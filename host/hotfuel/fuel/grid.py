"""Reading a table of evenly spaced rows and columns by linear interpolation, fast, with nan for what is not there."""

import numpy as np

from hotfuel.fuel.components import Array, Indices


def _cell(place: Array, points: int) -> Indices:
    """The cell a fractional index lies in; nan becomes some cell of the table and comes back with the fraction."""
    with np.errstate(invalid="ignore"):
        cell = np.asarray(place).astype(np.intp)
    return np.minimum(np.maximum(cell, 0), points - 2)


def along(curve: Array, row: Array) -> Array:
    """A curve at fractional index `row`, linear between its points; nan where `row` is nan, carried on straight beyond the ends."""
    i = _cell(row, len(curve))
    start = curve.take(i)
    return start + (row - i) * (curve.take(i + 1) - start)


def look_up(values: Array, row: Array, column: Array) -> Array:
    """Bilinear in a table (rows, columns) at fractional indices; nan where either is nan."""
    height, width = values.shape
    i, j = _cell(row, height), _cell(column, width)
    down, right = row - i, column - j
    flat, at = values.ravel(), i * width + j
    near = flat.take(at)
    near = near + right * (flat.take(at + 1) - near)
    at = at + width
    far = flat.take(at)
    far = far + right * (flat.take(at + 1) - far)
    return near + down * (far - near)
