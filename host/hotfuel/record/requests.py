"""Requests from page and terminal to a running recorder: lines in a file beside the log. No port is opened; a client that dies leaves nothing behind."""

import json
import os
import time
from pathlib import Path
from typing import Any

NAME = "requests.jsonl"
TEXT_MAX = 200  # characters of a mark
_LINE_MAX = 2000  # bytes; longer lines are ignored
_KINDS = ("mark", "acknowledge", "end")


def ask(folder: str | os.PathLike[str], kind: str, text: str = "", wall_s: float | None = None) -> None:
    """Ask the recorder of the session in `folder`: "mark" (with `text`), "acknowledge" (silence the alarm), "end" (end the recording).

    wall_s: when it happened, unix seconds; now if not given. Raises ValueError for another kind, OSError if the folder cannot be written.
    """
    if kind not in _KINDS:
        raise ValueError(f"a recorder can be asked for {', '.join(_KINDS)}, not {kind}")
    line = json.dumps({"kind": kind, "text": text[:TEXT_MAX], "wall_s": time.time() if wall_s is None else wall_s})
    with open(Path(folder) / NAME, "a", encoding="utf-8") as file:
        file.write(line + "\n")


class Requests:
    """The recorder's side: the requests since it began."""

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self._path = Path(folder) / NAME
        self._position = self._path.stat().st_size if self._path.exists() else 0

    def new(self) -> list[dict[str, Any]]:
        """New requests, each with kind, text, wall_s. Skips lines that are not requests."""
        try:
            if self._path.stat().st_size <= self._position:
                return []
            with open(self._path, "rb") as file:
                file.seek(self._position)
                data = file.read()
        except OSError:
            return []
        whole = data.rfind(b"\n") + 1
        self._position += whole
        return [request for line in data[:whole].splitlines() if (request := _request(line)) is not None]


def _request(line: bytes) -> dict[str, Any] | None:
    try:
        read = json.loads(line) if len(line) <= _LINE_MAX else None
    except (ValueError, RecursionError):
        return None
    if not isinstance(read, dict) or read.get("kind") not in _KINDS:
        return None
    wall_s, text = read.get("wall_s"), read.get("text")
    if not isinstance(wall_s, int | float) or not 0 <= wall_s < 1e11 or not isinstance(text, str):
        return None
    return {"kind": read["kind"], "text": text[:TEXT_MAX], "wall_s": float(wall_s)}
