"""Reading a table of evenly spaced rows and columns by linear interpolation, fast, with nan for what is not there."""

import numpy as np

from hotfuel.fuel.components import Array, Indices


def _cell(place: Array, points: int) -> Indices:
    """The cell a fractional index lies in; nan becomes some cell of the table and comes back with the fraction."""
    cell = np.fmax(place, 0.0).astype(np.intp)
    return np.minimum(cell, points - 2)


def along(curve: Array, row: Array) -> Array:
    """A curve, or several (curves, points), at fractional index `row`, linear between its points; nan where `row` is nan, carried on straight beyond
    the ends. Returns row's shape, behind (curves,) if there are several."""
    i = _cell(row, curve.shape[-1])
    return _between(curve.take(i, axis=-1), curve.take(i + 1, axis=-1), row - i)


def _between(start: Array, end: Array, share: Array) -> Array:
    """The straight line from start to end; takes `end` for its result."""
    end -= start
    end *= share
    end += start
    return end


def look_up(values: Array, row: Array, column: Array) -> Array:
    """Bilinear in a table, or several (tables, rows, columns), at fractional indices; nan where either is nan."""
    height, width = values.shape[-2:]
    i, j = _cell(row, height), _cell(column, width)
    down, right = row - i, column - j
    flat, at = values.reshape(*values.shape[:-2], height * width), i * width + j
    near = _between(flat.take(at, axis=-1), flat.take(at + 1, axis=-1), right)
    at += width
    far = _between(flat.take(at, axis=-1), flat.take(at + 1, axis=-1), right)
    return _between(near, far, down)
