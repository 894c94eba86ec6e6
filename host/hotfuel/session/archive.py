"""Many sessions in one folder: the recordings themselves, and what was worked out of them as Parquet by car and date, readable without this program.

    sessions/<id>/                                    the session folder as it was added (the log is the truth)
    samples/car=<car>/date=<date>/<id>.parquet        a row per place and reading
    summary/car=<car>/date=<date>/<id>.parquet        a row per place

Everything but sessions/ can be worked out again, on all cores or on a cluster.
"""

import contextlib
import hashlib
import multiprocessing
import os
import re
import shutil
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet

from hotfuel.errors import InputError
from hotfuel.log import follow, reserve
from hotfuel.log.rescue import standing
from hotfuel.session import folder as session_folder
from hotfuel.session import recording
from hotfuel.session.export import floats_or_null
from hotfuel.temperature.calibration import Calibration

SESSIONS, SAMPLES, SUMMARY = "sessions", "samples", "summary"
MARGIN_COLUMNS = ("limit_degc", "margin_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio")
_CONNECT_S = 10
_LISTED = """
SELECT session, any_value(car_name) AS car, any_value(date) AS date, any_value(started_utc) AS started_utc, any_value(fix) AS fix,
       any_value(duration_s) AS duration_s, max(hottest_degc) FILTER (holds_fuel) AS hottest_degc,
       arg_max(place, hottest_degc) FILTER (holds_fuel) AS hottest_place, min(smallest_margin_degc) AS smallest_margin_degc,
       arg_min(place, smallest_margin_degc) AS smallest_margin_place, string_agg(place, ' ' ORDER BY place) AS places
FROM read_parquet($files, hive_partitioning = true, hive_types_autocast = false)
GROUP BY session
"""


def add(archive: str | Path, path: str | Path) -> str:
    """Copy a session into the archive (made if missing) and work it out; returns its id. Nothing is overwritten.

    Raises InputError if there is no recording, no reading in it, or it is there already.
    """
    where = session_folder.find(path)
    session = recording.open(path)
    if not len(session.ticks.seconds):
        raise InputError(f"{session.name} has no reading in it: an archive holds recordings")
    identity = _identity(session)
    target = Path(archive) / SESSIONS / identity
    if target.exists():
        raise InputError(f"{session.name} is in the archive already, as {identity}")
    part = target.with_name(identity + ".part")
    try:
        part.mkdir(parents=True, exist_ok=True)
        _copy_log(where.log_path, part / session_folder.LOG)
        for file in (where.car_path, where.metadata_path, where.calibration_path):
            if file is not None:
                shutil.copyfile(file, part / file.name)
        if not session.metadata.get("title"):  # it was called by its folder, which is another one here
            session_folder.update(session_folder.find(part), {"title": session.name})
        os.replace(part, target)
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror}): give an archive on a disk with room") from None
    finally:
        shutil.rmtree(part, ignore_errors=True)  # what a full disk or Ctrl-C left; a whole one has its own name by now
    try:
        _store(Path(archive), identity, session)
    except BaseException:  # Ctrl-C too: a session that no list shows could not be added again
        shutil.rmtree(target, ignore_errors=True)
        raise
    return identity


def listed(archive: str | Path) -> pd.DataFrame:
    """All sessions, one row each, oldest first: session (its id), car, date, started_utc, fix, duration_s, hottest_degc, hottest_place,
    smallest_margin_degc, smallest_margin_place, places. Raises InputError if there is no archive."""
    return find(archive)


