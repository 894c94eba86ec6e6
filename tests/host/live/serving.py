"""The page's server in its own process, forked from one that has imported its modules: a tenth of the start time of a fresh interpreter."""

import asyncio
import contextlib
import multiprocessing
import os
import re
import signal
import sys
import tempfile
import time
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["hotfuel.live.serve", "hotfuel.live.page"])


def finished(trial: Coroutine[Any, Any, Any]) -> Any:
    """The result of a coroutine, run in its own thread: a browser that other tests keep open has an event loop running in this one."""
    with ThreadPoolExecutor(1) as alone:
        return alone.submit(asyncio.run, trial).result()


def _serve(said: str, complaints: str, path: str, address: str, more: dict[str, Any]) -> None:
    from hotfuel.live.serve import serve

    for number, name in ((1, said), (2, complaints)):
        os.dup2(os.open(name, os.O_WRONLY | os.O_APPEND), number)
    serve(path, address=address, say=lambda sentence: print(sentence, flush=True), **more)
    sys.stdout.flush()


def serve_losing_the_interrupt(path: Path) -> None:
    """Serve, and be told to end as the link is said; the KeyboardInterrupt is swallowed there, as a finaliser would."""
    from hotfuel.live.serve import serve

    def lost(sentence: str) -> None:
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)

    serve(path, say=lost)


class Served:
    """serve(path, address=..., units=..., **more) in that process. `url` is its link."""

    def __init__(self, path: Path, address: str = "127.0.0.1", units: str | None = "us", **more: Any) -> None:
        self._folder = tempfile.TemporaryDirectory()
        self._said, self._complaints = Path(self._folder.name) / "said", Path(self._folder.name) / "complaints"
        for name in (self._said, self._complaints):
            name.touch()
        self.process = CONTEXT.Process(
            target=_serve,
            args=(str(self._said), str(self._complaints), str(path), address, {"units": units, **more}),
            daemon=True,
        )
        self.process.start()
        while not (found := re.search(r"http://\S+(?=\s)", self.said())):
            assert self.process.is_alive(), self.said() + self.complaints()
            time.sleep(0.02)
        self.url = found.group()

    def said(self) -> str:
        """Its standard output so far."""
        return self._said.read_text()

    def complaints(self) -> str:
        """Its standard error so far."""
        return self._complaints.read_text()

    def alive(self) -> bool:
        """True while it runs."""
        return self.process.is_alive()

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Send it this signal to end. Returns its exit code."""
        assert self.process.pid is not None
        os.kill(self.process.pid, number)
        self.process.join(30)
        assert self.process.exitcode is not None
        return self.process.exitcode

    def kill(self) -> None:
        """Kill it, as a crash would."""
        self.process.kill()
        self.process.join(30)

    def close(self) -> None:
        """End it if it still runs."""
        if self.alive():
            self.stop()
        self._folder.cleanup()

    def __enter__(self) -> "Served":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
