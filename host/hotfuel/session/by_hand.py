"""Readings that a person took: a mark such as "block 183 degF", or a table (CSV with a time column) kept beside the log.

They are shown as columns and dots, never used as evidence.

The flow of a fuel meter in such a table is used: `flow_l_h` feeds pressures and studies where it is known.
"""

import csv
import io
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from hotfuel import units
from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.places import place_from_words
from hotfuel.text import counted, one_line

TABLES = "readings-*.csv"  # beside the log
TABLE_MAX = 20 << 20  # bytes
DOUBT = (
    "Readings by hand are shown and enter no result: a surface thermometer or thermal camera reads bare, shiny metal far too cool, because it sends "
    "out little of its heat (emissivity 0.05 to 0.3 where tape or matt paint has 0.95, from memory), and a gauge is only as good as its last check."
)
FLOW, USED, RETURN = "fuel_flow", "fuel_used", "return_flow"  # through the line; burnt; returned to the tank
# dimension -> (end of a column's name, least, greatest): a value outside is a slip
DIMENSIONS = {
    "temperature": ("degc", -60.0, 1200.0),
    "pressure": ("kpa", -100.0, 2000.0),
    "volume flow": ("l_h", 0.0, 2000.0),
    "voltage": ("v", -100.0, 1000.0),
}
_UNIT = {unit.casefold(): (dimension, unit) for dimension in reversed(DIMENSIONS) for unit in units.UNITS[dimension]}
_UNIT |= {"l_h": ("volume flow", "L/h")}
_MARK = re.compile(r"\s*([^\W\d][\w ,'/-]{0,39}?)[\s:=]+([-+]?\d{1,6}(?:\.\d{1,6})?)\s*([^\W\d_]\S*|°\S+)\s*")
_HEADING = re.compile(r"\s*(.*?)(?:[ _,]+|\s*[(\[]\s*)([^\s(),\[\]_]+(?:_h)?)\s*[)\]]?\s*")
_TIMES = ("time", "time_utc", "timestamp", "date_time", "datetime", "time_s", "seconds", "utc")
_SINCE = ("time_s", "seconds")
_HELD_STEPS, _HELD_MOST_S = 3.0, 15.0  # values of a table closer together than this are held from one to the next


@dataclass(frozen=True)
class HandReading:
    """One reading: second of the session's timeline, place (a name as in the car file), dimension of hotfuel.units, SI value, whether of a table."""

    seconds: float
    place: str
    dimension: str
    value: float
    of_table: bool = False

    @property
    def column(self) -> str:
        """For example "block_by_hand_degc"."""
        return f"{self.place}_by_hand_{DIMENSIONS[self.dimension][0]}"


def of_mark(text: str) -> tuple[str, str, float] | None:
    """(place, dimension, SI value) of a mark that states a reading; None for any other.

    Example: of_mark("block 183 degF") -> ("block", "temperature", 83.9).
    """
    found = _MARK.fullmatch(text)
    unit = _UNIT.get(found[3].casefold()) if found else None
    if found is None or unit is None:
        return None
    value = units.parse(f"{found[2]} {unit[1]}", unit[0])
    _, least, greatest = DIMENSIONS[unit[0]]
    place = _name(found[1])
    return (place, unit[0], value) if place and least <= value <= greatest else None


def of_marks(marks: Sequence[tuple[float, str]]) -> list[HandReading]:
    """The readings in marks (second of the timeline, text)."""
    return [HandReading(at, *found) for at, text in marks if at == at and (found := of_mark(text)) is not None]


def of_table(
    text: str, name: str, start_s: float, anchored: bool, utc_offset_min: int | None
) -> tuple[list[HandReading], list[str]]:
    """(readings, remarks) of a table: one column of times, every other one headed by its place and unit, "block (degF)".

    start_s: the timeline's second of the session's first reading. Times of day need a session that knows them (anchored); without an offset of their own
    they are the session's local ones. Raises InputError, one sentence.
    """
    head = text.partition("\n")[0]
    separator = max(",;\t", key=head.count)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", pd.errors.ParserWarning)  # a row longer than the headings
            frame = pd.read_csv(
                io.StringIO(text),
                sep=separator,
                engine="python",
                dtype=str,
                skipinitialspace=True,
                on_bad_lines="skip",
                index_col=False,
            )
    except (ValueError, pd.errors.ParserError, OverflowError, csv.Error) as error:
        raise InputError(
            f"{name} is not a table ({one_line(str(error))[:80]}): write one line of headings and one line a moment"
        ) from None
    times = [str(column) for column in frame.columns if place_from_words(str(column).casefold()) in _TIMES]
    if not times:
        raise InputError(
            f'{name} has no column of times: head one "time" (2026-06-01 14:03:00) or "time_s" (seconds since the first reading)'
        )
    at, remarks = _moments(
        frame[times[0]], place_from_words(times[0].casefold()) in _SINCE, name, start_s, anchored, utc_offset_min
    )
    found: list[HandReading] = []
    for column in frame.columns:
        if str(column) == times[0]:
            continue
        told = _heading(str(column))
        if told is None:
            remarks.append(
                f'{name}: the column "{one_line(str(column))[:40]}" is left out: head it with a place and a unit, like "block (degF)".'
            )
            continue
        place, dimension, unit = told
        factor, offset = units.UNITS[dimension][unit]
        written = frame[column] if separator == "," else frame[column].str.replace(",", ".", regex=False)  # a decimal comma
        values = pd.to_numeric(written, errors="coerce").to_numpy(dtype=float) * factor + offset
        _, least, greatest = DIMENSIONS[dimension]
        good = np.isfinite(at) & np.isfinite(values)
        odd = good & ~((values >= least) & (values <= greatest))
        if odd.any():
            remarks.append(
                f'{name}: {counted(int(np.count_nonzero(odd)), "impossible value")} of "{one_line(str(column))[:40]}": left out.'
            )
        use = np.flatnonzero(good & ~odd)
        found += [HandReading(float(at[row]), place, dimension, float(values[row]), True) for row in use]
    if not found:
        raise InputError(
            f'{name} holds no reading: head each column with a place and a unit, like "block (degF)", and give numbers'
        )
    return sorted(found, key=lambda one: one.seconds), remarks