def find(
    archive: str | Path,
    *,
    car: str | None = None,
    place: str | None = None,
    fix: str | None = None,
    since: str | None = None,
    until: str | None = None,
    hotter_than_degc: float | None = None,
    margin_below_degc: float | None = None,
) -> pd.DataFrame:
    """The sessions that match everything given; columns as `listed`. car, fix: part of the name, any case. place: a place that was measured.

    since, until: days, 2026-06-01, both included. Raises InputError for no archive, or a day that is none.
    """
    try:
        import duckdb
    except ImportError:
        raise InputError("the archive needs duckdb: pip install 'hotfuel[archive]'") from None
    files = [str(file) for file in sorted((_existing(archive) / SUMMARY).glob("*/*/*.parquet"))]
    if not files:
        raise InputError(f"{archive} holds no session yet: add one with `hotfuel archive add`")
    wanted = {
        "contains(lower(car), lower($car))": ("car", car),
        "contains(lower(fix), lower($fix))": ("fix", fix),
        "list_contains(string_split(places, ' '), $place)": ("place", place),
        "date >= $since": ("since", _day(since)),
        "date <= $until": ("until", _day(until)),
        "hottest_degc > $hotter": ("hotter", hotter_than_degc),
        "smallest_margin_degc < $margin": ("margin", margin_below_degc),
    }
    given = {text: pair for text, pair in wanted.items() if pair[1] is not None}
    where = " AND ".join(given) or "true"
    with duckdb.connect() as database:
        query = f"SELECT * FROM ({_LISTED}) WHERE {where} ORDER BY date, started_utc, session"
        return database.execute(query, {"files": files, **dict(given.values())}).df()


def recompute(
    archive: str | Path,
    *,
    calibration: str | Path | None = None,
    cluster: str | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> int:
    """Work out every session again with this version's models; returns how many. On all cores, or on the Dask cluster whose scheduler is `cluster`.

    calibration: a calibration file for the sessions of its board; it replaces theirs. The cluster's workers must see the archive at the same path. A
    worker that dies costs its session's work so far: another one does it again. Raises InputError if there is no archive, a file is wrong, the cluster
    does not answer, or sessions failed (all others are done then).
    """
    root = _existing(archive).resolve()
    if calibration is not None:
        Calibration.load(calibration)
    chosen = str(Path(calibration).resolve()) if calibration is not None else None
    identities = sorted(
        entry.name for entry in (root / SESSIONS).iterdir() if entry.is_dir() and not entry.name.endswith(".part")
    )
    failed = []
    results = _on_cluster(cluster, root, identities, chosen) if cluster else _on_all_cores(root, identities, chosen)
    for number, (identity, problem) in enumerate(results, start=1):
        if problem:
            failed.append(f"{identity}: {problem}")
        progress(number / len(identities))
    if failed:
        raise InputError(f"{len(failed)} of {len(identities)} sessions could not be worked out again: {'; '.join(failed)}")
    return len(identities)


def work_out(root: str, identity: str, calibration: str | None) -> str:
    """One session again; what every core and worker runs. Returns "" or what was wrong, in words."""
    try:
        here = Path(root) / SESSIONS / identity
        new = Calibration.load(calibration) if calibration is not None else None
        session = recording.open(here, calibration=new)
        if new is not None and session.calibration is None:
            session = recording.open(here)  # another board's
        elif new is not None:
            new.save(here / session_folder.CALIBRATION)
        _store(Path(root), identity, session)
    except InputError as error:
        return str(error)
    except OSError as error:
        return f"{error.filename or here}: {error.strerror or error}"
    return ""


def _on_all_cores(root: Path, identities: list[str], calibration: str | None) -> Iterator[tuple[str, str]]:
    workers = min(os.cpu_count() or 1, len(identities))
    if workers < 2:
        for identity in identities:
            yield identity, work_out(str(root), identity, calibration)
        return
    # spawned, not forked: the libraries behind Parquet keep threads of their own
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        with _deaf_to_ctrl_c():
            futures = {pool.submit(work_out, str(root), identity, calibration): identity for identity in identities}
        try:
            for future in as_completed(futures):
                try:
                    yield futures[future], future.result()
                except BrokenProcessPool:
                    yield futures[future], "a process was killed, perhaps for want of memory"
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


@contextlib.contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Processes begun in here do not hear the terminal's Ctrl-C: this one does, and they end with what they are at."""
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not in the main thread, which alone hears it
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _on_cluster(address: str, root: Path, identities: list[str], calibration: str | None) -> Iterator[tuple[str, str]]:
    try:
        from distributed import Client
        from distributed import as_completed as completed
    except ImportError:
        raise InputError("a cluster needs Dask: pip install 'hotfuel[cluster]'") from None
    try:
        client = Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise InputError(
            f"no Dask scheduler answers at {address} ({error}): give the address it printed when it started"
        ) from None
    with client:
        futures = {client.submit(work_out, str(root), identity, calibration, pure=False): identity for identity in identities}
        for future in completed(futures, loop=client.loop):
            problem = future.exception()
            yield futures[future], f"{problem}" if problem is not None else future.result()


def _store(root: Path, identity: str, session: recording.Session) -> None:
    """Write samples and summary; an older result of the session, under whatever car and date, goes."""
    for kind, table in ((SAMPLES, _samples_table(identity, session)), (SUMMARY, _summary_table(identity, session))):
        target = root / kind / f"car={_slug(_car_name(session))}" / f"date={_date(session)}" / f"{identity}.parquet"
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(f".{os.getpid()}.part")  # no reader takes it up; two may write at once
        texts = [name for name in table.column_names if pa.types.is_dictionary(table.schema.field(name).type)]
        floats = [name for name in table.column_names if pa.types.is_float32(table.schema.field(name).type)]
        encodings = dict.fromkeys(floats, "BYTE_STREAM_SPLIT")
        encodings |= {name: "DELTA_BINARY_PACKED" for name in ("time_utc", "elapsed_ms") if name in table.column_names}
        try:
            pyarrow.parquet.write_table(
                table, part, compression="zstd", compression_level=1, use_dictionary=texts, column_encoding=encodings
            )
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)
        for old in (root / kind).glob(f"*/*/{identity}.parquet"):
            if old != target:
                old.unlink()


