"""Who may see the page. Every request is checked here first: HTML, scripts, WebSocket.

On loopback the name asked for must be a loopback name (a web page elsewhere could point its own name here). On any other address the first part of
the path must be the token of the link. A WebSocket must come from the page itself, and no part of the page is given to another site. Everything else
is refused unread. The number of open pages and of pending answers is limited.
"""

import collections
import hmac
import secrets
import time
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

from tornado import httputil, iostream, web

LOOPBACK_ADDRESSES = ("127.0.0.1", "::1", "localhost")
_LOOPBACK_NAMES = frozenset(("127.0.0.1", "localhost", "::1"))
PAGES_MAX = 24  # open pages; each is sent every panel
PENDING_MAX = 64  # answers not yet taken; a browser that does not read holds one
RUSH_MAX, LATE_S = 20, 0.15  # from so many requests a second on, they are refused while the viewers' updates are this late
MESSAGE_MAX = 1 << 16  # bytes of one WebSocket message from a browser

_HEADERS = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",  # the link holds the token
    "Content-Security-Policy": "default-src 'self' 'unsafe-inline' data: blob:; connect-src 'self' ws: wss:; frame-ancestors 'none'; "
    "form-action 'none'; base-uri 'none'",
}


def new_token() -> str:
    """192 random bits, as they go into the link."""
    return secrets.token_urlsafe(24)


def refusal(path: str, host: str, origin: str | None, token: str) -> str:
    """Why a request is refused, "" if it is not. token: "" on loopback. origin: None where the request is no WebSocket."""
    if token:
        given = path.split("/")[1] if path.startswith("/") else ""
        if not hmac.compare_digest(given.encode("utf-8", "replace"), token.encode()):
            return "this page needs the whole link that was shown where it was started"
    elif _name(host) not in _LOOPBACK_NAMES:
        return "this page is for this computer only"
    if origin is not None and _origin_host(origin) != host.lower():
        return "the page of another site may not connect here"
    return ""


def foreign(headers: Mapping[str, str]) -> str:
    """Why a fetch on behalf of another site is refused, "" if it is not one. Following a link to the page is none.

    Browsers say whose fetch it is where the page counts as trustworthy to them, on loopback and over HTTPS (W3C Fetch Metadata, Sec-Fetch-Site).
    """
    site = headers.get("Sec-Fetch-Site", "none")
    followed = headers.get("Sec-Fetch-Mode") == "navigate" and headers.get("Sec-Fetch-Dest") == "document"
    if site not in ("same-origin", "none") and not followed:
        return "another site may not fetch this"
    return ""


def _name(host: str) -> str:
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _origin_host(origin: str) -> str:
    try:
        parts = urlsplit(origin)
    except ValueError:
        return ""
    return parts.netloc.lower() if parts.scheme in ("http", "https") else ""


class _Headers(web.OutputTransform):
    """Puts the headers that keep other sites out on every answer."""

    def __init__(self, request: httputil.HTTPServerRequest) -> None:
        super().__init__(request)

    def transform_first_chunk(
        self, status_code: int, headers: httputil.HTTPHeaders, chunk: bytes, finishing: bool
    ) -> tuple[int, httputil.HTTPHeaders, bytes]:
        for name, value in _HEADERS.items():
            headers[name] = value
        return status_code, headers, chunk


class _Refuse(web.RequestHandler):
    """Refuses every request."""

    def initialize(self, status: int, why: str) -> None:
        self._status, self._why = status, why

    def prepare(self) -> None:
        self.set_status(self._status)
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(self._why + "\n")


class Rush:
    """Whether requests crowd out the viewers: many in a second while updates are late. One browser on a slow computer is never refused for that."""

    def __init__(self, late_s: Callable[[], float], clock: Callable[[], float] = time.monotonic) -> None:
        self._late_s, self._clock = late_s, clock
        self._at: collections.deque[float] = collections.deque(maxlen=RUSH_MAX)

    def too_many(self) -> bool:
        """Count a request; True if it is one too many."""
        self._at.append(self._clock())
        return len(self._at) == RUSH_MAX and self._at[-1] - self._at[0] < 1.0 and self._late_s() > LATE_S


class GuardedApplication(web.Application):
    """The handlers behind the gate, under the token's path. token: "" for loopback. `pending`: answers that a browser has not taken whole yet.
    late_s: how late the viewers' updates are. keep_up: called before every request."""

    def __init__(
        self,
        handlers: list[Any],
        token: str,
        viewers: Callable[[], int],
        late_s: Callable[[], float],
        keep_up: Callable[[], None],
    ) -> None:
        start = f"/{token}" if token else ""
        routes = [(start + path, *more) for path, *more in handlers]
        super().__init__(routes, transforms=[_Headers], websocket_max_message_size=MESSAGE_MAX, websocket_ping_interval=20)
        self._token, self._viewers, self._rush, self._keep_up = token, viewers, Rush(late_s), keep_up
        self.pending = 0

    def find_handler(self, request: httputil.HTTPServerRequest, **more: Any) -> Any:
        """Called first for every request: answers 403 for what `refusal` names, 503 for one page or answer too many."""
        self._keep_up()
        upgrade = "websocket" in request.headers.get("Upgrade", "").lower() or request.path.endswith("/live")
        origin = request.headers.get("Origin", "") if upgrade else None
        why = refusal(request.path, request.host, origin, self._token) or foreign(request.headers)
        if why:
            return self.get_handler_delegate(request, _Refuse, {"status": 403, "why": why})
        if (not upgrade and self._rush.too_many()) or self.pending >= PENDING_MAX:
            return self.get_handler_delegate(
                request, _Refuse, {"status": 503, "why": "too many requests are waiting; try again in a moment"}
            )
        if self._viewers() >= PAGES_MAX:
            return self.get_handler_delegate(
                request, _Refuse, {"status": 503, "why": f"{PAGES_MAX} pages are open already; close one"}
            )
        return super().find_handler(request, **more)


class Answer(web.RequestHandler):
    """A handler whose answer counts as pending until the browser has taken it."""

    application: GuardedApplication

    async def send(self, data: bytes, kind: str, packed: bytes = b"", kept_s: int = 0) -> None:
        """data, or `packed` (the same, gzip) where the browser takes that. kept_s: how long a browser may keep it."""
        self.set_header("Content-Type", kind)
        self.set_header("Cache-Control", f"private, max-age={kept_s}, immutable" if kept_s else "no-store")
        if packed:
            self.set_header("Vary", "Accept-Encoding")
            if "gzip" in self.request.headers.get("Accept-Encoding", ""):
                self.set_header("Content-Encoding", "gzip")
                data = packed
        self.application.pending += 1
        try:
            await self.finish(data)
        except iostream.StreamClosedError:
            pass  # it went away
        finally:
            self.application.pending -= 1
