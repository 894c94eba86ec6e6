"""Serving the page: sockets, certificate, link, signals; until the recording ends or the user does."""

import asyncio
import contextlib
import logging
import signal
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets

from hotfuel.errors import InputError
from hotfuel.live import guard, invitation, leaving
from hotfuel.session import folder as session_folder

if TYPE_CHECKING:
    from hotfuel.live.page import Page

_SEND_BUFFER = 1 << 16


def serve(
    session_path: str | Path,
    *,
    address: str = "127.0.0.1",
    port: int = 0,
    units: str | None = None,
    say: Callable[[str], None] = print,
    certificate: str | Path | None = None,
    key: str | Path | None = None,
    browse: bool = False,
    with_recorder: bool = False,
    shown: Path | None = None,
) -> None:
    """Show a session on a page until Ctrl-C or SIGTERM. Says its link once.

    address: where it listens; on any other than loopback the link holds a token, without which everything is refused. port: 0 takes a free one.
    certificate, key: PEM files, for HTTPS. browse: open the link in this computer's browser, if there is one.
    with_recorder: end with the recording instead of by Ctrl-C, once the browsers that look know that it has ended. shown: `leaving.show_token`.
    Raises InputError if there is no recording, or address or certificate cannot be used.
    """
    for noisy in ("bokeh", "tornado"):
        logging.getLogger(noisy).setLevel(logging.CRITICAL)  # a hostile browser could fill the log through them
    secure = _secured(certificate, key)
    session_folder.find(session_path)
    token = "" if address in guard.LOOPBACK_ADDRESSES else guard.new_token()
    try:
        sockets = bind_sockets(port, address or "0.0.0.0", backlog=64)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"the page cannot listen on {address} port {port} ({reason}): give another address or port, or 0 for a free one"
        ) from None
    # Data for a browser that does not read then waits in our queue, where it is counted, and not in the system's buffers.
    for listening in sockets:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
    link = invitation.link(address, sockets[0].getsockname()[1], token, secure is not None)
    asked_to_end: list[int] = []

    def end(number: int, frame: object) -> None:
        asked_to_end.append(number)
        raise KeyboardInterrupt  # which is lost where it falls into a finaliser, hence the list

    ending = (signal.SIGTERM,) if with_recorder else (signal.SIGINT, signal.SIGTERM)
    for number in ending:
        with contextlib.suppress(ValueError):  # not in the main thread
            signal.signal(number, end)  # until the loop listens to it
    try:
        invitation.invite(link, token, secure is not None, say, browse)
        # with the charts' library, seconds on a slow computer: a browser waits for them, the link does not
        from hotfuel.live.page import Page

        page = Page(session_path, units, say)
        try:
            asyncio.run(_run(page, token, sockets, secure, ending, asked_to_end, with_recorder, shown))
        finally:
            page.state.close()
    except KeyboardInterrupt:
        return
    finally:
        for listening in sockets:
            listening.close()


def _secured(certificate: str | Path | None, key: str | Path | None) -> ssl.SSLContext | None:
    if certificate is None:
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    try:
        context.load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as error:
        raise InputError(
            f"the certificate {certificate} cannot be used ({getattr(error, 'strerror', None) or error}): give a PEM file, and its key with --key"
        ) from None
    return context


async def _run(
    page: "Page",
    token: str,
    sockets: list[socket.socket],
    secure: ssl.SSLContext | None,
    ending: tuple[int, ...],
    asked_to_end: list[int],
    with_recorder: bool,
    shown: Path | None,
) -> None:
    """ending: the signals that end it; asked_to_end: those that came before the loop listened to them."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    if with_recorder:
        leaving.leave_ctrl_c()
    for number in ending:
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):  # not in the main thread, or not on this system
            loop.add_signal_handler(number, stop.set)
    if asked_to_end:
        stop.set()
    application = guard.GuardedApplication(page.handlers(), token, lambda: len(page.views), lambda: page.late_s, page.keep_up)
    http = HTTPServer(
        application, max_header_size=1 << 14, max_body_size=guard.MESSAGE_MAX, idle_connection_timeout=60, ssl_options=secure
    )
    http.add_sockets(sockets)
    tasks = [asyncio.create_task(page.work())]
    leaving.show_token(shown)  # after the link: a terminal that waits for it draws over what is said later
    if with_recorder:
        tasks.append(asyncio.create_task(leaving.after_the_recording(page, stop, ended=leaving.taken_away(shown))))
    try:
        await stop.wait()
    finally:
        for task in tasks:
            task.cancel()
        http.stop()
        for view in list(page.views):
            view.close()
        await asyncio.sleep(0)
