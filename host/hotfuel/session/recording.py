"""A session as a whole: what `hotfuel.session.open` returns. Everything is computed once, when first needed."""

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from hotfuel import car as car_file
from hotfuel import samples
from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fix_words import names_cooling
from hotfuel.fuel import Fuel
from hotfuel.log.ending import Ending, ending
from hotfuel.log.rescue import Standing, standing
from hotfuel.risk.margin import MarginTable
from hotfuel.samples.decoded import Decoded
from hotfuel.samples.losses import Losses
from hotfuel.session import alarms, by_hand, folder, frame, metadata, more_inputs, positions, summary
from hotfuel.session.folder import SessionFolder
from hotfuel.session.summary import index_seconds
from hotfuel.temperature import trust
from hotfuel.temperature.calibration import Calibration
from hotfuel.text import one_line


@dataclass(repr=False)
class Session:
    """One recording, open for reading. Tables come as new DataFrames with the unit in each column's name; nothing is written.

    `notes`: sentences a reader should see (files left out); `hotfuel.report.session_notes` gathers them and all others. `car` is None if there is
    no usable car file: then there are temperatures and no margins.
    """

    folder: SessionFolder
    decoded: Decoded
    car: Car | None
    car_text: str
    calibration: Calibration | None
    metadata: dict[str, Any]
    notes: list[str] = field(default_factory=list)
    standing: Standing | None = None  # set if part of the log is not on its disk
    car_refused: str = ""  # why the session's own car file was left out
    units_refused: str = ""  # that file's units, if it names any
    ending: Ending | None = None  # how its log breaks off, None for one that ends whole
    take_out: Callable[[str], str] | None = None  # removes names from marks and notes for sharing: hotfuel.session.private

    def __repr__(self) -> str:
        """One line: name, car, when, how long, places. Example: <Session sunday: Blue saloon, 2026-06-01 09:12 UTC, 31 min, tank pump>."""
        if not len(self.ticks.seconds):
            return f"<Session {self.name}: no reading>"
        index, seconds = self.ticks.index, self.ticks.seconds
        began = f"{index[0]:%Y-%m-%d %H:%M} UTC" if self.ticks.timeline.anchored else "time of day unknown"
        car = self.car.name if self.car is not None else "no car file"
        return f"<Session {self.name}: {car}, {began}, {(seconds[-1] - seconds[0]) / 60:.0f} min, {' '.join(self.ticks.places)}>"

    @property
    def units(self) -> str:
        """What its reader reads, "us" or "si": by the car file, even one that was left out for a mistake elsewhere."""
        return self.car.units if self.car is not None else self.units_refused or "si"

    @property
    def descriptions(self) -> dict[int, dict[str, Any]]:
        """Board descriptions by id, as hotfuel_wire.codec.unpack gives them."""
        return self.decoded.descriptions

    @property
    def losses(self) -> Losses:
        """What is missing from the recording: hotfuel.samples' losses."""
        return self.decoded.losses

    @property
    def name(self) -> str:
        """What to call it: its title, else its folder, else its file."""
        lone = self.folder.log_path.name != folder.LOG
        own = self.folder.log_path.stem if lone else self.folder.path.resolve().name
        return one_line(str(self.metadata.get("title") or own))

    @cached_property
    def ticks(self) -> frame.Ticks:
        """The readings as arrays, one row a tick."""
        stated = self.metadata.get("ambient_degc")
        outside_degc = float(stated) if isinstance(stated, int | float) else np.nan
        return frame.ticks(self.decoded, self.car, self.calibration, cooled=self._cooled, outside_degc=outside_degc)

    @property
    def _cooled(self) -> bool:
        """Whether a person named something that cools the fuel, so that a place may be colder than all others."""
        said = [str(self.metadata.get(key) or "") for key in ("title", "fix", "work_done")]
        if self.car is not None:
            said += [self.car.fix or "", *(place.name for place in self.car.places)]
        return any(map(names_cooling, said))

    @cached_property
    def fuel(self) -> Fuel:
        """The fuel of the car file. Raises InputError without one, or for a fuel that is not covered."""
        return self._car().fuel()

    @cached_property
    def margin_table(self) -> MarginTable:
        """The arrays behind `margins()`, with notes. Raises InputError without a car file."""
        car = self._car()
        channels = frame.channels_of(self.descriptions, car, self.calibration)
        return frame.margin_table(self.ticks, self._inputs, car, self.fuel, channels)

    @cached_property
    def _inputs(self) -> pd.DataFrame:
        found = frame.inputs(self.decoded, self.ticks, self.car)
        back = self.car.engine.return_flow_l_h if self.car is not None else 0.0
        flow = by_hand.flow_l_h(self._by_hand[0], self.ticks.seconds, back)
        if flow is None:
            return found
        meter = found[more_inputs.FLOW].to_numpy() if more_inputs.FLOW in found else np.full(len(flow), np.nan)
        return found.assign(flow_l_h=np.where(np.isfinite(flow), flow, meter))  # a table that somebody joined comes first

    @cached_property
    def _by_hand(self) -> tuple[list[by_hand.HandReading], list[str]]:
        """Readings of marks and of tables beside the log, and remarks."""
        marks = self.marks()
        timeline = self.ticks.timeline
        at = index_seconds(pd.Index(marks["time"]))
        found = by_hand.of_marks(list(zip(at.tolist(), marks["text"], strict=True)))
        if self.folder.log_path.name != folder.LOG or not len(self.ticks.seconds):
            return found, []
        told, remarks = by_hand.read_tables(
            self.folder.path, float(self.ticks.seconds[0]), timeline.anchored, self.metadata.get("utc_offset_min")
        )
        return sorted([*found, *told], key=lambda one: one.seconds), remarks

    @cached_property
    def _alarm_spans(self) -> list[alarms.Span]:
        return alarms.spans(self.margin_table, self.ticks.seconds)

    @cached_property
    def _summary(self) -> summary.Summary:
        table = self.margin_table if self.car is not None else None
        fuel_places = {p.name for p in self.car.places if p.kind.has_limit} if self.car else set()
        longest = max(
            (d["period_ms"] / 1000 * frame.HOLE_PERIODS for d in self.descriptions.values()), default=frame.HOLE_LEAST_S
        )
        return summary.summarise(
            frame.temperatures(self.ticks, copy=False),
            table,
            fuel_places & set(self.ticks.places),
            max(longest, frame.HOLE_LEAST_S),
            frame.unheard_s(self.decoded, self.ticks),
            {
                place: trust.IN_SHORT[found[0]]
                for place, reasons in zip(self.ticks.places, self.ticks.reason.T, strict=True)
                if (found := trust.told(reasons))
            },
            self.ticks.by_second,
            _longest_of_each(self.ticks.suspected),
        )

    def temperatures(self) -> pd.DataFrame:
        """(ticks, places) in degC, columns "<place>_degc"; nan where there is none. Index: UTC if the log has wall times, else time deltas."""
        return frame.temperatures(self.ticks)

    def reasons(self) -> pd.DataFrame:
        """Why a temperature is nan: columns "<place>_reason", keys of hotfuel.temperature.counts.REASONS."""
        return frame.reasons(self.ticks)

    def margins(self) -> pd.DataFrame:
        """Columns "<place>_margin_degc", "_limit_degc", "_uncertainty_degc", "_pressure_kpa" (absolute), "_vapour_liquid_ratio", "_state".

        A state is one of the names of hotfuel.risk.level.Level, as a category. For every place with a limit and "<place>_needle" behind a
        carburettor inlet; same index as `temperatures()`. Raises InputError without a car file.
        """
        return frame.margin_frame(self.margin_table, self.ticks.index)

    def inputs(self) -> pd.DataFrame:
        """Columns engine_rpm, fuel_pressure_kpa (gauge), battery_v, ignition, ambient_pressure_kpa, running (1, 0); same index; nan where unknown.

        A column for each input in the car file; flow_l_h too, through the line, where a meter is wired or a table of one was joined.
        """
        return self._inputs.copy()

    def input_arrays(self) -> dict[str, np.ndarray]:
        """The columns of `inputs()` as arrays (ticks,), not copied: not to be written to."""
        return {str(name): column.to_numpy() for name, column in self._inputs.items()}

    def marks(self) -> pd.DataFrame:
        """Columns time, text."""
        found = frame.marks(self.decoded, self.ticks.timeline)
        if self.take_out is not None:
            found["text"] = pd.array([self.take_out(text) for text in found["text"]], dtype="str")
        return found

    @cached_property
    def positions(self) -> positions.Positions | None:
        """Where the car was, from the sentences of a satellite receiver; None if there was none. Private: shared only on request."""
        return positions.of_recording(self.decoded, self.ticks.timeline)

    def by_hand(self) -> pd.DataFrame:
        """Columns time, place, dimension, value (SI): what a person read and marked ("block 183 degF") or joined as a table (`hotfuel readings`)."""
        found = self._by_hand[0]
        return pd.DataFrame(
            {
                "time": self.ticks.timeline.index(np.array([one.seconds for one in found], dtype=float)),
                "place": pd.array([one.place for one in found], dtype="str"),
                "dimension": pd.array([one.dimension for one in found], dtype="str"),
                "value": np.array([one.value for one in found], dtype=float),
            }
        )

    @property
    def by_hand_remarks(self) -> list[str]:
        """What a reader should see about readings by hand: what of a table could not be used, and what they are worth."""
        found, remarks = self._by_hand
        return [*remarks, *([by_hand.DOUBT] if found else [])]

    def by_hand_columns(self) -> pd.DataFrame:
        """The same at the ticks, columns such as "block_by_hand_degc"; same index as `temperatures()`, nan where there is no reading."""
        return pd.DataFrame(by_hand.columns(self._by_hand[0], self.ticks.seconds), index=self.ticks.index)

    def gaps(self) -> pd.DataFrame:
        """Columns start, end, duration_s, reason."""
        return frame.gaps(self.decoded, self.ticks)

    def events(self) -> pd.DataFrame:
        """Columns time, event, place, text: the board's own events."""
        return frame.events(self.decoded, self.ticks.timeline, self.car)

    def alarms(self) -> pd.DataFrame:
        """Columns place, level (a name of hotfuel_wire.alarm.LEVELS), start, end: every alarm while it was on, delays and deadband applied.

        Needs a car file, else InputError.
        """
        found = self._alarm_spans
        index = self.ticks.index
        return pd.DataFrame(
            {
                "place": pd.array([span.place for span in found], dtype="str"),
                "level": pd.array([span.level for span in found], dtype="str"),
                "start": index[[span.first for span in found]],
                "end": index[[span.last for span in found]],
            }
        )

    def suspected(self) -> pd.DataFrame:
        """Columns place, start, end, why: readings that count although they may be none, as of a shorted lead, in a few words."""
        found = self.ticks.suspected
        ends = self.ticks.timeline.index(np.array([[one.from_s, one.until_s] for one in found]).reshape(-1))
        return pd.DataFrame(
            {
                "place": pd.array([one.place for one in found], dtype="str"),
                "start": ends[::2],
                "end": ends[1::2],
                "why": pd.array([trust.PERHAPS[one.why] for one in found], dtype="str"),
            }
        )

    def summary(self) -> summary.Summary:
        """Hottest, smallest margin, when, where. Without a car file there are temperatures only."""
        return self._summary

    def _car(self) -> Car:
        if self.car is None:
            raise InputError(
                f"{self.name} has no usable car file, so there are no limits: put one beside {folder.LOG} as {folder.CAR}, or give one"
            )
        return self.car


