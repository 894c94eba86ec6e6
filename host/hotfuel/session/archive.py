"""Many sessions in one folder: the recordings themselves, and the results computed from them as Parquet by car and date, readable without this program.

    sessions/<id>/                                    the session folder as it was added (the log is the truth)
    outcomes/<id>.json                                a kept forecast beside what happened in that session (hotfuel.study.fixes.own)
    samples/car=<car>/date=<date>/<id>.parquet        a row per place and reading
    summary/car=<car>/date=<date>/<id>.parquet        a row per place

Everything but sessions/ and outcomes/ can be recomputed, on all cores or on a cluster.
"""

import contextlib
import multiprocessing
import os
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pandas as pd

from hotfuel.errors import InputError
from hotfuel.log import follow, reserve
from hotfuel.log.rescue import standing
from hotfuel.session import folder as session_folder
from hotfuel.session import metadata, recording
from hotfuel.session.listing import Say, existing, find, listed, not_whole, places
from hotfuel.session.results import SAMPLES, SESSIONS, SUMMARY, digest, files_of, identities, require_duckdb, store, work_out
from hotfuel.temperature.calibration import Calibration
from hotfuel.text import counted

__all__ = ["SAMPLES", "SESSIONS", "SUMMARY", "add", "find", "identity_of", "listed", "places", "recompute", "work_out"]
_CONNECT_S = 10
_LEFT_BEHIND_S = 3600.0  # a part file older than that belongs to no running command


def add(archive: str | Path, path: str | Path, say: Say = lambda sentence: None) -> str:
    """Copy a session into the archive (made if missing) and compute its results; returns its id. Nothing is overwritten. Parts of the log that a
    full disk left elsewhere are included; `say` gets a sentence about those, and about a span that is missing.

    Raises InputError if there is no recording, no reading in it, or it is in the archive already.
    """
    require_duckdb()
    where = session_folder.find(path)
    session = recording.open(path)
    if not len(session.ticks.seconds):
        raise InputError(f"{session.name} has no reading in it: an archive holds recordings")
    if session.standing is not None:
        say(f"{session.name}: {session.standing.sentence()}." + (" They are included." if session.standing.pieces else ""))
    if session.ending is not None and session.ending.sure:
        say(f"{session.name}: {session.ending.sentence()}")
    identity = identity_of(session)
    target = Path(archive) / SESSIONS / identity
    if target.exists():
        if any(file.parts[-4] == SUMMARY for file in files_of(Path(archive), identity)):
            raise InputError(f"{session.name} is in the archive already, as {identity}")
        problem = work_out(str(archive), identity, None)  # an earlier add was killed before it had its results
        if problem:
            raise InputError(f"{session.name} is in the archive already, as {identity}, without results: {problem}")
        return identity
    part = target.with_name(f"{identity}.{os.getpid()}.part")
    try:
        part.mkdir(parents=True, exist_ok=True)
        _copy_log(where.log_path, part / session_folder.LOG)
        forecasts = where.path / session_folder.FORECASTS
        kept = forecasts if where.log_path.name == session_folder.LOG and forecasts.is_file() else None
        for file in (where.car_path, where.metadata_path, where.calibration_path, kept):
            if file is not None:
                shutil.copyfile(file, part / file.name)
        if not session.metadata.get("title"):  # it was named after its folder, which is another one here
            session_folder.update(session_folder.find(part), {"title": session.name})
        os.replace(part, target)
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror}): give an archive on a disk with room") from None
    finally:
        shutil.rmtree(part, ignore_errors=True)  # left by a full disk or Ctrl-C; a complete one has been renamed by now
    try:
        store(Path(archive), identity, session)
    except OSError as error:
        shutil.rmtree(target, ignore_errors=True)
        _forget(Path(archive), identity)
        raise InputError(f"{target} cannot be written ({error.strerror or error}): give an archive on a disk with room") from None
    except BaseException:  # Ctrl-C too: a session that no list shows could not be added again
        shutil.rmtree(target, ignore_errors=True)
        _forget(Path(archive), identity)
        raise
    return identity


