"""`hotfuel follow`: watch a recording, or look at one that has ended."""

import os
import signal
import threading
import time
from pathlib import Path
from typing import Annotated

import typer

from hotfuel.cli.shared import Units, note
from hotfuel.errors import UsageError

_PATIENCE_S = 10.0


def follow(
    session: Annotated[Path, typer.Argument(help="Session folder, being recorded or finished.")],
    page: Annotated[bool, typer.Option("--page", help="Show it on a page in the browser.")] = False,
    terminal: Annotated[bool, typer.Option("--terminal", help="Show it in this terminal.")] = False,
    address: Annotated[
        str,
        typer.Option("--address", help="Where the page listens; anything but 127.0.0.1 opens it to the network, with a token."),
    ] = "127.0.0.1",
    number: Annotated[int, typer.Option("--page-port", help="The page's port; 0 takes a free one.", min=0, max=65535)] = 0,
    certificate: Annotated[Path | None, typer.Option("--certificate", help="PEM file: serve the page over HTTPS.")] = None,
    key: Annotated[
        Path | None, typer.Option("--key", help="PEM file with the certificate's key, if it is not in the same.")
    ] = None,
    browse: Annotated[bool, typer.Option("--browse", help="Open the page in this computer's browser.")] = False,
    bell: Annotated[bool, typer.Option("--bell", help="Ring the terminal's bell while an alarm sounds.")] = False,
    units: Units = None,
    recorder: Annotated[int | None, typer.Option("--recorder", hidden=True, help="End when this process ends.")] = None,
    shown: Annotated[
        Path | None,
        typer.Option(
            "--shown", hidden=True, help="File to create once it is shown; the recorder deletes it when the recording has ended."
        ),
    ] = None,
    after: Annotated[Path | None, typer.Option("--after", hidden=True, help="Begin when this file exists, or soon.")] = None,
) -> None:
    """Watch a recording, or look at one that has ended. Example: hotfuel follow sunday --page"""
    if page == terminal:
        raise UsageError("choose where to show it: --page or --terminal")
    if recorder is not None:
        threading.Thread(target=_end_with, args=(recorder,), daemon=True).start()
    if page:
        from hotfuel.live.serve import serve

        serve(
            session, address=address, port=number, units=units, say=note, certificate=certificate, key=key, browse=browse,
            with_recorder=recorder is not None, shown=shown,
        )  # fmt: skip
    else:
        from hotfuel.live import leaving
        from hotfuel.live import terminal as shown_terminal

        if recorder is not None:
            leaving.leave_ctrl_c()  # the page ends with the recording, and says so
        _wait_for(after)
        leaving.show_token(shown)
        shown_terminal.show(session, units=units, bell=bell)


def _wait_for(token: Path | None) -> None:
    """Wait until the view before has said its link. One that never does is not waited for long."""
    end = time.monotonic() + _PATIENCE_S
    while token is not None and not token.exists() and time.monotonic() < end:
        time.sleep(0.1)


def _end_with(recorder: int) -> None:
    """End this process when the one that started it has ended, in whatever way: its page would stay open otherwise. Viewers are told first."""
    from hotfuel.live.leaving import WAIT_S

    while os.getppid() == recorder:
        time.sleep(0.5)
    time.sleep(WAIT_S)
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(3.0)
    os._exit(0)
