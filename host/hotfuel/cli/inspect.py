"""`hotfuel inspect`: the bytes of a log shown field by field, as PROTOCOL.md declares them."""

from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import Json, note, show
from hotfuel.errors import InputError


def inspect(
    log: Annotated[Path, typer.Argument(help="Session folder or wire.log file.")],
    only: Annotated[
        list[str] | None, typer.Option("--only", help="Only messages of this name, e.g. health; may be given often.")
    ] = None,
    first: Annotated[int, typer.Option("--from", min=0, help="Begin at this byte of the log.")] = 0,
    most: Annotated[int, typer.Option("--count", min=1, help="How many frames to show.")] = 20,
    as_json: Json = False,
) -> None:
    """The bytes of a log, frame by frame and field by field. Example: hotfuel inspect sunday --only health --count 3"""
    if find_spec("construct") is None:
        raise InputError("inspect needs construct: pip install 'hotfuel[inspect]'")
    from hotfuel.link import inspect as view
    from hotfuel.log import follow, rescue
    from hotfuel.log.ending import ending
    from hotfuel.session import folder

    names = view.names(only or [])
    path = folder.find(log).log_path
    frames: list[dict[str, Any]] = []
    lines: list[str] = []
    for frame in view.frames(follow.blocks(path, everything=True), first):
        if names and frame.name not in names:
            continue
        frames.append(
            {"at": frame.at, "bytes": frame.raw.hex(" "), "message": frame.name, "problem": frame.problem, "fields": frame.values}
        )
        lines += frame.lines
        if len(frames) == most:
            break
    if not frames:
        lines = [f"no {' or '.join(sorted(names)) or 'frame'} from byte {first} of {log} on"]
    standing = rescue.standing(path)
    broken_off = ending(path, standing=standing)
    lacks = [f"{standing.sentence()}."] if standing is not None else []
    lacks += [broken_off.sentence()] if broken_off is not None and broken_off.sure else []
    show({"frames": frames, **({"not_whole": " ".join(lacks)} if lacks else {})}, lines, as_json)
    if lacks:
        note(f"{path} is not whole: {' '.join(lacks)}")
