"""A session in file formats of other programs: CSV, Parquet, ASAM MDF4. The unit is in each column's name and, where the format has a place for it, there too.

Parquet holds true degrees as 32-bit floats on a grid of 1/128 degC (a tenth of the amplifiers' noise), split into bytes and compressed: about 1.3
bytes a value, readable by any program that reads Parquet.
"""

import contextlib
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hotfuel.errors import InputError
from hotfuel.files import refuse_anothers, whole
from hotfuel.session.recording import Session
from hotfuel.session.summary import index_seconds
from hotfuel.units import Shown

if TYPE_CHECKING:
    import pyarrow as pa

# Ending -> what writes it, and where that comes from.
LIBRARIES = {
    ".parquet": ("pyarrow", "pip install 'hotfuel[parquet]', or write .csv"),
    ".mf4": ("asammdf", "pip install 'hotfuel[mdf]', or write .csv"),
}
GRID = 128.0  # steps per unit of a stored float
# At this size two neighbouring 32-bit floats are 1/128 apart: adding it and taking it off again rounds to the grid, for values below 32768.
_SHIFT = np.float32(1.5 * 2**16)
UNITS = {  # end of a column's name -> unit as ASAM and spreadsheets write it
    "_degc": "degC",
    "_deg": "deg",
    "_kpa": "kPa",
    "_degf": "degF",
    "_psi": "psi",
    "_rpm": "1/min",
    "_v": "V",
    "_l_h": "L/h",
    "_s": "s",
    "_ratio": "1",
    "_percent": "%",
    "_lambda": "1",
    "_afr": "1",
    "_state": "",
    "_reason": "",
}
_COMMENTS = {
    "_by_hand_degc": "read by a person",
    "_by_hand_degf": "read by a person",
    "_margin_degc": "limit minus temperature",
    "_limit_degc": "temperature at which the fuel forms as much vapour as this place tolerates, at the pressure there",
    "_uncertainty_degc": "one standard uncertainty of the margin",
    "_pressure_kpa": "absolute pressure",
    "_vapour_liquid_ratio": "volumes of vapour over one of liquid; 40 stands for 40 or more",
    "itude_deg": "WGS 84",
    "_state": "0 no warning, 1 warn, 2 act, 3 sensor lost, 4 no margin here; without delays",
    "_reason": "0 there is a temperature, else why not",
    "fuel_pressure_kpa": "gauge pressure behind the pump",
    "ambient_pressure_kpa": "air pressure",
    "running": "1 the engine runs, 0 it stands",
    "ignition": "1 on, 0 off",
    "_degc": "fuel temperature, thermocouple type K, NIST ITS-90",
    "_margin_degf": "limit minus temperature",
    "_limit_degf": "temperature at which the fuel forms as much vapour as this place tolerates, at the pressure there",
    "_uncertainty_degf": "one standard uncertainty of the margin",
    "_pressure_psi": "absolute pressure",
    "_degf": "fuel temperature, thermocouple type K, NIST ITS-90",
}


_POSITIONS = ("latitude_deg", "longitude_deg")  # finer than the grid of temperatures
_DIFFERENCES = ("_margin_degc", "_uncertainty_degc")  # convert without the 32


def table(session: Session, units: str = "si", with_positions: bool = False) -> pd.DataFrame:
    """Everything per tick in one table: temperatures, reasons, margins (with a car file), inputs. Index named "time".

    units: "us" gives columns that end in _degf and _psi. with_positions: also latitude_deg, longitude_deg (WGS 84) where there are any; they are
    private, and left out unless asked for. Raises InputError for another system.
    """
    frame = _table(session)
    if with_positions and session.positions is not None:
        frame = frame.assign(**_at_ticks(session))
    if Shown(units).system == "si":
        return frame
    return pd.DataFrame({_name_us(name): _value_us(name, frame[name]) for name in frame.columns}, index=frame.index)


def _at_ticks(session: Session) -> dict[str, np.ndarray]:
    """Degrees at every tick, interpolated between fixes close in time, nan elsewhere."""
    found, at = session.positions, session.ticks.seconds
    if found is None or len(found.seconds) < 2:
        return {}
    after = np.clip(np.searchsorted(found.seconds, at), 1, len(found.seconds) - 1)
    near = (found.seconds[after] - found.seconds[after - 1] <= 3.0) & (at >= found.seconds[0]) & (at <= found.seconds[-1])
    return {
        name: np.where(near, np.interp(at, found.seconds, values), np.nan)
        for name, values in zip(_POSITIONS, (found.latitude_deg, found.longitude_deg), strict=True)
    }


def _name_us(name: str) -> str:
    return (
        name.removesuffix("_degc") + "_degf"
        if name.endswith("_degc")
        else name.removesuffix("_kpa") + "_psi"
        if name.endswith("_kpa")
        else name
    )


