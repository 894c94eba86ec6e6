"""Fast linear interpolation in a table of evenly spaced rows and columns; missing values give nan."""

from collections.abc import Sequence

import numpy as np

from hotfuel.fuel.components import Array, Indices


def _cell(place: Array, points: int) -> Indices:
    """The cell a fractional index lies in; nan gets an arbitrary cell; its fraction stays nan, and so does the result."""
    cell = np.fmax(place, 0.0).astype(np.intp)
    return np.minimum(cell, points - 2)


def along(curve: Array, row: Array) -> Array:
    """A curve at fractional index `row`, linear between its points; nan where `row` is nan, extrapolated in a straight line beyond the ends."""
    return along_each((curve,), row)[0]


def along_each(curves: Sequence[Array], row: Array) -> list[Array]:
    """`along` several curves of one length. One array each: a stack of them would be three times as slow to gather."""
    i = _cell(row, len(curves[0]))
    share, after = row - i, i + 1
    return [_between(curve.take(i), curve.take(after), share) for curve in curves]


def _between(start: Array, end: Array, share: Array) -> Array:
    """Linear interpolation from start to end; overwrites `end` with the result."""
    end -= start
    end *= share
    end += start
    return end


def look_up(values: Array, row: Array, column: Array) -> Array:
    """Bilinear in a table (rows, columns) at fractional indices; nan where either is nan."""
    return look_up_each((values,), row, column)[0]


def look_up_each(tables: Sequence[Array], row: Array, column: Array) -> list[Array]:
    """`look_up` in several tables of one shape."""
    height, width = tables[0].shape
    i, j = _cell(row, height), _cell(column, width)
    if i.size == 1:  # between the same two rows for all: no table to gather from
        lines = (along_each((values[i.item()], values[i.item() + 1]), column) for values in tables)
        return [_between(near, far, row - i) for near, far in lines]
    down, right, at = row - i, column - j, i * width + j
    corners = (at, at + 1, at + width, at + (width + 1))
    found = []
    for values in tables:
        flat = values.ravel()
        near, near_right, far, far_right = (flat.take(corner) for corner in corners)
        found.append(_between(_between(near, near_right, right), _between(far, far_right, right), down))
    return found
