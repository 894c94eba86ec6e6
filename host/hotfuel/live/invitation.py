"""How people reach the page: its link, this computer's browser, a code for phones, and the warning before it is opened to a network."""

import contextlib
import io
import ipaddress
import os
import socket
import sys
import webbrowser
from collections.abc import Callable

PLAIN_RISK = (
    "Over plain HTTP anyone on this network can read the page, and anyone who sees the link can mark and end the recording: "
    "use your own network, or give --certificate and --key."
)


def link(address: str, port: int, token: str, secure: bool) -> str:
    """The page's link as people are given it."""
    name = address
    if token and address in ("", "0.0.0.0", "::"):
        name = _own_address()
    with contextlib.suppress(ValueError):
        name = f"[{name}]" if ipaddress.ip_address(name).version == 6 else name
    return f"{'https' if secure else 'http'}://{name}:{port}/{token}"


def invite(url: str, token: str, secure: bool, say: Callable[[str], None], browse: bool) -> None:
    """Say the link; where it is for others, what they can do with it, a code for phones, and the risk of plain HTTP. browse: open a browser."""
    say(f"live page: {url}" + ("  (anyone with this link can watch, mark and end the recording)" if token else ""))
    if token:
        say(code(url))
        if not secure:
            say(PLAIN_RISK)
    if browse and _has_screen():
        with contextlib.suppress(webbrowser.Error, OSError):
            webbrowser.open(url)


def code(url: str) -> str:
    """The link as a QR code of text, two modules a letter high, with the quiet zone phones need."""
    import segno  # loads only where a page is opened to a network

    out = io.StringIO()
    segno.make(url, micro=False).terminal(out, compact=True)
    return out.getvalue()


def _own_address() -> str:
    """This computer's address in the network it would use; no packet is sent for it."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737)
        return str(probe.getsockname()[0])
    return socket.gethostname()


def _has_screen() -> bool:
    """False over ssh and the like, where a text-mode browser would take over the recording's terminal."""
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