def _value_us(name: str, values: "pd.Series[float]") -> "pd.Series[float]":
    shown = values
    if name.endswith("_kpa"):
        shown = Shown("us").value(values, "pressure")
    elif name.endswith("_degc"):
        shown = Shown("us").value(values, "temperature difference" if name.endswith(_DIFFERENCES) else "temperature")
    return shown


def _table(session: Session) -> pd.DataFrame:
    parts = [session.temperatures(), session.reasons()]
    if session.car is not None:
        parts.append(session.margins())
    inputs = session.inputs()
    parts += [inputs.loc[:, inputs.notna().any()], session.by_hand_columns()]
    joined = pd.concat(parts, axis=1)
    # files hold the numbers: MDF4 and CSV have no categories
    named = {str(name): joined[name].cat.codes.astype(np.uint8) for name in joined if joined[name].dtype == "category"}
    return joined.assign(**named)


def require_library(path: str | Path) -> None:
    """Raises InputError if the library for this ending is not installed; called before a session is read."""
    ending = Path(path).suffix.lower()
    library, remedy = LIBRARIES.get(ending, ("", ""))
    if library and find_spec(library) is None:
        raise InputError(f"writing {ending} needs {library}: {remedy}")


def write(session: Session, path: str | Path, units: str = "si", with_positions: bool = False) -> Path:
    """Write the session as the file's ending says: .csv, .parquet or .mf4; the whole file or none.

    Raises InputError for another ending, a place that cannot be written, or a missing library.
    """
    target = Path(path)
    writers: dict[str, Callable[[Session, Path, str, bool], None]] = {
        ".csv": write_csv,
        ".parquet": write_parquet,
        ".mf4": write_mdf,
    }
    writer = writers.get(target.suffix.lower())
    if writer is None:
        raise InputError(f'"{target.name}" ends in "{target.suffix}": allowed are {", ".join(writers)}')
    require_library(target)
    if target.suffix.lower() == ".csv":
        _refuse_another_table(target)
    else:
        refuse_anothers(target)
    with whole(target) as part:
        writer(session, part, units, with_positions)
    return target


def _refuse_another_table(target: Path) -> None:
    """Raises InputError instead of overwriting a CSV that this program did not write: it may be a dynamometer's only copy."""
    if not target.is_file():
        return
    with contextlib.suppress(OSError), open(target, "rb") as file:
        head = file.read(12)
        if head and not head.startswith((b'"time_utc"', b'"time_s"')):
            raise InputError(f"{target} is there already and holds another table: give another file; nothing is overwritten")


def write_csv(session: Session, path: Path, units: str = "si", with_positions: bool = False) -> None:
    """Comma-separated, UTF-8; first column time_utc (ISO 8601) or time_s; temperatures to 0.01, an empty field where there is none."""
    frame = table(session, units, with_positions)
    columns: dict[str, np.ndarray] = {}
    if isinstance(frame.index, pd.DatetimeIndex):
        columns["time_utc"] = frame.index.tz_convert(None).as_unit("ms").to_numpy()
    else:
        columns["time_s"] = np.round(index_seconds(frame.index), 3)
    for name in frame.columns:
        values = frame[name].to_numpy()
        whole = values.dtype.kind in "ui"
        columns[name] = (
            values if whole else np.round(values.astype(float), 7 if name in _POSITIONS else 3 if "ratio" in name else 2)
        )
    (_csv_by_pandas if find_spec("pyarrow") is None else _csv_by_arrow)(columns, path)


def _csv_by_arrow(columns: dict[str, np.ndarray], path: Path) -> None:
    """Write by pyarrow: ten times faster than pandas."""
    import pyarrow.compute
    import pyarrow.csv

    arrays = {name: pyarrow.array(values, from_pandas=True) for name, values in columns.items()}
    if "time_utc" in arrays:
        arrays["time_utc"] = pyarrow.compute.strftime(arrays["time_utc"], format="%Y-%m-%dT%H:%M:%SZ")
    pyarrow.csv.write_csv(pyarrow.table(arrays), path, pyarrow.csv.WriteOptions(quoting_style="needed"))


def _csv_by_pandas(columns: dict[str, np.ndarray], path: Path) -> None:
    frame = pd.DataFrame(columns)
    if "time_utc" in columns:
        frame["time_utc"] = np.char.add(np.datetime_as_string(columns["time_utc"], unit="ms"), "Z")
    with open(path, "w", encoding="utf-8", newline="") as file:
        file.write(",".join(f'"{name}"' for name in columns) + "\n")
        frame.to_csv(file, header=False, index=False, lineterminator="\n")


