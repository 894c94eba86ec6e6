"""The results of one session of an archive, as Parquet: a row per place and reading, and a row per place."""

import errno
import hashlib
import os
import re
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from hotfuel.errors import InputError
from hotfuel.log import follow, others
from hotfuel.places import is_behind_needle, probe_of
from hotfuel.session import folder as session_folder
from hotfuel.session import recording
from hotfuel.session.export import on_grid
from hotfuel.temperature.calibration import Calibration

SESSIONS, SAMPLES, SUMMARY = "sessions", "samples", "summary"
_DIGITS = 10
_COLUMNS = ("limit_degc", "margin_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio")


def identities(root: Path) -> list[str]:
    """The sessions an archive holds: names of their folders."""
    return sorted(entry.name for entry in (root / SESSIONS).iterdir() if entry.is_dir() and not entry.name.endswith(".part"))


def files_of(root: Path, identity: str) -> list[Path]:
    """The files of results of one session."""
    return [file for kind in (SAMPLES, SUMMARY) for file in (root / kind).glob(f"*/*/{identity}.parquet")]


def digest(log: Path) -> str:
    """The digest of a log's bytes, with those kept elsewhere, at the end of a session's id."""
    hashed = hashlib.sha256()
    for data in follow.blocks(log):
        hashed.update(data)
    return hashed.hexdigest()[:_DIGITS]


def _is_another_log(root: Path, identity: str) -> bool:
    """Whether a session that has results holds another log than the one they were computed from."""
    known = re.fullmatch(rf".+_([0-9a-f]{{{_DIGITS}}})", identity)
    has_results = any(file.parts[-4] == SUMMARY for file in files_of(root, identity))
    return known is not None and has_results and digest(root / SESSIONS / identity / session_folder.LOG) != known[1]


def work_out(root: str, identity: str, calibration: str | None) -> str:
    """Recompute one session; what every core and worker runs. Returns "" or what was wrong, in words."""
    try:
        here = Path(root) / SESSIONS / identity
        new = Calibration.load(calibration) if calibration is not None else None
        session = recording.open(here, calibration=new)
        if new is not None and session.calibration is None:
            session = recording.open(here)  # of another board
        elif new is not None:
            new.save(here / session_folder.CALIBRATION)
        if not len(session.ticks.seconds):
            return "there is no reading in its log"
        if _is_another_log(Path(root), identity):
            return "its log is not the one that was added (cut or changed), so its results stay: put it back from a copy, or remove them to use what is left"
        store(Path(root), identity, session)
    except InputError as error:
        return str(error)
    except OSError as error:
        return f"{error.filename or here}: {error.strerror or error}"
    except Exception as error:  # one bad session must not stop the others, whatever is wrong with it
        return f"its results cannot be computed ({type(error).__name__}: {error})"
    return ""


def store(root: Path, identity: str, session: recording.Session) -> None:
    """Write samples and summary; an older result of the session, under any car and date, is removed."""
    log_bytes = others.own_end(root / SESSIONS / identity / session_folder.LOG)  # shows later that a log was cut or has grown
    summary = _summary_table(identity, session).assign(log_bytes=log_bytes)
    for kind, table in ((SAMPLES, _samples_table(identity, session)), (SUMMARY, summary)):
        target = root / kind / f"car={_slug(car_name(session))}" / f"date={date_of(session)}" / f"{identity}.parquet"
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(f".{os.getpid()}.part")  # no reader uses it; two may write at once
        try:
            _write(table, part)
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)
        for old in (root / kind).glob(f"*/*/{identity}.parquet"):
            if old != target:
                old.unlink()


def require_duckdb() -> None:
    """Raises InputError where the library that writes and reads an archive's results is not installed."""
    if find_spec("duckdb") is None:
        raise InputError("the archive needs duckdb: pip install 'hotfuel[archive]'")


def _write(table: pd.DataFrame, path: Path) -> None:
    """The table as Parquet; what is missing is null, because as nan it would be the greatest number in a query."""
    import duckdb

    # the path as duckdb reads it: a quoted string
    name = "'" + str(path).replace("'", "''") + "'"
    try:
        with duckdb.connect() as database:
            database.register("made", table)
            database.execute(f"COPY made TO {name} (FORMAT parquet, COMPRESSION zstd, COMPRESSION_LEVEL 1, PARQUET_VERSION v2)")
    except duckdb.IOException as error:
        raise OSError(errno.EIO, str(error).splitlines()[0], str(path)) from None


