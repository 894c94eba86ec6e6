"""`hotfuel rescue`: put back what a full or lost disk left elsewhere."""

import contextlib
import itertools
import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import Json, broken_off, note, show
from hotfuel.errors import InputError
from hotfuel.text import counted, one_line, typed

if TYPE_CHECKING:
    from hotfuel.log.other import Other
    from hotfuel.log.spill import Piece
    from hotfuel.session.folder import SessionFolder


def rescue(
    session: Annotated[
        Path | None, typer.Argument(help="Session folder, or one of the kept files that this command lists.", show_default=False)
    ] = None,
    into: Annotated[Path | None, typer.Option("--into", help="Folder to make, on a disk with room, for the whole drive.")] = None,
    as_json: Json = False,
) -> None:
    """Put back what could not be written to a drive's own disk. Example: hotfuel rescue sunday

    Without a session it lists what is kept on this computer, including drives whose folder has gone.
    """
    from hotfuel import session as sessions
    from hotfuel.log import rescue as kept
    from hotfuel.log import spill
    from hotfuel.report import rescue_words
    from hotfuel.session import folder as session_folder

    if session is None:
        rows, lines = [], []
        for pieces in kept.groups():
            how = kept.put_back_by(pieces[0])
            rows.append({"log": str(pieces[0].log), "files": [str(piece.path) for piece in pieces], "do": how})
            lines.append(f"{kept.words(pieces)}; {how}")
        moved = _went_on()
        lines += [
            f"{folder}: the whole session was continued here; {begun or 'its own folder went away'}. Look at it with: hotfuel review {folder}"
            for folder, begun in moved.items()
        ]
        told = {"kept": rows, "went_on": [{"session": str(folder), "note": begun} for folder, begun in moved.items()]}
        show(told, lines or ["nothing is kept elsewhere on this computer, and no drive was continued in another folder"], as_json)
        return
    piece = spill.look(session.absolute())
    if piece is not None:
        _from_pieces(piece, into, as_json)
        return
    if not session.exists():
        for folder, begun in _went_on().items():
            if f"Begun in {one_line(os.path.abspath(session))}, which went away" in begun:
                raise InputError(f"{session} went away, and its drive was continued in {folder}: type hotfuel review {folder}")
    where = session_folder.find(session)
    kept.refuse_live(where.log_path)
    before = kept.standing(where.log_path)
    if into is None:
        count = kept.put_back(where.log_path)
        opened = sessions.open(where.log_path)
        nothing = "nothing put back" if before is not None and before.lost else f"nothing of {where.log_path} is kept elsewhere"
        lines = [f"{counted(count, 'byte')} put back into {where.log_path}" if count else nothing]
        result: dict[str, Any] = {"session": str(where.path), "bytes": count}
    else:
        count = _copied(where, into)
        opened = sessions.open(into)
        # What follows another recording's bytes may be this one's: nobody can say that the drive is whole.
        whole = before is None or not (before.lost or any(not (other.again or other.sure) for other in before.others))
        whole = whole and not broken_off(opened) and len(opened.decoded.scans) > 0  # bytes without a reading are no drive
        lines = [f"{counted(count, 'byte')}, {'the whole drive' if whole else 'what there is of the drive'}, in {into}"]
        result = {"session": str(into), "bytes": count}
        split = _split_out(where.log_path, before.others if before is not None else (), into)
        lines += [f"{counted(size, 'byte')} of another recording, in {folder}" for folder, size in split.items()]
        result |= {"others": [str(folder) for folder in split]} if split else {}
    after = kept.standing(where.log_path)
    lost = after is not None and after.lost
    lines = [rescue_words.readings(opened), *lines]
    show({**result, "whole": not (lost or broken_off(opened)), "drive": rescue_words.as_dict(opened)}, lines, as_json)
    for correction in [*opened.decoded.corrections, *([opened.ending.sentence()] if opened.ending is not None else [])]:
        note(correction)
    if opened.ending is not None and opened.ending.only_zeros and not lost:
        raise InputError(f"{opened.name}: nothing can be put back")
    stay = kept.still_kept(where.log_path)
    if stay:
        note(
            f"this is a copy of {stay[0].log.parent}, which is not seen whole: {', '.join(str(piece.path) for piece in stay)} stays for it; "
            "delete it by hand if that folder is this one, moved"
        )
    if lost and after is not None:
        raise InputError(after.sentence())
    if into is None and after is not None and after.others:
        note(after.sentence() + ".")
    if into is not None and before is not None and before.pieces:
        note(f"{where.path} itself still lacks its part; type `hotfuel rescue {where.path}` when there is room, or delete it")


