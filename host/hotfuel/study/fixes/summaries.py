"""One number a run, place and phase: what a comparison works on. Neighbouring samples are no independent evidence; runs are."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.session.means import smoothed
from hotfuel.study.fixes.faults import Fault, excused

if TYPE_CHECKING:
    from hotfuel.study.fixes.read_by_hand import HandMedian

_LEAST_BLOCKS = 5

MARGIN = "smallest margin"
PEAK = "hottest"
MEAN = "mean"
WHOLE_RUN = "whole run"  # instead of phases, where the recordings tell none


@dataclass(frozen=True)
class Cell:
    """A question's subject: which number (`quantity`), at which place, in which phase."""

    quantity: str
    place: str
    phase: str

    @property
    def better(self) -> int:
        """1 where more is better (room to boiling), -1 where less is (a temperature)."""
        return 1 if self.quantity == MARGIN else -1

    def words(self) -> str:
        """For example "hottest at pump, hot soak"."""
        return f"{self.quantity} at {place_words(self.place)}, {self.phase}"


@dataclass(frozen=True)
class Filled:
    """The fuel in the tank: its class, else its vapour pressure, kPa; and its ethanol, volume per cent. blend: its parts in words, of a blend."""

    class_: str | None = None
    vapour_pressure_kpa: float | None = None
    ethanol_vol: float = 0.0
    blend: str | None = None


@dataclass(frozen=True)
class Beyond:
    """A place that was beyond its limit in a phase, as it was driven: its smallest margin, degC, nan where the pressure left no limit."""

    place: str
    phase: str
    margin_degc: float


@dataclass(frozen=True)
class Run:
    """One run of one variant, its summaries and the conditions it was driven under. Unknown conditions are nan, None or empty.

    values: {Cell: degC}, temperatures already as rise over ambient plus the common reference, margins as they would be there.
    inside: {Cell: standard error inside the run, degC}.
    sensor: {place: name of the probe, chip and calibration it was read with}; sensor_u_degc: {place: standard uncertainty of that reading}.
    day: the date it was driven on, "" if unknown; night: it began after midnight and counts to the day before. ambient_u_degc: standard uncertainty of its
    outside air.
    brought_to_degc: the one outside air that the values were brought to. phase_s: {phase: seconds of it compared}.
    stock_degc: the fuel at the first place as the run began, adjusted as the values are. faults: what excludes it from which questions. cold_degc: {place:
    how far it read from the middle of all places while all were cold and at one temperature}, empty where the run did not begin so.
    perhaps_degc: {place: how much warmer than the outside air it began, alone, as in every such run of its side and of no other: warm, or read high}.
    """

    name: str
    variant: str
    session: str
    values: dict[Cell, float]
    inside: dict[Cell, float]
    start_s: float = np.nan
    duration_s: float = np.nan
    ambient_degc: float = np.nan
    ambient_pressure_kpa: float = np.nan
    start_degc: float = np.nan
    fuel: Filled | None = None
    car: str = ""
    sensor: dict[str, str] | None = None
    sensor_u_degc: dict[str, float] | None = None
    day: str = ""
    night: bool = False
    ambient_u_degc: float = 0.0
    brought_to_degc: float = np.nan
    phase_s: dict[str, float] | None = None
    stock_degc: float = np.nan
    faults: tuple[Fault, ...] = ()
    cold_degc: dict[str, float] | None = None
    perhaps_degc: dict[str, float] | None = None
    start_place: str = ""  # where start_degc was read
    by_hand: tuple["HandMedian", ...] = ()  # what a person read; enters no calculation
    beyond: tuple[Beyond, ...] = ()  # as driven: of its own fuel, air and pressure, not brought to any others
    laps: int = 0  # that count, where it was driven in laps
    unread_s: dict[str, float] | None = (
        None  # {place in the fuel: how long it was not read}, where that was long; nan: never measured
    )


