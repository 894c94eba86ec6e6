"""Type K: temperature to EMF by the NIST reference function, and back.

E(t) = sum c_i t^i + a0 exp(a1 (t - a2)^2), the exponential only above 0 degC; E in mV against an ice-point reference, t in degC (ITS-90).
Source: G. W. Burns et al., NIST Monograph 175, 1993, as distributed in NIST Standard Reference Database 60; coefficients in data/type_k.csv.

The inverse does not use NIST's inverse polynomials, which are up to 0.06 degC off: it interpolates a table of the exact inverse linearly, one cell per
1/256 mV. Its error is below 0.2 mK (tests/bench/bench_thermocouple.py).
"""

import csv
import functools
import threading
from importlib import resources

import numpy as np
import numpy.typing as npt

LEAST_DEGC, GREATEST_DEGC = -200.0, 1372.0  # range of the inverse; E(t) itself is defined from -270 degC
_FORWARD_LEAST_DEGC = -270.0
_CELLS_PER_UNIT = 256  # cells of the tables per mV and per degC; a power of two, see _Cells
_COLD_LEAST_DEGC, _COLD_GREATEST_DEGC = -60.0, 130.0  # covers the internal sensor of every supported chip
_COLD_SLOPE = 0.0405  # mV/degC, the middle of that range
_BLOCK = 1 << 16  # samples converted at a time: scratch of that size stays in the processor's cache


