"""A session on an even grid of one second: the input of phases, story and comparisons. Gaps are nan, times are seconds since the first reading."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import is_named_air
from hotfuel.risk.margin import Channel
from hotfuel.risk.pressure import TANK_GAUGE, ambient
from hotfuel.session import frame
from hotfuel.session.recording import Session
from hotfuel.session.summary import index_seconds
from hotfuel.study.drive.lap_counts import lap_marks

STEP_S = 1.0
LONGEST_S = 14 * 86400.0
_COLD_S, _COLD_SPREAD_DEGC = 20, 3.0
_INPUTS = ("engine_rpm", "fuel_pressure_kpa", "ignition", "ambient_pressure_kpa", "running", "flow_l_h", TANK_GAUGE)


@dataclass(frozen=True)
class AirFrom:
    """Where the outside air's temperature is from, as nobody stated it: the probe at a place, or "" for the fuel at a cold start."""

    place: str


@dataclass(frozen=True)
class Course:
    """Arrays (n,) at `time_s`: degc {place}, margins {place: {"margin_degc", ...}}, inputs {name}, nan where unknown; marks as (second, text).

    start_s: unix seconds of time zero, nan if the recording has no time of day. channels: the channel of each place, with its calibration.
    """

    name: str
    time_s: np.ndarray
    degc: dict[str, np.ndarray]
    margins: dict[str, dict[str, np.ndarray]]
    inputs: dict[str, np.ndarray]
    marks: tuple[tuple[float, str], ...]
    start_s: float
    car: Car | None = None
    ambient_degc: float = np.nan
    notes: tuple[AirFrom, ...] = field(default=())
    utc_offset_min: int | None = None  # local time where it was recorded; None: unknown
    ambient_guessed: bool = False  # from the fuel's temperature at a cold start
    channels: Mapping[str, Channel] = field(default_factory=dict)
    by_hand: tuple[tuple[float, str, str, float], ...] = ()  # (second, place, dimension, SI value) as a person read them
    simulated: bool = False  # not of a real car
    car_refused: str = ""  # why the session's own car file was left out
    suspected: frozenset[str] = frozenset()  # places whose readings may be none: no cause is sought in them
    unseen_laps: tuple[
        tuple[float, int], ...
    ] = ()  # (second of a lap's mark, how many laps it begins) where the crossings between were not seen

    def without_car(self, so: str) -> InputError:
        """The error that there is no usable car file, with why its own was left out. so: what cannot be told without one."""
        why = f" ({self.car_refused.splitlines()[0].rstrip('.')})" if self.car_refused else ""
        return InputError(f"{self.name} has no usable car file{why}, so {so}: give one")

    @property
    def fuel_places(self) -> tuple[str, ...]:
        """Places that hold fuel, in the car file's order; without one, those that are not named air."""
        if self.car is None:
            return tuple(place for place in self.degc if not is_named_air(place)) or tuple(self.degc)
        return tuple(p.name for p in self.car.places if p.kind.has_limit and p.name in self.degc)

    def air_kpa(self, rows: np.ndarray | slice = slice(None)) -> float:
        """Outside air pressure over these rows: the median of the measured values, else the car file's; nan without either."""
        measured = self.inputs["ambient_pressure_kpa"][rows]
        if np.isfinite(measured).any():
            return float(np.nanmedian(measured))
        return ambient(self.car).pressure_kpa if self.car is not None else np.nan

    def rows(self, start_s: float, end_s: float) -> slice:
        """The rows from start_s up to end_s."""
        first, past = np.searchsorted(self.time_s, (start_s, max(start_s, end_s))).tolist()
        return slice(first, past)

    def cut(self, start_s: float, end_s: float, name: str | None = None) -> "Course":
        """The stretch from start_s up to end_s; times stay as they are."""
        rows = (self.time_s >= start_s) & (self.time_s < end_s)
        if not rows.any():
            raise InputError(f"{name or self.name} has no reading between {start_s:.0f} and {end_s:.0f} s")
        return Course(
            name=name or self.name,
            time_s=self.time_s[rows],
            degc={place: values[rows] for place, values in self.degc.items()},
            margins={place: {key: values[rows] for key, values in columns.items()} for place, columns in self.margins.items()},
            inputs={key: values[rows] for key, values in self.inputs.items()},
            marks=tuple(mark for mark in self.marks if start_s <= mark[0] < end_s),
            start_s=self.start_s,
            car=self.car,
            ambient_degc=self.ambient_degc,
            notes=self.notes,
            utc_offset_min=self.utc_offset_min,
            ambient_guessed=self.ambient_guessed,
            channels=self.channels,
            by_hand=tuple(one for one in self.by_hand if start_s <= one[0] < end_s),
            simulated=self.simulated,
            suspected=self.suspected,
            unseen_laps=tuple(one for one in self.unseen_laps if start_s <= one[0] < end_s),
        )


