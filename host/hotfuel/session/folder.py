"""The session folder: wire.log (the recording), car.toml, session.json, calibration.json. Only the first is needed to open one.

Any file beside the log may be missing or damaged without losing a reading: it is then reported and left out.
"""

import contextlib
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.session import metadata

LOG, CAR, METADATA, CALIBRATION, TRUTH = "wire.log", "car.toml", "session.json", "calibration.json", "truth.csv"
FORECASTS = "forecasts.json"  # forecasts made from it and kept (hotfuel.study.fixes.kept)
LAP_LINE = "lap_line.txt"  # a place on the ground: in a file of its own, because metadata is shared


@dataclass(frozen=True)
class SessionFolder:
    """Paths of one session. `log_path` exists; the others are None where there is no such file."""

    path: Path
    log_path: Path
    car_path: Path | None
    metadata_path: Path | None
    calibration_path: Path | None


def create(
    path: str | Path, car_text: str | None = None, values: Mapping[str, Any] | None = None, calibration_text: str | None = None
) -> SessionFolder:
    """Make the folder of a new session, with the car file's text, metadata and calibration beside an empty wire.log.

    The car's name and this computer's offset from UTC are added to the metadata. Nothing is ever overwritten.
    Raises InputError if the folder already holds a recording, the car file has a mistake, or a value fails its check.
    """
    folder = Path(path)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file: give a new folder for the session")
    taken = [name for name in (LOG, CAR, METADATA, CALIBRATION) if (folder / name).exists()]
    if taken:
        raise InputError(f"{folder} already holds a session ({', '.join(taken)}): give another folder; nothing is overwritten")
    stored: dict[str, Any] = {"utc_offset_min": time.localtime().tm_gmtoff // 60}
    if car_text is not None:
        stored["car"] = car_file.load(car_text if "\n" in car_text else car_text + "\n").name
    stored |= metadata.checked(values or {})
    there = folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if car_text is not None:
            (folder / CAR).write_text(car_text, encoding="utf-8")
        if calibration_text is not None:
            (folder / CALIBRATION).write_text(calibration_text, encoding="utf-8")
        metadata.write(folder / METADATA, stored)
        (folder / LOG).touch()
    except (OSError, InputError) as error:
        with contextlib.suppress(OSError):  # half of a session would be taken for one, and keep its name from the next
            for name in (CAR, CALIBRATION, METADATA, LOG):
                (folder / name).unlink(missing_ok=True)
            if not there:
                folder.rmdir()
        if isinstance(error, InputError):
            raise
        raise InputError(f"{folder} cannot be written ({error.strerror}): give a folder on a disk with room") from None
    return find(folder)


def find(path: str | Path) -> SessionFolder:
    """The session at `path`: its folder, any file in it, or a lone log of any name. Raises InputError if there is no recording."""
    given = Path(path)
    if not given.exists():
        raise InputError(f"{given} does not exist: give a session folder or a wire.log")
    refuse_pipe(given)
    if given.is_dir():
        folder, log = given, given / LOG
        if not log.is_file():
            inside = sorted(one.parent.as_posix() for one in given.glob(f"*/{LOG}"))
            remedy = (
                f"give one of those in it, {', '.join(inside[:3])}"
                if inside
                else "give a folder that `hotfuel record` or `download` made"
            )
            raise InputError(f"{given} holds no {LOG}: {remedy}, or a log file")
    elif given.name in (CAR, METADATA, CALIBRATION, TRUTH):
        if not (given.parent / LOG).is_file():
            raise InputError(f"{given} is no recording, and none lies beside it: give a session folder or a {LOG}")
        return find(given.parent)
    else:
        folder, log = given.parent, given
    # a lone log of another name does not use the files of a session that happens to be beside it
    own = log.name == LOG

    def beside(name: str) -> Path | None:
        return folder / name if own and (folder / name).is_file() else None

    return SessionFolder(folder, log, beside(CAR), beside(METADATA), beside(CALIBRATION))


def update(folder: SessionFolder, values: Mapping[str, Any]) -> dict[str, Any]:
    """Add or replace metadata of an existing session (keys of a newer version are kept); returns all. Raises InputError."""
    known, _ = metadata.read(folder.path / METADATA)
    kept = {name: value for name, value in known.items() if name in metadata.KEYS}
    return metadata.write(folder.path / METADATA, {**kept, **values})
