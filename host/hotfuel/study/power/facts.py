"""What a file states about a pull besides its curve: time, weather, gear, smoothing, start temperatures; from the lines above the table, or columns."""

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import correction
from hotfuel.study.power.columns import unit_of
from hotfuel.study.power.headings import ideas, plain
from hotfuel.units import UNITS

_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:[T ]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ ,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?")
_CLOCK = re.compile(r"\b(\d{1,2}):(\d{2})(?::(\d{2}))?\b")
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_OFF = {
    "none",
    "off",
    "no",
    "keine",
    "aus",
    "aucune",
    "aucun",
    "ninguna",
    "ninguno",
    "nessuna",
    "nessuno",
    "not",
    "without",
    "ohne",
    "sans",
    "sin",
}
# ideas in the line's words, fact, dimension
_LINES: tuple[tuple[str, str, str], ...] = (
    ("fuel temperature", "fuel", "temperature"),
    ("coolant temperature", "coolant", "temperature"),
    ("oil temperature", "oil", "temperature"),
    ("barometer", "pressure", "pressure"),
    ("air pressure", "pressure", "pressure"),
    ("humidity", "humidity", "percent"),
    ("intake temperature", "intake", "temperature"),
    ("air temperature", "intake", "temperature"),
    ("gear", "gear", ""),
    ("spark", "spark", ""),
    ("smoothing", "smoothing", ""),
)
STARTS = ("coolant", "oil", "intake", "fuel")


@dataclass(frozen=True)
class Facts:
    """The facts of one pull; None or nan if the file does not state them.

    Temperatures degC; starts: {"coolant" | "oil" | "intake" | "fuel": degC at the start}. weather: None unless pressure, intake temperature and humidity
    are all stated. gear_ratio: rpm per km/h if the file has road speed. corrected: as stated in a line above the headings. sweep_rpm_s: engine speed
    gained per second, if the file has a time column.
    """

    driven_at: datetime.datetime | None = None
    number: int | None = None
    weather: correction.Weather | None = None
    gear: float | None = None
    gear_ratio: float = np.nan
    sweep_rpm_s: float = np.nan
    smoothing: str = ""
    intake_degc: float = np.nan
    fuel_degc: float = np.nan
    spark_deg: float = np.nan
    starts: Mapping[str, float] = field(default_factory=dict)
    corrected: bool | None = None


def of_lines(above: Sequence[Sequence[str]]) -> dict[str, object]:
    """{fact: value} from the rows of cells above a table: at, number, pressure, intake, humidity, gear, smoothing, fuel, coolant, oil, corrected."""
    found: dict[str, object] = {}
    for row in above:
        cells = [cell for cell in row if cell.strip()]
        for text in [" ".join(cells)] if len(cells) <= 3 else cells:
            _one_line(text, found)
    return found


def _one_line(text: str, found: dict[str, object]) -> None:
    when = _time(text)
    if when is not None:
        found.setdefault("at", when)
        return
    told = ideas(re.sub(_NUMBER, " ", text))
    for fact, name, dimension in ((set(pattern.split()), name, dimension) for pattern, name, dimension in _LINES):
        if fact <= set(told):
            if name == "smoothing":
                found.setdefault(name, " ".join(plain(text).split()))
            elif (value := _value(text, dimension)) is not None:
                found.setdefault(name, value)
            return
    number = _NUMBER.search(text)
    if told[:1] == ["run"] and number and number.group().isdigit():
        found.setdefault("number", int(number.group()))
    elif "correct" in plain(text) or "korrig" in plain(text) or {"corrected", "uncorrected"} & set(told):
        no = "uncorrected" in told or _OFF & set(told) or re.search(r"\bun(correct|korrig)", plain(text))
        found.setdefault("corrected", not no)


def _value(text: str, dimension: str) -> float | None:
    """The number in a line, SI; None without one, or without a unit it needs."""
    match = _NUMBER.search(text)
    if match is None:
        return None
    number = float(match.group().replace(",", "."))
    if not dimension:
        return number
    rest = text[match.end() :].strip() or text
    unit = (
        unit_of(f"({rest})", dimension) or unit_of(rest.split()[0] if rest.split() else "", dimension) or unit_of(text, dimension)
    )
    unit = unit or next((unit_of(part, dimension) for part in re.split(r"\s+", text) if unit_of(part, dimension)), "")
    if not unit:
        return number if dimension == "percent" else None
    factor, offset = UNITS[dimension][unit]
    return number * factor + offset