def of_session(session: Session) -> Course:
    """The course of a `hotfuel.session.Session`. Raises InputError, one sentence, for a session without a reading or longer than two weeks."""
    ticks = session.ticks
    name = session.name
    if not np.isfinite(ticks.degc).any():
        raise InputError(f"{name} has no temperature in it: record first, or give another session")
    rows = ticks.by_second
    seconds = rows.seconds
    start = float(seconds[0])
    if seconds[-1] - start > LONGEST_S:
        raise InputError(
            f"{name} spans {(seconds[-1] - start) / 86400:.0f} days: a session may be at most 14 days long, cut it by runs"
        )
    there = (rows.time_s / STEP_S).astype(int)
    count = int(there[-1]) + 1

    def even(found: np.ndarray) -> np.ndarray:
        """One value for every second, nan in those without a reading."""
        if len(there) == count:
            return found.copy()
        answer = np.full(count, np.nan)
        answer[there] = found
        return answer

    def mean(values: np.ndarray) -> np.ndarray:
        return even(rows.mean(values))

    def largest(values: np.ndarray) -> np.ndarray:
        return even(rows.largest(values))

    car: Car | None = session.car
    margins: dict[str, dict[str, np.ndarray]] = {}
    if car is not None:
        for place, found in session.margin_table.places.items():
            columns = {key: np.broadcast_to(getattr(found, key), seconds.shape) for key in frame.MARGIN_COLUMNS}
            margins[place] = {key: largest(value) if key == "state" else mean(value) for key, value in columns.items()}
    inputs = session.input_arrays()
    marked = marks_of(session)
    crossed, unseen = lap_marks(session, marked)
    degc = {place: mean(values) for place, values in zip(ticks.places, ticks.degc.T, strict=True)}
    ambient_degc, air_from = _ambient(session, car, degc)
    return Course(
        name=name,
        time_s=np.arange(count) * STEP_S,
        degc=degc,
        margins=margins,
        inputs={key: (largest if key in ("ignition", "running") else mean)(inputs[key]) for key in _INPUTS if key in inputs},
        marks=tuple(sorted((at - start, text) for at, text in (*marked, *crossed))),
        start_s=start if isinstance(ticks.index, pd.DatetimeIndex) else np.nan,
        car=car,
        ambient_degc=ambient_degc,
        notes=(air_from,) if air_from is not None else (),
        utc_offset_min=session.metadata.get("utc_offset_min"),
        ambient_guessed=air_from is not None and not air_from.place,
        channels=frame.channels_of(session.descriptions, car, session.calibration) if car is not None else {},
        by_hand=_by_hand(session, start),
        simulated=bool(session.metadata.get("simulated")),
        car_refused=session.car_refused,
        suspected=frozenset(one.place for one in ticks.suspected),
        unseen_laps=tuple((at - start, count) for at, count in unseen),
    )


def _by_hand(session: Session, start: float) -> tuple[tuple[float, str, str, float], ...]:
    told = session.by_hand()
    rows = zip(_seconds(pd.Index(told["time"])), told["place"], told["dimension"], told["value"], strict=True)
    return tuple((float(at) - start, str(place), str(what), float(value)) for at, place, what, value in rows if at == at)


def marks_of(session: Session) -> tuple[tuple[float, str], ...]:
    """(seconds of the session's timeline, text) of the marks a person set."""
    marks = session.marks()
    return tuple(
        (float(s), str(text)) for s, text in zip(_seconds(pd.Index(marks["time"])), marks["text"], strict=True) if s == s
    )


def first_second(session: Session) -> float:
    """The timeline's second of a session's first reading: time zero of its course."""
    return float(_seconds(session.ticks.index[:1])[0])


def _seconds(index: pd.Index) -> np.ndarray:
    if not len(index):
        return np.zeros(0)
    seconds = index_seconds(index)
    return np.where(index.isna(), np.nan, seconds) if index.hasnans else seconds


def outside_air(car: Car, degc: Mapping[str, np.ndarray]) -> tuple[float, str] | None:
    """(median degC, place) of the first probe in the outside air that read anything; None without one. degc: {place: readings}."""
    outside = (p.name for p in car.places if p.kind.outside and p.name in degc and np.isfinite(degc[p.name]).any())
    return next(((float(np.nanmedian(degc[place])), place) for place in outside), None)


def _ambient(session: Session, car: Car | None, degc: dict[str, np.ndarray]) -> tuple[float, AirFrom | None]:
    """(outside air degC, where it is from unless a person stated it): by a probe in it, else the fuel's temperature where all places agree before a cold
    start."""
    stated = session.metadata.get("ambient_degc")
    if stated is not None:
        return float(stated), None
    if car is not None and (measured := outside_air(car, degc)) is not None:
        return measured[0], AirFrom(measured[1])
    wet = [p.name for p in car.places if p.kind.has_limit and p.name in degc] if car else list(degc)
    first = [float(np.nanmedian(degc[p][:_COLD_S])) for p in wet if np.isfinite(degc[p][:_COLD_S]).any()]
    if len(first) > 1 and np.ptp(first) <= _COLD_SPREAD_DEGC:
        return float(np.median(first)), AirFrom("")
    return np.nan, None