def recompute(
    archive: str | Path,
    *,
    calibration: str | Path | None = None,
    cluster: str | None = None,
    progress: Callable[[float], None] = lambda share: None,
    say: Say = lambda sentence: None,
) -> int:
    """Recompute every session with this version's models; returns how many. On all cores, or on the Dask cluster whose scheduler is `cluster`.

    calibration: a calibration file for the sessions of its board; it replaces theirs. The cluster's workers must see the archive at the same path. A
    worker that dies loses its session's work so far: another one repeats it. Results of sessions whose folder no longer exists are removed; `say`
    names them. Raises InputError if there is no archive, a file is wrong, the cluster does not answer, or sessions failed (after all others are done).
    """
    require_duckdb()
    root = existing(archive).resolve()
    if calibration is not None:
        Calibration.load(calibration)
    chosen = str(Path(calibration).resolve()) if calibration is not None else None
    here = identities(root)
    _tidy(root, set(here), say)
    for identity in here:
        for sentence in metadata.read(root / SESSIONS / identity / session_folder.METADATA)[1]:
            say(
                f"{identity}: {sentence} Its entries (title, what was fitted) are not in the new results: put it back from a copy and do this again"
            )
        lacks = not_whole(root, identity)
        if lacks:
            say(f"{identity} is not whole: {lacks}")
    failed = []
    results = _on_cluster(cluster, root, here, chosen) if cluster else _on_all_cores(root, here, chosen)
    for number, (identity, problem) in enumerate(results, start=1):
        if problem:
            failed.append(f"{identity}: {problem}")
        progress(number / len(here))
    if failed:
        raise InputError(f"{len(failed)} of {counted(len(here), 'session')} could not be recomputed: {'; '.join(failed)}")
    return len(here)


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
                    yield futures[future], "a process was killed, perhaps because memory ran out"
        finally:
            # wait: a pool still closing when the interpreter exits writes to a pipe that is already closed
            pool.shutdown(wait=True, cancel_futures=True)


@contextlib.contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Processes started inside ignore Ctrl-C: this process gets it, and they finish the session they are working on."""
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not in the main thread, the only one that gets it
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


def _forget(root: Path, identity: str) -> None:
    for file in files_of(root, identity):
        with contextlib.suppress(OSError):
            file.unlink()


def _tidy(root: Path, here: set[str], say: Say) -> None:
    """Remove the results of sessions that no longer exist and the leftovers of killed commands."""
    for kind in (SAMPLES, SUMMARY):
        for file in sorted((root / kind).glob("*/*/*.parquet")):
            if file.stem not in here:
                file.unlink(missing_ok=True)
                if kind == SUMMARY:
                    say(f"the results of {file.stem} were removed: its folder in {root / SESSIONS} no longer exists")
    for part in [*(root / SESSIONS).glob("*.part"), *root.glob("*/*/*/*.part")]:
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > _LEFT_BEHIND_S:
                if part.is_dir():
                    shutil.rmtree(part)
                else:
                    part.unlink()


def _copy_log(log: Path, target: Path) -> None:
    """The whole stream, with the parts that a full disk left elsewhere, and the note of a span that is missing."""
    with open(target, "wb") as file:
        for data in follow.blocks(log):
            file.write(data)
        file.flush()
        os.fsync(file.fileno())
    found = standing(log)
    if found is not None and found.lost and reserve.path_for(log).exists():
        shutil.copyfile(reserve.path_for(log), reserve.path_for(target))


def identity_of(session: recording.Session) -> str:
    """The name of a session in any archive: when it began, and what is in its log."""
    started = session.summary().started
    moment = started.strftime("%Y-%m-%d_%H-%M-%S") if isinstance(started, pd.Timestamp) else "undated"
    return f"{moment}_{digest(session.folder.log_path)}"