def _samples_table(identity: str, session: recording.Session) -> pd.DataFrame:
    """One row per place and reading, place by place; a place without a limit has null there and state 4."""
    ticks = session.ticks
    limits = session.margin_table.places if session.car is not None else {}
    degc = dict(zip(ticks.places, ticks.degc.T, strict=True))
    names = [*degc, *(name for name in limits if is_behind_needle(name))]
    count = len(ticks.seconds)
    elapsed_ms = np.rint((ticks.seconds - ticks.seconds[0]) * 1000).astype(np.int64)
    missing = np.full(count, np.nan)

    def floats(parts: list[np.ndarray]) -> np.ndarray:
        return on_grid(np.concatenate(parts))

    def column(name: str) -> np.ndarray:
        return floats([getattr(limits[place], name) if place in limits else missing for place in names])

    state = np.concatenate([limits[place].state if place in limits else np.full(count, 4, np.uint8) for place in names])
    times = np.tile(np.asarray(ticks.index.as_unit("us").asi8), len(names)).astype("datetime64[us]")
    if not ticks.timeline.anchored:
        times[:] = np.datetime64("NaT")
    return pd.DataFrame(
        {
            "session": _repeated([identity], count * len(names)),
            "place": _repeated(names, count),
            "time_utc": pd.DatetimeIndex(times, tz="UTC"),
            "elapsed_ms": np.tile(elapsed_ms, len(names)),
            "temperature_degc": floats([degc[probe_of(place)] for place in names]),
            **{name: column(name) for name in _COLUMNS},
            "state": state,
        }
    )


def _repeated(texts: list[str], count: int) -> "pd.Categorical[str]":
    """Each text `count` times."""
    return pd.Categorical.from_codes(np.repeat(np.arange(len(texts), dtype=np.int32), count), pd.Index(texts))


def _summary_table(identity: str, session: recording.Session) -> pd.DataFrame:
    """One row per place with its numbers and the session's metadata; a needle's hottest is its inlet's and is not repeated."""
    found = session.summary()
    holds_fuel = {p.name for p in session.car.places if p.kind.has_limit} if session.car else set(session.ticks.places)
    rows = []
    for p in found.places.values():
        needle = is_behind_needle(p.place)
        rows.append(
            {
                "session": identity, "car_name": car_name(session), "name": session.name, "fix": str(session.metadata.get("fix") or ""),
                "started_utc": _moment(found.started), "duration_s": found.duration_s, "readings": found.readings, "place": p.place,
                "holds_fuel": p.place in holds_fuel and not needle, "hottest_degc": np.nan if needle else p.hottest_degc,
                "smallest_margin_degc": p.smallest_margin_degc, "smallest_margin_uncertainty_degc": p.uncertainty_degc,
                "limit_there_degc": p.limit_there_degc, "pressure_there_kpa": p.pressure_there_kpa, "beyond_limit_s": p.beyond_limit_s,
                "inside_uncertainty_s": p.inside_uncertainty_s, "no_reading_s": p.lost_s, "unread_s": p.unread_s,
                "suspected": p.suspected, "suspected_s": p.suspected_s,
                "calibrated": session.calibration is not None, "board_id": str(session.metadata.get("board_id") or ""),
            }
        )  # fmt: skip
    made = pd.DataFrame(rows)
    made["started_utc"] = pd.to_datetime(made["started_utc"], utc=True).astype("datetime64[us, UTC]")
    return made


def car_name(session: recording.Session) -> str:
    """The car's name in an archive: from its file, else from the session."""
    return session.car.name if session.car is not None else str(session.metadata.get("car") or "unknown car")


def date_of(session: recording.Session) -> str:
    """The day it began, local where the session has its offset from UTC."""
    started = session.summary().started
    if not isinstance(started, pd.Timestamp):
        return "unknown"
    return (started + pd.Timedelta(minutes=int(session.metadata.get("utc_offset_min") or 0))).strftime("%Y-%m-%d")


def _slug(text: str) -> str:
    """A car's name as part of a path on any system."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:60] or "unknown"


def _moment(at: Any) -> Any:
    return at.to_pydatetime() if isinstance(at, pd.Timestamp) and at is not pd.NaT else None
