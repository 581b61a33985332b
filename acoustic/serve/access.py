"""Who may ask: hosts, origins and sessions are looked at before any page is.

A browser sends its cookie along with what another site makes it ask for. So every change needs an origin of
ours as well, and a token that only our own pages carry.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qs

from litestar import Request
from litestar.datastructures import Cookie
from litestar.enums import ScopeType
from litestar.exceptions import ClientException, NotAuthorizedException, PermissionDeniedException
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from acoustic.serve.pairing import Pairing, is_form_token
from acoustic.serve.settings import Settings
from acoustic.serve.uploads import MOST_FIELD_BYTES

COOKIE = "crank-session"
TOKEN_FIELD, TOKEN_HEADER = "form_token", "x-form-token"
SAFE = {"GET", "HEAD", "OPTIONS"}
OPEN_PATHS = ("/pair", "/static/")
API = "/api/"
KEPT_S = 365 * 24 * 3600  # a phone is paired once a year, or until it is ended in the list
# Nothing is loaded from elsewhere, and no other page may put ours into itself.
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self' blob:; connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none at all, browsers hide the origin of our own forms too
    "permissions-policy": "microphone=(self), camera=(self), accelerometer=(self), gyroscope=(self)",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class Access:
    """Stands before the pages.

    Parameters
    ----------
    app : ASGI application
    settings : Settings
    pairing : Pairing
    """

    def __init__(self, app: ASGIApp, settings: Settings, pairing: Pairing) -> None:
        self._app, self._settings, self._pairing = app, settings, pairing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with the device that asks in the scope's state."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        request: Request[Any, Any, Any] = Request(scope)
        self._require_host(request)
        secret, from_program = _secret(request)
        if request.method not in SAFE and not from_program:
            self._require_origin(request)
        path = scope["path"]
        device = self._pairing.device_of(secret)
        # A program's token opens the interface and nothing else, a browser's session all but that.
        good = device is not None and (device.kind == "program") == from_program == path.startswith(API)
        if not good and not path.startswith(OPEN_PATHS):
            raise NotAuthorizedException("this device is not paired with the workshop's counter page")
        scope["state"].update(device=device, secret=secret, from_program=from_program)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {name.lower() for name, _ in message["headers"]}
                more = dict(HEADERS) if path.startswith("/static/") else {**HEADERS, "cache-control": "no-store"}
                message["headers"] = [
                    *message["headers"],
                    *((name.encode(), text.encode()) for name, text in more.items() if name.encode() not in there),
                ]
            await send(message)

        await self._app(scope, receive, with_headers)

    def _require_host(self, request: Request[Any, Any, Any]) -> None:
        given = request.headers.get("host", "")
        good = {f"{name}:{self._settings.port}" for name in self._settings.names}
        if given.lower() not in good:
            raise ClientException("the address in the browser's bar is none of the counter page's own")

    def _require_origin(self, request: Request[Any, Any, Any]) -> None:
        if request.headers.get("origin") not in self._settings.addresses:
            raise PermissionDeniedException("this did not come from a page of the counter's own")


def _secret(request: Request[Any, Any, Any]) -> tuple[str, bool]:
    """The secret that came along, and whether a program sent it."""
    given = request.headers.get("authorization", "")
    if given.lower().startswith("bearer "):
        return given[7:].strip(), True
    return request.cookies.get(COOKIE, ""), False


def session_cookie(secret: str, *, secure: bool) -> Cookie:
    """The cookie that holds a session: scripts cannot read it, and other sites' links do not carry it."""
    return Cookie(
        key=COOKIE, value=secret, max_age=KEPT_S, path="/", httponly=True, samesite="strict", secure=secure
    )


def require_token(request: Request[Any, Any, Any], fields: Mapping[str, str]) -> None:
    """Refuse a form that is not from one of our pages.

    Raises
    ------
    PermissionDeniedException
        Its token is missing, or another session's.
    """
    given = fields.get(TOKEN_FIELD) or request.headers.get(TOKEN_HEADER) or ""
    if not is_form_token(request.state.secret, given):
        raise PermissionDeniedException("the page was open for too long, or this did not come from it; reload it")


async def read_form(request: Request[Any, Any, Any], *, token: bool = True) -> dict[str, str]:
    """Read a small form, and look at its token first.

    Raises
    ------
    ClientException
        It is too long.
    PermissionDeniedException
        As `require_token`.
    """
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_FIELD_BYTES:
            raise ClientException("the form is too long")
    pairs = parse_qs(body.decode("utf-8", errors="replace"), keep_blank_values=True, max_num_fields=100)
    fields = {name: values[-1] for name, values in pairs.items()}
    if token:
        require_token(request, fields)
    return fields