def _moments(
    column: "pd.Series[str]", since: bool, name: str, start_s: float, anchored: bool, utc_offset_min: int | None
) -> tuple[np.ndarray, list[str]]:
    if since:
        return pd.to_numeric(column, errors="coerce").to_numpy(dtype=float) + start_s, []
    if not anchored:
        raise InputError(
            f'{name} has times of day, but the recording has none: head the column "time_s" and give seconds since the first reading'
        )
    at = np.full(len(column), np.nan)
    local = 0
    for row, written in enumerate(column):
        moment = pd.to_datetime(written, errors="coerce") if isinstance(written, str) else pd.NaT
        if isinstance(moment, pd.Timestamp) and not pd.isna(moment):
            naive = moment.tzinfo is None
            local += naive
            at[row] = moment.timestamp() - (60.0 * (utc_offset_min or 0) if naive else 0.0)
    zone = "UTC" if not utc_offset_min else f"{utc_offset_min / 60:+g} h from UTC"
    return at, [f"{name}: times without an offset are taken as the session's own, {zone}."] if local else []


def _heading(text: str) -> tuple[str, str, str] | None:
    """(place, dimension, unit) of a column's heading; None without a unit of these dimensions."""
    found = _HEADING.fullmatch(text)
    unit = _UNIT.get(found[2].casefold()) if found else None
    if found is None or unit is None or not (place := _name(found[1])):
        return None
    return place, *unit


def _name(words: str) -> str:
    plain = re.sub(r"[^\w]+", "_", words.casefold()).strip("_")
    return plain.removesuffix("_by_hand")[:40]


def read_tables(folder: Path, start_s: float, anchored: bool, utc_offset_min: int | None) -> tuple[list[HandReading], list[str]]:
    """(readings, remarks) of all tables beside a log. One that cannot be read is a remark: the recording stays readable."""
    found: list[HandReading] = []
    remarks: list[str] = []
    for path in sorted(folder.glob(TABLES)):
        try:
            readings, told = of_table(text_of(path), path.name, start_s, anchored, utc_offset_min)
        except InputError as error:
            remarks.append(f"{str(error).rstrip('.')}.")
            continue
        found += readings
        remarks += told
    return found, remarks


def text_of(path: Path) -> str:
    """A table's text. Raises InputError, one sentence."""
    refuse_pipe(path)
    try:
        if path.stat().st_size > TABLE_MAX:
            raise InputError(f"{path.name} has more than {TABLE_MAX >> 20} MB: give a table of readings, at most that large")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not UTF-8 text: save it as plain CSV") from None
    except (OSError, ValueError) as error:
        raise InputError(
            f"{path} cannot be read ({getattr(error, 'strerror', None) or error}): give the path of a CSV file"
        ) from None


def columns(readings: Sequence[HandReading], at_s: np.ndarray) -> dict[str, np.ndarray]:
    """name -> (n,) at the ticks' times: a single reading at the nearest tick; a table's values held from one to the next where those are close."""
    found: dict[str, np.ndarray] = {}
    for name in dict.fromkeys(one.column for one in readings):
        mine = sorted((one.seconds, one.value) for one in readings if one.column == name)
        found[name] = at_ticks(np.array([at for at, _ in mine]), np.array([value for _, value in mine]), at_s)
    return found


def at_ticks(seconds: np.ndarray, values: np.ndarray, at_s: np.ndarray) -> np.ndarray:
    """(n,) at rising at_s: values of rising seconds, held while the next is close; else at the nearest tick alone. nan elsewhere."""
    result = np.full(len(at_s), np.nan)
    if not len(at_s) or not len(seconds):
        return result
    step = float(np.median(np.diff(seconds))) if len(seconds) > 1 else np.inf
    if step <= _HELD_MOST_S:
        which = np.searchsorted(seconds, at_s, side="right") - 1
        held = (which >= 0) & (at_s - seconds[np.clip(which, 0, None)] <= min(_HELD_STEPS * step, _HELD_MOST_S))
        result[held] = values[which[held]]
    after = np.clip(np.searchsorted(at_s, seconds), 1, max(len(at_s) - 1, 1))
    nearest = np.where(
        seconds - at_s[after - 1] <= at_s[np.minimum(after, len(at_s) - 1)] - seconds, after - 1, np.minimum(after, len(at_s) - 1)
    )
    near = np.abs(at_s[nearest] - seconds) <= _HELD_MOST_S
    result[nearest[near]] = values[near]
    return result


def flow_l_h(readings: Sequence[HandReading], at_s: np.ndarray, return_l_h: float) -> np.ndarray | None:
    """Measured flow through the line (n,), L/h: a meter in it (FLOW); else what is burnt (USED) and what flows back (RETURN, else the car file's). None
    without a table of either."""
    held = {
        name: at_ticks(np.array([one.seconds for one in mine]), np.array([one.value for one in mine]), at_s)
        for name in (FLOW, USED, RETURN)
        if (mine := [one for one in readings if one.place == name and one.dimension == "volume flow" and one.of_table])
    }
    if FLOW in held:
        return held[FLOW]
    return held[USED] + held.get(RETURN, np.full(len(at_s), return_l_h)) if USED in held else None
