"""Who may ask the page what: small layers round it, each against one kind of trespass."""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pennyfall.cli.files.measurement import write_whole

KEYS_FILE = ".page-keys"
TOKEN_BYTES = 16
COOKIE_DAYS = 30
SAFE = ("GET", "HEAD")
DOOR = "/in/"
"""Where a code's address leads: it holds the token, and is left at once."""

HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
    # 'no-referrer' would make a browser hide the origin of the page's own forms, by which they are known; no
    # address but the door's holds a secret, and the door has 'no-referrer'.
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
STRANGER = (
    '<!doctype html><html lang="en"><meta name="viewport" content="width=device-width"><title>Closed</title>'
    "<h1>This page opens by the code on the coach's screen</h1><p>Scan it with this phone's camera. "
    'If you just did: <a href="/">open the page</a>.</p></html>'
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Tokens:
    """What opens the page: one for the coach's laptop, one for every phone."""

    coach: str
    phone: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Guest:
    """Who asks."""

    coach: bool
    name: str
    """Drawn by lot when the code was scanned: whose clips are whose."""

    def may_see(self, sender: str) -> bool:
        """Whether what a sender sent may be shown: the coach sees all, a phone its own."""
        return self.coach or sender == self.name


def kept_tokens(folder: Path) -> Tokens:
    """Return the tokens of a folder's page, made at the first time: phones stay in over a restart."""
    path = folder / KEYS_FILE
    try:
        return Tokens(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        made = {who: secrets.token_urlsafe(TOKEN_BYTES) for who in ("coach", "phone")}
        write_whole(path, json.dumps(made).encode())
        os.chmod(path, 0o600)  # noqa: PTH101 - a secret, unlike the measurements
        return Tokens(**made)


class ByAddress:
    """Answers only who names an IP address or localhost: no foreign name can be made to lead here."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer 400."""
        if scope["type"] == "http" and not _is_address(Headers(scope=scope).getlist("host")):
            answer = PlainTextResponse("Open this page by its address, as the code gives it.", 400)
            return await answer(scope, receive, send)
        return await self.app(scope, receive, send)


def _is_address(hosts: list[str]) -> bool:
    if len(hosts) != 1:
        return False
    try:
        parts = urlsplit(f"//{hosts[0]}")
        name = parts.hostname or ""
        bare = parts.netloc == hosts[0] and "@" not in hosts[0] and (parts.port or 1) > 0
        return bare and (name == "localhost" or bool(ip_address(name)))
    except ValueError:
        return False


class OwnPagesOnly:
    """Takes changes only from a page of its own: browsers always say where a form or a script comes from."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer 403."""
        if scope["type"] == "http" and scope["method"] not in SAFE:
            headers = Headers(scope=scope)
            if headers.getlist("origin") != [f"{scope.get('scheme', 'http')}://{headers['host']}"]:
                answer = PlainTextResponse("This did not come from a page of this address.", 403)
                return await answer(scope, receive, send)
        return await self.app(scope, receive, send)


class InvitedOnly:
    """Lets in who shows a token, and from then on the cookie it is swapped for; says who asks."""

    def __init__(self, app: ASGIApp, tokens: Tokens) -> None:
        self.app = app
        self.tokens = tokens

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on with `scope["guest"]`, swap a token for a cookie, or answer 401."""
        if scope["type"] != "http":
            return await self.app(scope, receive, send)
        request = Request(scope)
        if scope["path"].startswith(DOOR) and scope["method"] == "GET":
            return await self._door(request)(scope, receive, send)
        guest = self._guest(request)
        if guest is None:
            return await HTMLResponse(STRANGER, 401)(scope, receive, send)
        scope["guest"] = guest
        return await self.app(scope, receive, send)

    def _door(self, request: Request) -> Response:
        token = request.url.path.removeprefix(DOOR)
        if self._is_coach(token) is None:
            return HTMLResponse(STRANGER, 401, headers={"referrer-policy": "no-referrer"})
        known = self._guest(request)
        name = known.name if known else secrets.token_hex(8)
        answer = RedirectResponse("/", 303, headers={"referrer-policy": "no-referrer"})
        answer.set_cookie(
            cookie_name(request.scope),
            f"{token}.{name}",
            max_age=COOKIE_DAYS * 86400,
            httponly=True,
            samesite="strict",
        )
        return answer

    def _guest(self, request: Request) -> Guest | None:
        try:
            jar = SimpleCookie(request.headers.get("cookie", ""))
        except CookieError:
            return None
        shown = jar.get(cookie_name(request.scope))
        token, _, name = (shown.value if shown else "").partition(".")
        coach = self._is_coach(token)
        return None if coach is None or not name.isalnum() else Guest(coach=coach, name=name)

    def _is_coach(self, token: str) -> bool | None:
        """Return whose token it is; both are always compared, in constant time."""
        shown = token.encode()
        coach = compare_digest(shown, self.tokens.coach.encode())
        phone = compare_digest(shown, self.tokens.phone.encode())
        return coach if coach or phone else None


def cookie_name(scope: Scope) -> str:
    """Return the cookie's name: cookies know no ports, and two pages may run on one laptop."""
    return f"pennyfall-{scope['server'][1]}"


class Sealed:
    """Tells browsers to load nothing from elsewhere, keep nothing, guess nothing and frame nothing."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; add the headers that an answer does not set itself."""

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, sealed)


Answer = Callable[[Request], Awaitable[Response]]


def coach_only(route: Answer) -> Answer:
    """Keep a route for the coach: a phone's cookie gets 403."""

    async def guarded(request: Request) -> Response:
        if not request.scope["guest"].coach:
            return PlainTextResponse("This is for the coach's screen.", 403)
        return await route(request)

    return guarded
