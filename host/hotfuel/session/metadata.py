"""A session's metadata: a registry of keys, each with unit, type and check; kept in session.json.

Unknown keys (of a newer version) are kept and shown unchanged; a value that fails its check is rejected on writing and reported on reading.
"""

import datetime
import json
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hotfuel import text
from hotfuel.errors import InputError
from hotfuel.files import whole

FORMAT = 1
_TEXT_MAX = 2000

Value = str | float | int | bool


@dataclass(frozen=True)
class Key:
    """One row of the registry. `check(value)` returns the value as it is stored or raises InputError; moment: the text is a date and time, in UTC."""

    name: str
    label: str
    kind: type
    unit: str
    check: Callable[[Any], Value]
    moment: bool = False


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > _TEXT_MAX:
        raise InputError(f"allowed is text of at most {_TEXT_MAX} characters")
    return text.checked(value.replace("\r\n", "\n").strip())


def _moment(value: Any) -> str:
    """ISO 8601 with an offset, stored in UTC."""
    try:
        moment = value if isinstance(value, datetime.datetime) else datetime.datetime.fromisoformat(str(value))
    except ValueError:
        raise InputError("allowed is a date and time like 2026-06-01T14:03:00+02:00") from None
    if moment.tzinfo is None:
        raise InputError("the time needs its offset from UTC, like 2026-06-01T14:03:00+02:00")
    return moment.astimezone(datetime.UTC).isoformat(timespec="milliseconds")


def _date(value: Any) -> str:
    try:
        return datetime.date.fromisoformat(str(value)).isoformat()
    except ValueError:
        raise InputError("allowed is a date like 2026-06-01") from None


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise InputError("allowed are true and false")
    return value


def _number(least: float, greatest: float, whole: bool = False) -> Callable[[Any], Value]:
    def check(value: Any) -> Value:
        allowed = f"allowed is a {'whole ' if whole else ''}number from {least:g} to {greatest:g}"
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
            or not least <= value <= greatest
        ):
            raise InputError(allowed)
        if whole and value != int(value):
            raise InputError(allowed)
        return int(value) if whole else float(value)

    return check


def _texts(*rows: tuple[str, str]) -> list[Key]:
    return [Key(name, label, str, "", _text) for name, label in rows]


KEYS: dict[str, Key] = {
    key.name: key
    for key in (
        # entered by a person
        *_texts(
            ("title", "Title"),
            ("customer", "Customer"),
            ("shop", "Shop"),
            ("technician", "Measured by"),
            ("complaint", "Complaint"),
            ("fix", "Fitted"),
            ("before", "Fitted before"),
            ("test_day", "Test day"),
            ("start_when", "Start when"),
            ("work_done", "What was done"),
            ("venue", "Where"),
            ("weather", "Weather"),
            ("note", "Note"),
        ),
        Key("ambient_degc", "Outside air", float, "degC", _number(-60, 70)),
        Key("humidity_percent", "Relative humidity", float, "%", _number(0, 100)),
        Key("fuel_bought_on", "Fuel bought on", str, "", _date),
        # known from the recording
        *_texts(
            ("car", "Car"),
            ("board_id", "Board"),
            ("firmware", "Firmware"),
            ("software", "Recorded with"),
            ("port", "Recorded from"),
        ),
        Key("protocol_version", "Wire protocol", int, "", _number(0, 255, whole=True)),
        Key("period_ms", "Sampling period", int, "ms", _number(1, 65535, whole=True)),
        Key("simulated", "Simulated", bool, "", _flag),
        Key("started", "Started", str, "", _moment, moment=True),
        Key("ended", "Ended", str, "", _moment, moment=True),
        Key("utc_offset_min", "Local time is UTC plus", int, "min", _number(-900, 900, whole=True)),
    )
}


def checked(values: Mapping[str, Any]) -> dict[str, Value]:
    """The values as they are stored. Raises InputError with one sentence a mistake: the key, what was seen, what is allowed."""
    result: dict[str, Value] = {}
    wrong = []
    for name, value in values.items():
        if name not in KEYS:
            wrong.append(f'session data: "{text.one_line(name)}" is not a known key; known are {", ".join(KEYS)}')
            continue
        try:
            result[name] = KEYS[name].check(value)
        except InputError as error:
            seen = f"{value:.5g}" if isinstance(value, float) else text.shown(json.dumps(value, default=str))[:60]
            unit = f" {KEYS[name].unit}".rstrip()
            wrong.append(f"session data: {name} is {seen}: {error}{unit}")
    if wrong:
        raise InputError("\n".join(wrong))
    return result


def write(path: Path, values: Mapping[str, Any]) -> dict[str, Value]:
    """Check and write session.json at once (a crash leaves the old file or the new one); returns what was written. Raises InputError."""
    stored = checked(values)
    written = json.dumps({"format": FORMAT, "metadata": stored}, indent=1, ensure_ascii=False) + "\n"
    with whole(path) as part, open(part, "w", encoding="utf-8") as file:
        file.write(written)
        file.flush()
        os.fsync(file.fileno())
    return stored


def read(path: Path) -> tuple[dict[str, Any], list[str]]:
    """(values, sentences about what could not be used). A missing file means no metadata; a damaged one is reported, never raised."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        stored = found["metadata"]
        if not isinstance(stored, dict):
            raise TypeError("no table")
    except FileNotFoundError:
        return {}, []
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return {}, [f"{path.name} is damaged and was left out; the recording itself does not depend on it."]
    values: dict[str, Any] = {}
    notes = []
    for name, value in stored.items():
        if name not in KEYS:
            safe = text.one_line(str(name))
            if safe in KEYS:
                notes.append(f'{path.name}: a second "{safe}" with other spaces was left out.')
            else:
                values[safe] = text.shown(value) if isinstance(value, str) else value
            continue
        try:
            values[name] = KEYS[name].check(value)
        except InputError as error:
            notes.append(f"{path.name}: {name} was left out: {error}.")
    return values, notes
