"""Recorded hot soaks, from which a car's own forecasts after a stop learn."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.session import folder as session_folder
from hotfuel.session.recording import Session, open
from hotfuel.session.summary import index_seconds
from hotfuel.stretches import stretches

LEAST_S, MOST_S = 600.0, 3500.0  # a stop shorter than ten minutes has not shown its peak
NEWEST = 40  # earlier recordings read


@dataclass(frozen=True)
class Soak:
    """One place in one stop. time_s (n,): since the stop; degc (n,); onset_degc: boiling onset at the pressure there; air_degc: nan if not known."""

    place: str
    time_s: np.ndarray
    degc: np.ndarray
    air_degc: float
    onset_degc: float

    @property
    def peak_degc(self) -> float:
        """The highest mean over ten seconds, as forecasts count it."""
        steps = (self.time_s // 10).astype(int)
        good = np.isfinite(self.degc)
        total = np.bincount(steps[good], self.degc[good])
        count = np.bincount(steps[good])
        return float(np.max(total[count > 0] / count[count > 0]))


def soaks_of(session: Session) -> list[Soak]:
    """Every stop of at least ten minutes after running, at every place with a limit. Empty without a car file."""
    if session.car is None or not len(session.ticks.seconds):
        return []
    temperatures, table = session.temperatures(), session.margin_table
    seconds = index_seconds(temperatures.index)
    running = session.input_arrays()["running"]
    stated = session.metadata.get("ambient_degc")
    air_degc = float(stated) if stated is not None else np.nan
    found = []
    for first, last in _stops(seconds, running):
        rows = slice(first, last)
        for name in table.places:
            if f"{name}_degc" not in temperatures:
                continue  # behind a needle: the same probe
            degc = temperatures[f"{name}_degc"].to_numpy(dtype=float)[rows]
            pressure_kpa = float(np.nanmedian(table.places[name].pressure_kpa[rows]))
            if np.isfinite(degc).mean() > 0.9 and session.fuel.covers(0.0, pressure_kpa):
                onset_degc = float(session.fuel.bubble_point_degc(pressure_kpa))
                found.append(Soak(name, seconds[rows] - seconds[first], degc, air_degc, onset_degc))
    return found


def earlier(path: Path, car_name: str) -> Iterator[Soak]:
    """The soaks of the same car in the other session folders beside `path`, newest folders first; what cannot be read is skipped."""
    here = path.resolve()
    others = [folder for folder in here.parent.iterdir() if folder != here and (folder / session_folder.LOG).is_file()]
    others.sort(key=lambda folder: (folder / session_folder.LOG).stat().st_mtime, reverse=True)
    for folder in others[:NEWEST]:
        try:
            if car_file.load(folder / session_folder.CAR).name == car_name:
                yield from soaks_of(open(folder))
        except (InputError, OSError):
            continue


def _stops(seconds: np.ndarray, running: np.ndarray) -> Iterator[tuple[int, int]]:
    for first, last in stretches(running == 0):
        last = min(last, int(np.searchsorted(seconds, seconds[first] + MOST_S)))
        if first > 0 and (running[:first] == 1).any() and seconds[last - 1] - seconds[first] >= LEAST_S:
            yield first, last
