"""`hotfuel rescue`: put back what a full or lost disk left elsewhere."""

import shutil
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Json, note, show
from hotfuel.errors import InputError


def rescue(
    session: Annotated[
        Path | None, typer.Argument(help="Session folder, or one of the kept files that this command lists.", show_default=False)
    ] = None,
    into: Annotated[
        Path | None, typer.Option("--into", help="Folder to make, on a disk with room; holds the whole drive then.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Put back what could not be written to a drive's own disk. Example: hotfuel rescue sunday

    Without a session it lists what is kept on this computer, also of drives whose folder has gone.
    """
    from hotfuel.log import rescue as kept
    from hotfuel.log import spill
    from hotfuel.session import folder as session_folder

    if session is None:
        found = kept.orphans()
        lines = [kept.words(pieces) for pieces in found.values()]
        rows = [{"log": str(pieces[0].log), "files": [str(piece.path) for piece in pieces]} for pieces in found.values()]
        lines += (
            ["put it back with: hotfuel rescue SESSION, or, if its folder has gone: hotfuel rescue FILE --into FOLDER"]
            if rows
            else []
        )
        show({"kept": rows}, lines or ["nothing is kept elsewhere: every drive recorded here is whole on its disk"], as_json)
        return
    piece = spill.look(session)
    if piece is not None:
        _from_pieces(piece, into, as_json)
        return
    where = session_folder.find(session)
    before = kept.standing(where.log_path)
    if into is None:
        count = kept.put_back(where.log_path)
        lines = [f"{count} bytes put back into {where.log_path}" if count else f"nothing of {where.log_path} is kept elsewhere"]
        result: dict[str, Any] = {"session": str(where.path), "bytes": count}
    else:
        count = _copied(where, into)
        lines = [f"{count} bytes, the whole drive, in {into}"]
        result = {"session": str(into), "bytes": count}
    after = kept.standing(where.log_path)
    lost = after.missing if after is not None and after.missing is not None else None
    show({**result, "whole": lost is None}, lines, as_json)
    if lost is not None and after is not None:
        raise InputError(after.sentence())
    if into is not None and before is not None:
        note(f"{where.path} itself still lacks its part; type `hotfuel rescue {where.path}` when there is room, or delete it")


def _copied(where: Any, into: Path) -> int:
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


def _from_pieces(piece: Any, into: Path | None, as_json: bool) -> None:
    from hotfuel.log import identity
    from hotfuel.log import rescue as kept
    from hotfuel.session import folder as session_folder

    pieces = kept.orphans().get(piece.log_id) or [piece]
    if into is None:
        here = piece.log.exists() and identity.of(piece.log) == piece.log_id
        remedy = f"type: hotfuel rescue {piece.log.parent}" if here else "say where to, with --into FOLDER"
        raise InputError(f"{piece.path} belongs to {piece.log.parent}{'' if here else ', which has gone'}: {remedy}")
    count = kept.make_log(pieces, into / session_folder.LOG)
    lines = [
        f"{count} bytes in {into}; put a car file beside them as {session_folder.CAR} for limits",
        f"look at it with: hotfuel review {into}",
    ]
    show({"session": str(into), "bytes": count}, lines, as_json)
    if pieces[0].base:
        note(
            f"the first {pieces[0].base} bytes of that drive are in {piece.log} and were not here; the kept files stay, in case that disk comes back: "
            + ", ".join(str(one.path) for one in pieces)
        )
