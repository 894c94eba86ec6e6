"""Who may look at the page. One gate before every answer: HTML, scripts, WebSocket.

On loopback the name asked for must be a loopback name (a web page elsewhere could point its own name here). On any other address the first part of
the path must be the token of the link. A WebSocket must come from the page itself. Everything else is refused without a look.
"""

import hmac
import secrets
from urllib.parse import urlsplit

from bokeh.resources import Resources
from bokeh.server.tornado import BokehTornado
from bokeh.server.views.static_handler import StaticHandler
from tornado import httputil, web

LOOPBACK_ADDRESSES = ("127.0.0.1", "::1", "localhost")
_LOOPBACK_NAMES = frozenset(("127.0.0.1", "localhost", "::1"))
PAGES_MAX = 24  # open pages; each costs memory
MESSAGE_MAX = 1 << 16  # bytes of one WebSocket message from a browser

_HEADERS = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
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
    """Says no, whatever was asked."""

    def initialize(self, status: int, why: str) -> None:
        self._status, self._why = status, why

    def prepare(self) -> None:
        self.set_status(self._status)
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(self._why + "\n")


class GuardedTornado(BokehTornado):
    """The bokeh application behind the gate. token: "" for loopback."""

    def __init__(self, application: object, token: str) -> None:
        self._token = token
        super().__init__(
            application,
            prefix=token,
            # The gate has compared origin and host before bokeh looks at the origin.
            extra_websocket_origins=["*"],
            use_index=False,
            websocket_max_message_size_bytes=MESSAGE_MAX,
            transforms=[_Headers],
            check_unused_sessions_milliseconds=5_000,  # a page that was closed makes room soon
            unused_session_lifetime_milliseconds=10_000,
            stats_log_frequency_milliseconds=3_600_000,
        )

    def resources(self, absolute_url: str | bool | None = None) -> Resources:
        """The one script the page needs, from this server whatever the surroundings say."""
        return Resources(
            mode="server",
            root_url=f"/{self._token}/" if self._token else "/",
            path_versioner=StaticHandler.append_version,
            components=["bokeh"],
        )

    def find_handler(self, request: httputil.HTTPServerRequest, **more: object):
        """Every request passes here first: what `refusal` names is answered with 403, a page too many with 503."""
        upgrade = "websocket" in request.headers.get("Upgrade", "").lower() or request.path.endswith("/ws")
        origin = request.headers.get("Origin", "") if upgrade else None
        why = refusal(request.path, request.host, origin, self._token)
        if why:
            return self.get_handler_delegate(request, _Refuse, {"status": 403, "why": why})
        if not upgrade and "/static/" not in request.path and len(self.get_sessions("/")) >= PAGES_MAX:
            return self.get_handler_delegate(
                request, _Refuse, {"status": 503, "why": f"{PAGES_MAX} pages are open already; close one"}
            )
        return super().find_handler(request, **more)
