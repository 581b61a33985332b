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
from litestar.exceptions import (
    ClientException,
    HTTPException,
    NotAuthorizedException,
    NotFoundException,
    PermissionDeniedException,
)
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from acoustic.serve.limits import Limits, patient
from acoustic.serve.pairing import Pairing, is_form_token
from acoustic.serve.settings import MOST_UPLOAD_BYTES, Settings
from acoustic.serve.uploads import FILM_LESS, MOST_FIELD_BYTES, TOO_LARGE

TOKEN_FIELD, TOKEN_HEADER = "form_token", "x-form-token"
SAFE = {"GET", "HEAD", "OPTIONS"}
# What may be seen without a session: the way to one, and what helps when that fails.
OPEN_PATHS, STATIC = {"/pair", "/help"}, "/static/"
UPLOADS, STREAM = {"/checks", "/api/checks", "/book/look"}, "/changes"
API = "/api/"
# Judgement: of a form without a file; an install sheet is the longest.
MOST_FORM_BYTES, MOST_FIELDS = 200_000, 200
MOST_PATH = 500  # judgement: ours have under a hundred letters
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
        self._limits = Limits()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with the device that asks in the scope's state."""
        if scope["type"] != ScopeType.HTTP:
            raise PermissionDeniedException("the counter page speaks HTTP alone")
        request: Request[Any, Any, Any] = Request(scope)
        self._require_host(request)
        if len(scope["path"]) > MOST_PATH or "\0" in scope["path"]:
            raise NotFoundException("there is no such page")
        secret, from_program = _secret(request, self._settings.cookie)
        if request.method not in SAFE and not from_program:
            self._require_origin(request)
        path = scope["path"]
        device = self._pairing.device_of(secret)
        # A program's token opens the interface and nothing else, a browser's session all but that.
        good = device is not None and (device.kind == "program") == from_program == path.startswith(API)
        who = device.uid if device is not None and good else _address(request)
        self._limits.require_rate(who, paired=good)
        if not good and path not in OPEN_PATHS and not path.startswith(STATIC):
            raise NotAuthorizedException("this device is not paired with the workshop's counter page")
        if (request.method, path) == ("POST", "/pair"):
            self._limits.require_code(_address(request))
        kind = _kind(request)
        _require_size(request, MOST_UPLOAD_BYTES + MOST_FIELD_BYTES if kind == "upload" else MOST_FORM_BYTES)
        scope["state"].update(device=device, secret=secret, from_program=from_program)
        with self._limits.held(who, kind):
            await self._app(scope, patient(receive), self._guarded(request, send, secret))

    def _guarded(self, request: Request[Any, Any, Any], send: Send, secret: str) -> Send:
        """Send with our headers, and no longer than the session lasts."""
        path, ended = request.scope["path"], False

        async def guarded(message: Message) -> None:
            nonlocal ended
            if ended:
                return
            if message["type"] == "http.response.start":
                if path == "/pair" and message["status"] == 403:
                    self._limits.count_wrong_code(_address(request))
                there = {name.lower() for name, _ in message["headers"]}
                more = HEADERS if path.startswith(STATIC) else {**HEADERS, "cache-control": "no-store"}
                message["headers"] = [
                    *message["headers"],
                    *((name.encode(), text.encode()) for name, text in more.items() if name.encode() not in there),
                ]
            elif path == STREAM and self._pairing.device_of(secret) is None:
                ended = True
                message = {"type": "http.response.body", "body": b"", "more_body": False}
            await send(message)

        return guarded

    def _require_host(self, request: Request[Any, Any, Any]) -> None:
        if request.headers.get("host", "").lower() not in self._settings.hosts:
            own = ", ".join(self._settings.addresses)
            raise ClientException(
                f"the address in the browser's bar is none of the counter page's own, which are {own}"
            )

    def _require_origin(self, request: Request[Any, Any, Any]) -> None:
        if request.headers.get("origin") not in self._settings.addresses:
            raise PermissionDeniedException("this did not come from a page of the counter's own")


def _secret(request: Request[Any, Any, Any], cookie: str) -> tuple[str, bool]:
    """The secret that came along, and whether a program sent it."""
    given = request.headers.get("authorization", "")
    if given.lower().startswith("bearer "):
        return given[7:].strip(), True
    return request.cookies.get(cookie, ""), False


def _address(request: Request[Any, Any, Any]) -> str:
    return request.client.host if request.client else ""


def _kind(request: Request[Any, Any, Any]) -> str:
    """What is counted together with it."""
    path = request.scope["path"]
    if path == STREAM:
        return "stream"
    return "upload" if request.method == "POST" and path in UPLOADS else "page"


def _require_size(request: Request[Any, Any, Any], most: int) -> None:
    """Refuse at once what says itself that it is too large; what lies is counted where it is read."""
    said = request.headers.get("content-length", "0")
    if not said.isascii() or not said.isdigit() or int(said) > most:
        raise HTTPException(detail=f"{TOO_LARGE}. {FILM_LESS}", status_code=413)


def session_cookie(secret: str, settings: Settings) -> Cookie:
    """The cookie that holds a session: scripts cannot read it, and other sites' links do not carry it."""
    return Cookie(
        key=settings.cookie,
        value=secret,
        max_age=KEPT_S,
        path="/",
        httponly=True,
        samesite="strict",
        secure=settings.secure,
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
        if len(body) > MOST_FORM_BYTES:
            raise ClientException("the form is too long")
    try:
        pairs = parse_qs(
            body.decode("utf-8", errors="replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS
        )
    except ValueError:
        raise ClientException("the form has too many fields") from None
    fields = {name: values[-1] for name, values in pairs.items()}
    if token:
        require_token(request, fields)
    return fields
