"""Finds a kept forecast and checks it against a session with the fix, for `archive add` and `review`. Imports no command."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from hotfuel.cli.shared import note, open_session
from hotfuel.errors import HotfuelError, InputError
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.session.recording import Session
    from hotfuel.study.fixes.came import Came
    from hotfuel.study.fixes.kept import Kept


def held_with(opened: "Session", forecast_from: Path) -> "Came":
    """Compare `opened` with the forecast stored in another session. Raises InputError if none matches the fix, or the car differs."""
    from hotfuel.report import came_words
    from hotfuel.study.fixes import kept

    first = open_session(forecast_from)
    found, damaged = kept.read(first.folder.path)
    if damaged:
        raise InputError(f"{forecast_from}: {came_words.DAMAGED}")
    if not found:
        raise InputError(
            f"no forecast was kept with {first.name}: `hotfuel forecast {forecast_from} --keep` keeps the one of the fix you name"
        )
    said = _said(opened)
    one = kept.matching(found, said)
    if one is None:
        names = "; ".join(k.change.name for k in found)
        raise InputError(
            f'{opened.name} says that "{said.get("fix") or "nothing"}" was fitted, and the forecasts kept with {first.name} are of: {names}. '
            "Say what was fitted, as --about fix=... does"
        )
    return _held(one, first, opened)


def hold_in_archive(archive: Path, identity: str) -> list[str]:
    """Compare the session just added with the newest forecast of the same car and fix in the archive, and keep the result; returns sentences about it."""
    from hotfuel import session as sessions
    from hotfuel.report import came_words
    from hotfuel.session import archive as store
    from hotfuel.session import folder as session_folder
    from hotfuel.study.fixes import kept, own

    added = sessions.open(archive / store.SESSIONS / identity)
    if added.car is None or not _said(added).get("fix"):
        return []
    for folder in sorted((archive / store.SESSIONS).iterdir(), reverse=True):  # an id begins with its date
        if folder.name == identity or not (folder / session_folder.FORECASTS).is_file():
            continue
        found, damaged = kept.read(folder)
        if damaged:
            note(f"{folder.name}: {came_words.DAMAGED}")
        one = kept.matching(found, _said(added))
        if one is None:
            continue
        try:
            first = sessions.open(folder)
            if first.car is None or first.car.name != added.car.name:
                continue
            held = _held(one, first, added)
            simulated = any(bool(s.metadata.get("simulated")) for s in (first, added))
            own.remember(archive, identity, held, folder.name, simulated)
        except HotfuelError as error:
            note(f"the forecast kept with {folder.name} was not compared with {added.name}: {error}")
            continue
        return came_words.sentences(held, Shown(added.car.units))
    return []


def _said(opened: "Session") -> dict[str, Any]:
    """The fix that a session names in its metadata, else in its car file."""
    fitted = opened.metadata.get("fix") or (opened.car.fix if opened.car is not None else "")
    return {"fix": fitted, "before": opened.metadata.get("before")}


def _held(one: "Kept", first: "Session", opened: "Session") -> "Came":
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.fixes import came

    if first.car is None or opened.car is None or first.car.name != opened.car.name:
        raise InputError(
            f"{first.name} and {opened.name} are not of the same car: a forecast is compared only with a later session of its own car"
        )
    if first.folder.log_path.resolve() == opened.folder.log_path.resolve():
        raise InputError(f"{opened.name} is the session that the forecast was made from: name the one with the fix")
    return came.held(one, of_session(first), of_session(opened), first.car)