def _samples_table(identity: str, session: recording.Session) -> pa.Table:
    """One row per place and reading, place by place; a place without a limit has null there and state 4."""
    ticks = session.ticks
    limits = session.margin_table.places if session.car is not None else {}
    degc = dict(zip(ticks.places, ticks.degc.T, strict=True))
    names = [*degc, *(name for name in limits if name.endswith("_needle"))]
    count = len(ticks.seconds)
    elapsed_ms = np.rint((ticks.seconds - ticks.seconds[0]) * 1000).astype(np.int64)
    missing = np.full(count, np.nan)

    def floats(parts: list[np.ndarray]) -> pa.Array:
        return floats_or_null(np.concatenate(parts))

    def column(name: str) -> pa.Array:
        return floats([getattr(limits[place], name) if place in limits else missing for place in names])

    state = np.concatenate([limits[place].state if place in limits else np.full(count, 4, np.uint8) for place in names])
    times = pa.array(np.tile(np.asarray(ticks.index.as_unit("us").asi8), len(names)), pa.timestamp("us", tz="UTC"))
    return pa.table(
        {
            "session": _repeated([identity], count * len(names)),
            "place": _repeated(names, count),
            "time_utc": times if ticks.timeline.anchored else pa.nulls(count * len(names), times.type),
            "elapsed_ms": np.tile(elapsed_ms, len(names)),
            "temperature_degc": floats([degc[place.removesuffix("_needle")] for place in names]),
            **{name: column(name) for name in MARGIN_COLUMNS},
            "state": state,
        }
    )


def _repeated(texts: list[str], count: int) -> pa.Array:
    """Each text `count` times, as a dictionary column."""
    return pa.DictionaryArray.from_arrays(np.repeat(np.arange(len(texts), dtype=np.int32), count), texts)