@functools.cache
def _coefficients() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(below 0 degC, above 0 degC: highest order first, as numpy.polyval wants them; the exponential's a0, a1, a2)."""
    text = resources.files("hotfuel.temperature").joinpath("data/type_k.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))

    def series(term: str, below: bool) -> np.ndarray:
        chosen = [row for row in rows if row["term"] == term and (float(row["t_max_degc"]) <= 0) == below]
        return np.array([float(row["value"]) for row in sorted(chosen, key=lambda row: int(row["order"]))])

    return series("power", True)[::-1], series("power", False)[::-1], series("exponential", False)


def emf_mv(temperature_degc: npt.ArrayLike) -> np.ndarray:
    """EMF of a type K thermocouple against an ice-point reference.

    temperature_degc: any shape, -270 to 1372 degC; outside (and nan) gives nan. Returns mV, the same shape.
    Source: NIST Monograph 175. Example: emf_mv(100.0) -> 4.096 mV.
    """
    degc = np.asarray(temperature_degc, dtype=float)
    below, above, (a0, a1, a2) = _coefficients()
    cold = degc <= 0  # this form is exactly 0 at 0 degC, the other is 1e-9 mV off
    with np.errstate(over="ignore", invalid="ignore", under="ignore"):
        emf = np.polyval(above, degc) + a0 * np.exp(a1 * (degc - a2) ** 2)
        if cold.any():
            emf = np.where(cold, np.polyval(below, degc), emf)
    inside = (degc >= _FORWARD_LEAST_DEGC) & (degc <= GREATEST_DEGC)
    return emf if inside.all() else np.where(inside, emf, np.nan)


def seebeck_mv_per_degc(temperature_degc: npt.ArrayLike) -> np.ndarray:
    """dE/dt of the reference function, mV/degC, any shape; nan outside -270 to 1372 degC. Example: seebeck_mv_per_degc(25.0) -> 0.040518."""
    degc = np.asarray(temperature_degc, dtype=float)
    below, above, (a0, a1, a2) = _coefficients()
    with np.errstate(over="ignore", invalid="ignore", under="ignore"):
        slope_above = np.polyval(np.polyder(above), degc) + 2 * a0 * a1 * (degc - a2) * np.exp(a1 * (degc - a2) ** 2)
        slope = np.where(degc <= 0, np.polyval(np.polyder(below), degc), slope_above)
    return np.where((degc >= _FORWARD_LEAST_DEGC) & (degc <= GREATEST_DEGC), slope, np.nan)


class _Cells:
    """Finds the table cell of each number in two passes: the number rounded to the nearest 1/256. The first and the last cell are guards.

    Adding 1.5 * 2**44 leaves no room for bits below 1/256, so the sum's bits, read as an integer, count 256ths. Numbers out of range, infinities and nan
    give an index far outside, and `take(mode="clip")` then reads a guard.
    """

    _BIG = 1.5 * 2.0**52 / _CELLS_PER_UNIT
    _BITS = int(np.array(_BIG).view(np.int64))

    def __init__(self, least: float, greatest: float):
        first, last = round(least * _CELLS_PER_UNIT), round(greatest * _CELLS_PER_UNIT)
        self.centres = np.arange(first, last + 1) / _CELLS_PER_UNIT
        self._bits_of_first = self._BITS + first

    def find(self, points: np.ndarray, scratch: np.ndarray, index: np.ndarray) -> None:
        np.add(points, self._BIG, out=scratch)
        np.subtract(scratch.view(np.int64), self._bits_of_first, out=index)


def _guarded(values: np.ndarray) -> np.ndarray:
    values[[0, -1]] = np.nan
    return values


class _Inverse:
    """E to t: in each cell the straight line through the exact inverse at the cell's two ends; nan in the guards."""

    def __init__(self) -> None:
        self.cells = _Cells(*emf_mv([LEAST_DEGC, GREATEST_DEGC]))
        ends = np.append(self.cells.centres, self.cells.centres[-1] + 1 / _CELLS_PER_UNIT) - 0.5 / _CELLS_PER_UNIT
        degc = _newton(ends)
        self.slope = np.diff(degc) * _CELLS_PER_UNIT
        self.base = _guarded(degc[:-1] - self.slope * ends[:-1])

    def __call__(self, total: np.ndarray, out: np.ndarray, scratch: np.ndarray, index: np.ndarray) -> None:
        self.cells.find(total, scratch, index)
        np.take(self.slope, index, out=scratch, mode="clip")
        scratch *= total
        np.take(self.base, index, out=out, mode="clip")
        out += scratch


class _ColdEmf:
    """E(t) of terminals: one slope for all cells, plus in each cell the remainder of the exact value at its centre; nan in the guards."""

    def __init__(self) -> None:
        self.cells = _Cells(_COLD_LEAST_DEGC, _COLD_GREATEST_DEGC)
        self.rest = _guarded(emf_mv(self.cells.centres) - _COLD_SLOPE * self.cells.centres)

    def __call__(self, cold_degc: np.ndarray, out: np.ndarray, scratch: np.ndarray, index: np.ndarray) -> None:
        self.cells.find(cold_degc, scratch, index)
        np.take(self.rest, index, out=out, mode="clip")
        np.multiply(cold_degc, _COLD_SLOPE, out=scratch)
        out += scratch


def _newton(emf: np.ndarray) -> np.ndarray:
    """The exact inverse by Newton's method on the reference function, clipped to -200 and 1372 degC."""
    guess_degc = np.linspace(LEAST_DEGC, GREATEST_DEGC, 4096)
    degc = np.interp(emf, emf_mv(guess_degc), guess_degc)
    for _ in range(4):
        degc = np.clip(degc - (emf_mv(degc) - emf) / seebeck_mv_per_degc(degc), LEAST_DEGC, GREATEST_DEGC)
    return degc


class _Bench(threading.local):
    """The tables, and scratch arrays that are reused because allocating costs more than the computation. One of each per thread."""

    def __init__(self) -> None:
        self.inverse, self.cold_emf = _tables()
        self.sums, self.scratch, self.index = np.empty(_BLOCK), np.empty(_BLOCK), np.empty(_BLOCK, dtype=np.int64)


@functools.cache
def _tables() -> tuple[_Inverse, _ColdEmf]:
    return _Inverse(), _ColdEmf()


@functools.cache
def _bench() -> _Bench:
    return _Bench()


def temperature_degc(emf_mv: npt.ArrayLike, cold_junction_degc: npt.ArrayLike = 0.0) -> np.ndarray:
    """Temperature of the measuring junction from the EMF at the terminals and the terminals' temperature: EMFs add, temperatures do not.

    emf_mv and cold_junction_degc: any shapes that broadcast, mV and degC. Returns degC, the broadcast shape, within 1 mK of the exact inverse of
    the NIST reference function over -200 to 1372 degC; nan outside and where an input is nan or a cold junction lies outside -270 to 1372 degC.
    Source: NIST Monograph 175. Example: temperature_degc(1.02932, 35.0) -> 60.0.
    """
    measured, cold = np.asarray(emf_mv, dtype=float), np.asarray(cold_junction_degc, dtype=float)
    shape = measured.shape if measured.shape == cold.shape else np.broadcast_shapes(measured.shape, cold.shape)
    one_cold = cold.size == 1
    if one_cold:
        measured = measured + _reference_emf_mv(cold)
        cold = np.zeros(())
    measured, cold = (
        values.reshape(-1) if values.shape == shape else np.broadcast_to(values, shape).reshape(-1) for values in (measured, cold)
    )
    out = np.empty(measured.shape)
    bench = _bench()
    sums, scratch, index = bench.sums, bench.scratch, bench.index
    with np.errstate(over="ignore"):  # of numbers near the largest float; they end in a guard
        for start in range(0, out.size, _BLOCK):
            block = slice(start, start + _BLOCK)
            total, result = measured[block], out[block]
            n = result.size
            if not one_cold:
                bench.cold_emf(cold[block], sums[:n], scratch[:n], index[:n])
                total = np.add(sums[:n], total, out=sums[:n])
            bench.inverse(total, result, scratch[:n], index[:n])
            if np.isnan(result.sum()):
                _fill_without_tables(measured[block], cold[block], result)
    return out.reshape(shape)


def _fill_without_tables(measured_mv: np.ndarray, cold_degc: np.ndarray, result: np.ndarray) -> None:
    """Compute what the tables left as nan: at the end of their range, or really outside."""
    missing = np.flatnonzero(np.isnan(result))
    total = measured_mv[missing] + _reference_emf_mv(cold_degc[missing])
    # a sum may be one rounding error out of range
    least, greatest = np.add(_reference_emf_mv([LEAST_DEGC, GREATEST_DEGC]), (-1e-9, 1e-9))
    inside = (total >= least) & (total <= greatest)
    result[missing[inside]] = _newton(total[inside])


_reference_emf_mv = emf_mv  # inside temperature_degc the name is an argument's