def _longest_of_each(found: Sequence[trust.Suspicion]) -> dict[str, tuple[str, float]]:
    """{place: (why its longest such stretch is suspected, how long all of them lasted, s)}."""
    by_place: dict[str, list[trust.Suspicion]] = {}
    for one in found:
        by_place.setdefault(one.place, []).append(one)
    return {
        place: (trust.PERHAPS[max(each, key=lambda one: one.lasted_s).why], sum(one.lasted_s for one in each))
        for place, each in by_place.items()
    }


def open(path: str | Path, car: Car | str | Path | None = None, calibration: Calibration | None = None) -> Session:
    """Open a session folder, or a lone log of any name; also one that was cut off.

    car: a Car, or the path or text of a car file, in place of the session's own; calibration likewise. Raises InputError if there is no recording, or
    the car given has a mistake; a mistake in the session's own files is a note, because the recording must stay readable.
    """
    where = folder.find(path)
    values, notes = metadata.read(where.metadata_path) if where.metadata_path else ({}, [])
    not_whole = broken_off = None
    with contextlib.suppress(OSError):  # a log that cannot be read is named below
        not_whole = standing(where.log_path)
    decoded = samples.decode(where.log_path)
    with contextlib.suppress(OSError):
        broken_off = ending(where.log_path, marks_end=decoded.marks_end, standing=not_whole)
    text = refused = units_refused = ""
    if isinstance(car, str | Path):
        text = str(car) if "\n" in str(car) else Path(car).read_text(encoding="utf-8") if Path(car).is_file() else ""
        chosen: Car | None = car_file.load(car)
    elif car is not None:
        chosen = car
    else:
        chosen = None
        if where.car_path is not None:
            try:
                chosen = car_file.load(where.car_path)
                text = where.car_path.read_text(encoding="utf-8")
            except InputError as error:
                refused = str(error).rstrip(".")
                units_refused = car_file.units_of(where.car_path)
                notes.append(f"The car file was left out, so there are no limits: {refused}.")
    if calibration is None and where.calibration_path is not None:
        try:
            calibration = Calibration.load(where.calibration_path)
        except InputError as error:
            notes.append(f"The calibration was left out: {error}".rstrip(".") + ".")
    if calibration is not None:
        boards = {bytes(description["board_id"]).hex() for description in decoded.descriptions.values()}
        if boards and calibration.board_id not in boards:
            notes.append(
                f"The calibration is of board {calibration.board_id}, the recording of {', '.join(sorted(boards))}: it was left out."
            )
            calibration = None
    notes += _boards(decoded)
    values = {**_from_log(decoded), **values}
    if chosen is not None:
        values.setdefault("car", chosen.name)
    if broken_off is not None:
        notes.append(broken_off.sentence())
    if not len(decoded.scans):
        notes.append("There is no reading in this recording.")
    return Session(where, decoded, chosen, text, calibration, values, notes, not_whole, refused, units_refused, broken_off)


def _from_log(decoded: Decoded) -> dict[str, Any]:
    """Metadata from the log itself, from its last description."""
    if not decoded.descriptions:
        return {}
    last = list(decoded.descriptions.values())[-1]
    return {
        "board_id": bytes(last["board_id"]).hex(),
        "firmware": f"{last['firmware_major']}.{last['firmware_minor']}.{last['firmware_patch']}",
        "protocol_version": int(last["protocol_version"]),
        "period_ms": int(last["period_ms"]),
        "simulated": bool(last["simulated"]),
    }


def _boards(decoded: Decoded) -> list[str]:
    """A sentence about a change of board within one log."""
    boards = list(dict.fromkeys(bytes(told["board_id"]).hex() for told in decoded.descriptions.values()))
    if len(boards) < 2:
        return []
    return [
        f"{len(boards)} boards are in this recording, {' and '.join(boards)}: channels and firmware are given for the last one; "
        "a calibration holds for its own board only."
    ]