def on_grid(values: np.ndarray) -> np.ndarray:
    """float32 on the grid of 1/128, for values within +-32768; nan stays nan."""
    result: np.ndarray = np.add(values, _SHIFT, dtype=np.float32, casting="same_kind")
    result -= _SHIFT
    return result


def floats_or_null(values: np.ndarray) -> "pa.Array":
    """The values on the grid; what is missing is null, because as nan it would be the largest number in some programs."""
    import pyarrow as pa

    stored = on_grid(values)
    return pa.array(stored, from_pandas=bool(np.isnan(stored.sum())))


def write_frame(frame: pd.DataFrame, path: Path, about: dict[str, str] | None = None) -> None:
    """A frame with a time index as compact Parquet. about: text kept with the schema. Floats go on the grid, small whole numbers stay."""
    import pyarrow as pa
    import pyarrow.parquet

    dates = isinstance(frame.index, pd.DatetimeIndex)
    first = "time_utc" if dates else "time_s"
    times = (
        frame.index.tz_convert(None).as_unit("us").to_numpy()
        if isinstance(frame.index, pd.DatetimeIndex)
        else index_seconds(frame.index)
    )
    columns = {name: frame[name].to_numpy() for name in frame.columns}
    floats = [name for name, values in columns.items() if values.dtype.kind == "f" and name not in _POSITIONS]
    fields = [pa.field(first, pa.timestamp("us", tz="UTC") if dates else pa.float64(), metadata=_field(first))]
    fields += [
        pa.field(name, pa.float32() if name in floats else pa.from_numpy_dtype(v.dtype), metadata=_field(name))
        for name, v in columns.items()
    ]
    schema = pa.schema(fields, metadata=about)

    arrays = [pa.array(times, fields[0].type)]
    arrays += [floats_or_null(v) if name in floats else pa.array(v, from_pandas=True) for name, v in columns.items()]
    pyarrow.parquet.write_table(
        pa.Table.from_arrays(arrays, schema=schema), path, compression="lz4", use_dictionary=[name for name in columns if name not in floats],
        column_encoding={first: "DELTA_BINARY_PACKED" if dates else "BYTE_STREAM_SPLIT"} | dict.fromkeys(floats, "BYTE_STREAM_SPLIT"),
        write_statistics=[first], write_batch_size=1 << 16,
    )  # fmt: skip


def write_parquet(session: Session, path: Path, units: str = "si", with_positions: bool = False) -> None:
    """Columns as `table`, first column time_utc or time_s; the session's metadata and car file stand in the schema."""
    about = {"hotfuel": "session"} | {f"hotfuel.{name}": str(value) for name, value in session.metadata.items()}
    if session.car_text:
        about["hotfuel.car_file"] = session.car_text
    write_frame(table(session, units, with_positions), path, about)


def _field(name: str) -> dict[str, str]:
    return {"unit": unit_of(name), "comment": comment_of(name)}


def unit_of(column: str) -> str:
    """The unit that a column's name ends in, "" for none."""
    return next((unit for end, unit in UNITS.items() if column.endswith(end)), "")


def comment_of(column: str) -> str:
    """What a column holds, in a few words."""
    return next((text for end, text in _COMMENTS.items() if column.endswith(end)), "")


def write_mdf(session: Session, path: Path, units: str = "si", with_positions: bool = False) -> None:
    """ASAM MDF 4.10: one channel a column with unit and comment, on one time base; marks as a text channel; start time if wall time is known."""
    from asammdf import MDF, Signal

    frame = table(session, units, with_positions)
    if not len(frame):
        raise InputError(f"{session.name} has no reading, so there is nothing to write as .mf4")
    seconds = index_seconds(frame.index)
    base = seconds - seconds[0]
    signals = [
        Signal(samples=frame[name].to_numpy(), timestamps=base, name=name, unit=unit_of(name), comment=comment_of(name))
        for name in frame.columns
    ]
    with MDF(version="4.10") as file:
        if isinstance(frame.index, pd.DatetimeIndex):
            file.header.start_time = frame.index[0].to_pydatetime()
        file.header.comment = f"<HDcomment><TX>{_xml(_about(session))}</TX></HDcomment>"
        file.append(signals, comment="hotfuel session")
        marks = session.marks()
        marks = marks[marks["time"].notna()]
        if len(marks):
            at = index_seconds(pd.Index(marks["time"])) - seconds[0]
            texts = np.array([text.encode() for text in marks["text"]])
            file.append(
                [Signal(samples=texts, timestamps=at, name="mark", comment="what a person marked", encoding="utf-8")],
                comment="marks",
            )
        file.save(path, overwrite=True, compression=1)


def _about(session: Session) -> str:
    return "\n".join(("hotfuel session", *(f"{name}: {value}" for name, value in session.metadata.items())))


def _xml(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
