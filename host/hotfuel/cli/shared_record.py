"""Running the recorder on an open link, as `record` and `demo` do. Imports no command."""

import contextlib
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hotfuel.cli.shared import note
from hotfuel.units import Shown


def record_from(
    link: Any,
    folder: Path,
    car: Any,
    shown: Shown,
    *,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
    quiet: bool = False,
    wall: Callable[[], float] = time.time,
) -> dict[str, Any]:
    """Run the recorder on an open link until it is told to stop; warnings go to stderr. Returns its counts."""
    from dataclasses import asdict

    from hotfuel.live.warner import Warner
    from hotfuel.log.append import LogWriter
    from hotfuel.record.recorder import Recorder

    say = (lambda sentence: None) if quiet else note
    stopping: list[int] = []
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(ValueError):  # not in the main thread: whoever runs us stops us
            before[number] = signal.signal(number, lambda number, frame: stopping.append(number))
    try:
        with LogWriter(folder / "wire.log", warn=note) as writer:
            warner = Warner(car, shown, say) if car is not None else None
            heard = warner.hear if warner else (lambda payloads: None)
            recorder = Recorder(link, writer, heard=heard, say=say, folder=folder, wall=wall)
            if warner:
                recorder.acknowledge = warner.acknowledge
            return asdict(recorder.run(seconds, lambda: bool(stopping) or stop()))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
