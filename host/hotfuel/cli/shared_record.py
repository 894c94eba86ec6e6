"""Running the recorder on an open link, as `record` and `demo` do. Imports no command."""

import contextlib
import signal
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hotfuel.cli.shared import note
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.car import Car
    from hotfuel.link.receive import Link
    from hotfuel.link.sentences import Receiver
    from hotfuel.record.resume import Earlier


def record_from(
    link: "Link",
    folder: Path,
    car: "Car | None",
    shown: Shown,
    *,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
    quiet: bool = False,
    wall: Callable[[], float] = time.time,
    fallback: Callable[[], Path] | None = None,
    begun: Callable[[Path], None] = lambda folder: None,
    moved: Callable[[Path], None] = lambda folder: None,
    earlier: "Earlier | None" = None,
    received: bytes = b"",
    receiver: "Receiver | None" = None,
) -> dict[str, Any]:
    """Run the recorder on an open link until it is told to stop; warnings go to stderr. Returns its counts, and the folder it ended in.

    fallback: makes a folder for a log whose own has gone. begun, moved: get the folder once bytes are on its disk, and when the log goes on in another.
    earlier: the drive it goes on with; received: what the link brought before. receiver: a link.sentences.Receiver whose sentences are kept too.
    """
    from hotfuel.live.warner import Warner
    from hotfuel.log.append import LogWriter
    from hotfuel.record.recorder import Recorder

    say = (lambda sentence: None) if quiet else note
    stopping: list[int] = []
    before = {}
    # SIGHUP: the terminal's window was closed. Some systems have none, and who asked to be left running ignores it.
    closed = [signal.SIGHUP] if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) != signal.SIG_IGN else []
    for number in (signal.SIGINT, signal.SIGTERM, *closed):
        with contextlib.suppress(ValueError):  # not in the main thread: our caller stops us
            before[number] = signal.signal(number, lambda number, frame: stopping.append(number))
    try:
        with LogWriter(folder / "wire.log", warn=note, fallback=fallback) as writer:
            warner = Warner(car, shown, say) if car is not None else None
            heard = warner.hear if warner else (lambda payloads: None)
            recorder = Recorder(link, writer, heard=heard, say=say, folder=folder, wall=wall, moved=moved, receiver=receiver)
            recorder.begun = lambda: begun(writer.path.parent)
            if warner:
                recorder.acknowledge = warner.acknowledge
            if earlier is not None:
                recorder.go_on(earlier.parts, earlier.tick, earlier.time_ms, earlier.wall_s)
            recorder.begin_with(received)
            counts = recorder.run(seconds, lambda: bool(stopping) or stop())
        return {**asdict(counts), "folder": str(writer.path.parent), "on_disk": writer.path.exists()}
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