def mean_and_error(time_s: npt.ArrayLike, values: npt.ArrayLike) -> tuple[float, float]:
    """(mean, its standard error inside the run) of autocorrelated samples (n,), by blocks long enough to be independent.

    Block length: four times the time over which the autocorrelation falls below 1/e, at least five blocks; nan error where the run is too short.
    The error describes this run only. It says nothing of how the next run would differ and is never used for a verdict.
    """
    t, x = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if not len(x):
        return np.nan, np.nan
    mean = float(x.mean())
    if len(x) < 4 * _LEAST_BLOCKS:
        return mean, np.nan
    blocks = len(x) // max(1, 4 * _memory(x - mean))
    if blocks < _LEAST_BLOCKS:
        return mean, np.nan
    means = np.array([part.mean() for part in np.array_split(x, blocks)])
    return mean, float(means.std(ddof=1) / np.sqrt(blocks))


def _memory(deviation: np.ndarray) -> int:
    """Samples after which the autocorrelation first falls below 1/e."""
    variance = float(deviation @ deviation)
    if variance == 0:
        return 1
    size = 1 << (2 * len(deviation) - 1).bit_length()
    spectrum = np.fft.rfft(deviation, size)
    correlation = np.fft.irfft(np.abs(spectrum) ** 2, size)[: len(deviation)] / variance
    below = np.flatnonzero(correlation < np.exp(-1))
    return int(below[0]) if below.size else len(deviation)


def summarise(
    time_s: npt.ArrayLike,
    temperature_degc: npt.ArrayLike,
    margin_degc: npt.ArrayLike | None,
    place: str,
    phase: str,
    shift_degc: float = 0.0,
) -> tuple[dict[Cell, float], dict[Cell, float]]:
    """(values, inside-run errors) of one place in one phase. `shift_degc` (reference ambient minus this run's) is added to every temperature and
    subtracted from every margin.

    The mean, the hottest 10 s mean, and at a place with a limit the smallest margin of 10 s means.
    """
    values: dict[Cell, float] = {}
    inside: dict[Cell, float] = {}
    mean, error = mean_and_error(time_s, temperature_degc)
    if not np.isfinite(mean):
        return values, inside
    values[Cell(MEAN, place, phase)], inside[Cell(MEAN, place, phase)] = mean + shift_degc, error
    if margin_degc is not None and np.isfinite(np.asarray(margin_degc, dtype=float)).any():
        smallest = float(np.nanmin(smoothed(time_s, margin_degc)))
        values[Cell(MARGIN, place, phase)], inside[Cell(MARGIN, place, phase)] = smallest - shift_degc, np.nan
    hottest = float(np.nanmax(smoothed(time_s, temperature_degc)))
    values[Cell(PEAK, place, phase)], inside[Cell(PEAK, place, phase)] = hottest + shift_degc, np.nan
    return values, inside


def has(run: Run, cell: Cell) -> bool:
    """Whether the run has that number and no fault excludes it."""
    return bool(np.isfinite(run.values.get(cell, np.nan))) and not excused(run, cell)


def shared_cells(runs: Sequence[Run]) -> list[Cell]:
    """Cells that every run has, apart from runs that a fault excludes, and that leave each variant two runs (one, where it had one); in order of appearance.

    Raises InputError where there is none.
    """
    if not runs:
        raise InputError("there is no run to compare")
    counts = Counter(run.variant for run in runs)
    cells = []
    for cell in dict.fromkeys(cell for run in runs for cell in run.values):
        kept = Counter(run.variant for run in runs if has(run, cell))
        whole = all(has(run, cell) or excused(run, cell) for run in runs)
        if whole and all(kept[name] >= min(2, count) for name, count in counts.items()):
            cells.append(cell)
    if not cells:
        raise InputError(
            "the runs have no place and phase in common: compare sessions with the same places and the same kind of driving"
        )
    return cells
