"""Who may talk to the service: Host, Origin, token; and what a page of it may do.

One ASGI layer around everything, WebSockets included, because the framework checks no Origin
there. On plain http the token travels in the clear: a network for the golfers' own devices.
"""

from __future__ import annotations

import hashlib
import hmac
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from server.problems import problem_response
from server.settings import Settings

COOKIE = "torsolog_access"
COOKIE_AGE_S = 180 * 24 * 3600
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
POLICY_VIOLATION = 1008
"""WebSocket close code, RFC 6455 section 7.4.1."""

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
"""plotly.js 4 writes style elements and attributes of its own, and turns its drawing into a picture
through a blob URL; it needs no more (tried in Chromium)."""

PROTECTIVE_HEADERS = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


class RefusedRequestError(Exception):
    """A request that may not pass."""

    def __init__(self, status: HTTPStatus, detail: str) -> None:
        super().__init__(detail)
        self.status = status


class Guard:
    """ASGI layer that lets through what may pass and adds the protective headers."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._names = settings.host_names()
        self._token = settings.token
        self._cookie = _cookie_value(settings.token) if settings.token else ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check, then pass on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        try:
            check_host(headers, self._names)
            check_origin(scope, headers)
            entered = self._check_token(scope, headers)
        except RefusedRequestError as refusal:
            await _refuse(refusal, scope, receive, send)
            return
        if entered is not None:
            await entered(scope, receive, _protected(send))
        elif scope["type"] == "http":
            await self._app(scope, receive, _protected(send))
        else:
            await self._app(scope, receive, send)

    def _check_token(self, scope: Scope, headers: Headers) -> Response | None:
        """None: may pass. A response: the token came in a link and is now a cookie."""
        if self._token is None:
            return None
        if scope["type"] == "http" and scope["method"] in SAFE_METHODS:
            query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
            given = [value for name, value in query if name == "token"]
            if given and _same(given[0], self._token):
                return self._enter(scope, query)
        bearer = headers.get("authorization", "")
        if bearer.lower().startswith("bearer ") and _same(bearer[7:].strip(), self._token):
            return None
        if _same(_cookie_of(headers), self._cookie):
            return None
        raise RefusedRequestError(
            HTTPStatus.UNAUTHORIZED,
            "open the link with the token that the service printed at its start",
        )

    def _enter(self, scope: Scope, query: list[tuple[str, str]]) -> Response:
        rest = urlencode([(name, value) for name, value in query if name != "token"])
        path = "/" + str(scope["path"]).lstrip("/")
        response = RedirectResponse(path + (f"?{rest}" if rest else ""), HTTPStatus.SEE_OTHER)
        response.set_cookie(
            COOKIE, self._cookie, max_age=COOKIE_AGE_S, httponly=True, samesite="lax"
        )
        return response


def check_host(headers: Headers, names: frozenset[str]) -> None:
    """Refuse a Host that is none of this service's names (DNS rebinding)."""
    if len(headers.getlist("host")) != 1 or _name_of(headers["host"]) not in names:
        raise RefusedRequestError(
            HTTPStatus.MISDIRECTED_REQUEST,
            "this service does not answer to that host name; add it to its allowed hosts",
        )


def check_origin(scope: Scope, headers: Headers) -> None:
    """Refuse what another site's page sends. Programs send neither header and may pass."""
    site = headers.get("sec-fetch-site")
    origin = headers.get("origin")
    changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
    foreign = origin is not None and not _same_origin(origin, headers["host"])
    if changes and (foreign or site not in (None, "same-origin", "none")):
        raise RefusedRequestError(
            HTTPStatus.FORBIDDEN, "this request comes from a page of another site"
        )
    navigates = headers.get("sec-fetch-mode") == "navigate"
    if site == "cross-site" and not navigates and str(scope["path"]).startswith("/api"):
        raise RefusedRequestError(
            HTTPStatus.FORBIDDEN, "this request comes from a page of another site"
        )


def _same_origin(origin: str, host: str) -> bool:
    parts = urlsplit(origin)
    return parts.scheme in ("http", "https") and parts.netloc.lower() == host.lower()


def _name_of(host: str) -> str:
    """Host name or address of a Host header, without port and brackets."""
    host = host.lower()
    if host.startswith("["):
        return host[1:].split("]", 1)[0]
    return host.split(":", 1)[0]


def _cookie_value(token: str) -> str:
    """What the cookie holds: proof of the token, not the token."""
    return hmac.new(token.encode(), b"torsolog cookie", hashlib.sha256).hexdigest()


def _cookie_of(headers: Headers) -> str:
    cookies: SimpleCookie = SimpleCookie()
    try:
        cookies.load("; ".join(headers.getlist("cookie")))
    except CookieError:
        return ""
    return cookies[COOKIE].value if COOKIE in cookies else ""


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode(), wanted.encode())


async def _refuse(refusal: RefusedRequestError, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "http":
        wants_page = "text/html" in Headers(scope=scope).get("accept", "")
        response = (
            PlainTextResponse(f"torsolog: {refusal}.\n", refusal.status)
            if wants_page
            else problem_response(refusal.status, str(refusal))
        )
        await response(scope, receive, _protected(send))
    else:
        await WebSocketClose(POLICY_VIOLATION, str(refusal))(scope, receive, send)


def _protected(send: Send) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in PROTECTIVE_HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return with_headers