def _time(text: str) -> datetime.datetime | None:
    """Day and time of day in a line; None for a day alone, which does not order pulls."""
    for pattern, (year, month, day) in ((_ISO, (0, 1, 2)), (_DOTTED, (2, 1, 0))):
        match = pattern.search(text)
        if match is None:
            continue
        parts = match.groups()
        clock = (
            parts[3:]
            if parts[3]
            else next((found.groups() for found in _CLOCK.finditer(text[: match.start()] + " " + text[match.end() :])), None)
        )
        if clock is None:
            return None
        try:
            return datetime.datetime(
                int(parts[year]), int(parts[month]), int(parts[day]), int(clock[0]), int(clock[1]), int(clock[2] or 0)
            )
        except ValueError:
            return None
    return None


def of_pull(
    told: Mapping[str, object], rpm: np.ndarray, rows: np.ndarray, extra: Mapping[str, np.ndarray], number: int | None
) -> Facts:
    """The facts of one sweep, from the lines above (`told`) and columns (n,) of the whole file, SI; rows: the sweep's, in the order driven."""

    def mean(name: str) -> float:
        values = extra[name][rows] if name in extra else np.zeros(0)
        good = values[np.isfinite(values)]
        return float(good.mean()) if good.size else _float(told.get({"barometer": "pressure"}.get(name, name)))

    starts = {}
    for name in STARTS:
        values = extra[name][rows] if name in extra else np.zeros(0)
        good = values[np.isfinite(values)][: max(len(rows) // 10, 1)]
        value = float(good.mean()) if good.size else _float(told.get(name))
        if np.isfinite(value):
            starts[name] = value
    pressure, intake, humidity = mean("barometer"), mean("intake"), mean("humidity")
    weather = None
    if np.isfinite([pressure, intake, humidity]).all():
        try:
            weather = correction.weather(pressure, intake, relative_humidity_percent=humidity)
        except InputError:
            weather = None  # out of range: the sensor was not connected
    gear = mean("gear")
    at = told.get("at")
    run = told.get("number")
    corrected = told.get("corrected")
    return Facts(
        driven_at=at if isinstance(at, datetime.datetime) else None,
        number=number if number is not None else run if isinstance(run, int) else None,
        weather=weather,
        gear=round(gear, 2) if np.isfinite(gear) else None,
        gear_ratio=_ratio(rpm[rows], extra["speed"][rows]) if "speed" in extra else np.nan,
        sweep_rpm_s=_sweep(rpm[rows], extra["time"][rows]) if "time" in extra else np.nan,
        smoothing=str(told.get("smoothing", "")),
        intake_degc=intake,
        fuel_degc=mean("fuel"),
        spark_deg=mean("spark"),
        starts=starts,
        corrected=corrected if isinstance(corrected, bool) else None,
    )


def _float(value: object) -> float:
    return float(value) if isinstance(value, int | float) else np.nan


def _ratio(rpm: np.ndarray, speed_km_h: np.ndarray) -> float:
    good = np.isfinite(rpm) & (speed_km_h > 5)
    return float(np.median(rpm[good] / speed_km_h[good])) if good.any() else np.nan


def _sweep(rpm: np.ndarray, time_s: np.ndarray) -> float:
    """Engine speed gained a second over the middle four fifths of the sweep."""
    good = np.isfinite(rpm) & np.isfinite(time_s)
    x, y = time_s[good], rpm[good]
    if len(x) < 5:
        return np.nan
    cut = len(x) // 10
    x, y = x[cut : len(x) - cut], y[cut : len(y) - cut]
    return float((y[-1] - y[0]) / (x[-1] - x[0])) if x[-1] > x[0] else np.nan


def si(values: np.ndarray, dimension: str, unit: str) -> np.ndarray:
    """Numbers in `unit` as SI."""
    factor, offset = UNITS[dimension][unit]
    return values * factor + offset