def _went_on() -> dict[Path, str]:
    """Sessions that a recorder began in the fallback folder because their own had gone, with what their notes say about it."""
    from hotfuel.log import spill
    from hotfuel.session import folder as session_folder
    from hotfuel.session import metadata

    found = {}
    for place in spill.fallback_folders():
        here: list[Path] = []
        with contextlib.suppress(OSError):
            here = sorted(place.iterdir())
        for folder in here:
            if (folder / session_folder.LOG).is_file():
                file = folder / session_folder.METADATA
                values = metadata.read(file)[0] if file.is_file() else {}
                found[folder] = str(values.get("note") or "")
    return found


def _split_out(log: Path, others: "Sequence[Other]", into: Path) -> dict[Path, int]:
    """Each other recording of a log in a folder of its own beside `into`, with its bytes."""
    from hotfuel.log import rescue as kept
    from hotfuel.session import folder as session_folder

    made = {}
    for other in others:
        if not other.again:
            folder = next(
                path for n in itertools.count(2) if not (path := into.with_name(f"{into.absolute().name}-{n}")).exists()
            )
            made[folder] = kept.split_out(log, other, folder / session_folder.LOG)
    return made


def _copied(where: "SessionFolder", into: Path) -> int:
    """The session's files and its whole log in a new folder; returns the log's bytes."""
    from hotfuel.log import rescue as kept
    from hotfuel.session import folder as session_folder

    if any((into / name).exists() for name in (session_folder.LOG, session_folder.CAR, session_folder.METADATA)):
        raise InputError(f"{into} already holds a session: give another folder; nothing is overwritten")
    count = kept.copy(where.log_path, into / session_folder.LOG)
    try:
        for file in (where.car_path, where.metadata_path, where.calibration_path):
            if file is not None:
                shutil.copyfile(file, into / file.name)
    except OSError as error:
        raise InputError(f"{into}: the log is there, the files beside it are not ({error.strerror}): make room") from None
    return count


def _from_pieces(piece: "Piece", into: Path | None, as_json: bool) -> None:
    from hotfuel.log import joined, spill
    from hotfuel.log import rescue as kept
    from hotfuel.session import folder as session_folder

    pieces = joined.chain_of(piece, list(spill.of(piece.log_id)))
    if into is None:
        gone = "" if piece.log.exists() else ", which has gone"
        raise InputError(f"{piece.path} was kept for {piece.log.parent}{gone}: {kept.put_back_by(piece)}")
    count = kept.make_log(pieces, into / session_folder.LOG)
    lines = [
        f"{counted(count, 'byte')} in {into}; put a car file beside them as {session_folder.CAR} for limits",
        f"look at it with: hotfuel review {typed(into)}",
    ]
    show({"session": str(into), "bytes": count}, lines, as_json)
    if pieces[0].base:
        note(
            f"the first {counted(pieces[0].base, 'byte')} of that drive {'is' if pieces[0].base == 1 else 'are'} in {piece.log}, and not here"
        )
    elsewhere = [one for one in spill.of(piece.log_id) if one not in pieces]
    for one in elsewhere:
        note(f"{one.path} is of the same number, and does not join these bytes: it was not taken; {kept.put_back_by(one)}")
    if pieces:
        note(
            f"the kept files stay, in case {piece.log.parent} comes back; if it does not, delete them by hand: "
            + ", ".join(str(one.path) for one in pieces)
        )
