"""The command line: parses, calls, prints. No other room imports it."""

import contextlib
import os
import sys

INTERRUPTED = 130  # as shells tell it: 128 + SIGINT
STOPPED = "hotfuel: stopped by Ctrl-C; files that were there before are as they were, and none is left half-written"


def main() -> None:
    """Entry point of the `hotfuel` command. Ctrl-C is handled from the start, even while the libraries are still loading."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):  # not a terminal, file or pipe
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]  # a ? where a terminal has no degree sign
    # it would look for them in every installed package, and none is used
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        from hotfuel.cli.app import run

        run()
    except KeyboardInterrupt:
        print(STOPPED, file=sys.stderr)
        sys.exit(INTERRUPTED)


__all__ = ["main"]