def _summary_table(identity: str, session: recording.Session) -> pa.Table:
    """One row per place with its numbers and what the session says of itself; a needle's hottest is its inlet's and is not repeated."""
    found = session.summary()
    holds_fuel = (
        {p.name for p in session.car.places if p.role not in ("air", "other")} if session.car else set(session.ticks.places)
    )
    rows = []
    for p in found.places.values():
        needle = p.place.endswith("_needle")
        rows.append(
            {
                "session": identity, "car_name": _car_name(session), "name": session.name, "fix": str(session.metadata.get("fix") or ""),
                "started_utc": _moment(found.started), "duration_s": found.duration_s, "readings": found.readings, "place": p.place,
                "holds_fuel": p.place in holds_fuel and not needle, "hottest_degc": np.nan if needle else p.hottest_degc,
                "smallest_margin_degc": p.smallest_margin_degc, "smallest_margin_uncertainty_degc": p.uncertainty_degc,
                "limit_there_degc": p.limit_there_degc, "pressure_there_kpa": p.pressure_there_kpa, "beyond_limit_s": p.beyond_limit_s,
                "inside_uncertainty_s": p.inside_uncertainty_s, "no_reading_s": p.lost_s, "calibrated": session.calibration is not None,
                "board_id": str(session.metadata.get("board_id") or ""),
            }
        )  # fmt: skip
    text, number = pa.string(), pa.float64()
    kinds = {
        "readings": pa.int64(),
        "holds_fuel": pa.bool_(),
        "calibrated": pa.bool_(),
        "started_utc": pa.timestamp("us", tz="UTC"),
    }
    schema = pa.schema(
        [(name, kinds.get(name) or (number if name.endswith(("_degc", "_kpa", "_s")) else text)) for name in rows[0]]
    )
    # nan would be the greatest number in a query; what is not known is null
    plain = [
        {name: None if isinstance(value, float) and np.isnan(value) else value for name, value in row.items()} for row in rows
    ]
    return pa.Table.from_pylist(plain, schema=schema)


def _copy_log(log: Path, target: Path) -> None:
    """The whole stream, with what a full disk left elsewhere, and the note of a span that is missing."""
    with open(target, "wb") as file:
        for data in follow.blocks(log):
            file.write(data)
        file.flush()
        os.fsync(file.fileno())
    found = standing(log)
    if found is not None and found.missing is not None:
        shutil.copyfile(reserve.path_for(log), reserve.path_for(target))


def _identity(session: recording.Session) -> str:
    hashed = hashlib.sha256()
    for data in follow.blocks(session.folder.log_path):
        hashed.update(data)
    digest = hashed.hexdigest()[:10]
    started = session.summary().started
    moment = started.strftime("%Y-%m-%d_%H-%M-%S") if isinstance(started, pd.Timestamp) else "undated"
    return f"{moment}_{digest}"


def _car_name(session: recording.Session) -> str:
    return session.car.name if session.car is not None else str(session.metadata.get("car") or "unknown car")


def _date(session: recording.Session) -> str:
    """The day it began, local where the session knows its offset."""
    started = session.summary().started
    if not isinstance(started, pd.Timestamp):
        return "unknown"
    return (started + pd.Timedelta(minutes=int(session.metadata.get("utc_offset_min") or 0))).strftime("%Y-%m-%d")


def _slug(text: str) -> str:
    """A car's name as part of a path on any system."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:60] or "unknown"


def _moment(at: Any) -> Any:
    return at.to_pydatetime() if isinstance(at, pd.Timestamp) and at is not pd.NaT else None


def _existing(archive: str | Path) -> Path:
    root = Path(archive)
    if not (root / SESSIONS).is_dir():
        raise InputError(f"{root} is no archive: `hotfuel archive add` makes one")
    return root


def _day(text: str | None) -> str | None:
    if text is None:
        return None
    try:
        return pd.Timestamp(text).strftime("%Y-%m-%d")
    except ValueError:
        raise InputError(f'"{text}" is no day: write it like 2026-06-01') from None
