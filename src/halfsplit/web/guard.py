"""Who may talk to the server: checked before anything else, for pages and for the websocket alike.

A class in the server's own language (ASGI), because a middleware of the web framework never sees a
websocket. Three checks, each of which alone would stop one sort of attack:

* the Host header must be one we answer to: a foreign name that resolves to this machine is refused;
* an Origin header, where a browser sends one, must be that same host: no page of somebody else may
  talk to us. A websocket, and whatever changes something, must send one;
* a cookie with this server's secret. On the machine itself the first page hands it out. On a local
  network it comes only with the token of the address that was printed, once.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

HARMLESS = ("GET", "HEAD")
POLICY_VIOLATION = 1008  # RFC 6455, section 7.4.1
YEAR = 365 * 24 * 3600
# Nothing from elsewhere. The framework's pages have scripts and styles written into them and
# compile their templates in the browser, hence the two words beside 'self'.
CONTENT_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


@dataclass(frozen=True)
class Rules:
    """What the guard lets through.

    Attributes
    ----------
    hosts: values of the Host header that are ours, port included, small letters.
    secret: what the cookie must hold. cookie: its name; it has the port, as cookies do not.
    open_door: whether a page without the cookie is served, and given it: only on loopback.
    """

    hosts: frozenset[str]
    secret: str
    cookie: str
    open_door: bool


def rules(names: Iterable[str], port: int, secret: str, *, open_door: bool) -> Rules:
    """Rules for a server reached by these names or addresses at a port."""
    hosts = set()
    for name in names:
        bare = f"[{name}]" if ":" in name else name
        hosts.add(f"{bare}:{port}".lower())
    return Rules(frozenset(hosts), secret, f"halfsplit-{port}", open_door)


class Guard:
    """An ASGI application that lets through to another what the rules allow."""

    def __init__(self, app: App, rules: Rules) -> None:
        self.app = app
        self.rules = rules

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, refuse, or hand out the cookie."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        why = self.refusal(scope)
        token = self._token(scope)
        if not why and token is not None:
            await self._admit(scope, token, send)
        elif not why and not self._has_cookie(scope):
            if self._is_first_page(scope):
                await self.app(scope, receive, self._with_cookie(send))
            else:
                await _refuse(
                    scope,
                    send,
                    "this browser has not been let in: open the address "
                    "the program printed when it started, token included",
                )
        elif why:
            await _refuse(scope, send, why)
        else:
            await self.app(scope, receive, _with_headers(send))

    def refusal(self, scope: Scope) -> str:
        """Why Host or Origin will not do, or nothing."""
        hosts = _all(scope, b"host")
        if len(hosts) != 1 or hosts[0].lower() not in self.rules.hosts:
            return "this server does not answer to that name; open the address it printed"
        origins = _all(scope, b"origin")
        changing = scope["type"] == "websocket" or scope.get("method") not in HARMLESS
        if changing and not origins:
            return "a request that changes something must say which page it comes from"
        own = {f"{s}://{hosts[0]}".lower() for s in ("http", "https")}
        if any(o.lower() not in own for o in origins):
            return "a page from elsewhere may not talk to this server"
        return ""

    def _has_cookie(self, scope: Scope) -> bool:
        found = ""
        for line in _all(scope, b"cookie"):
            jar: SimpleCookie = SimpleCookie()
            try:
                jar.load(line)
            except CookieError:
                continue
            if self.rules.cookie in jar:
                found = jar[self.rules.cookie].value
        return secrets.compare_digest(found.encode(), self.rules.secret.encode())

    def _token(self, scope: Scope) -> str | None:
        """The token of the address, of a page asked for with one."""
        if scope["type"] != "http" or scope.get("method") not in HARMLESS:
            return None
        return dict(parse_qsl(scope.get("query_string", b"").decode("latin-1"))).get("token")

    def _is_first_page(self, scope: Scope) -> bool:
        """Whether this is a page asked for by the address bar of a browser on this machine."""
        if not self.rules.open_door or scope["type"] != "http" or scope["method"] != "GET":
            return False
        inner = scope["path"].startswith(("/_nicegui", "/static", "/files"))
        framed = _all(scope, b"sec-fetch-dest") not in ([], ["document"])
        return not inner and not framed

    async def _admit(self, scope: Scope, token: str, send: Send) -> None:
        """Turn a right token into the cookie, and take it off the address."""
        if not secrets.compare_digest(token.encode(), self.rules.secret.encode()):
            await _refuse(
                scope,
                send,
                "that token is not this server's: open the address it printed when it started",
            )
            return
        query = parse_qsl(scope.get("query_string", b"").decode("latin-1"))
        rest = urlencode([(k, v) for k, v in query if k != "token"])
        path = "/" + scope["path"].lstrip("/")  # two slashes would be another host
        where = escape(quote(path) + (f"?{rest}" if rest else ""), quote=True)
        # A page that goes on by itself, not a redirect: a strict cookie is not sent along one that
        # began on somebody else's page, such as a mail with the address in it.
        page = f'<!doctype html><meta http-equiv="refresh" content="0;url={where}"><title>.</title>'
        body = f'{page}<p><a href="{where}">Open the bench</a></p>'
        cookie = (b"set-cookie", self._cookie())
        await _answer(send, 200, body.encode(), b"text/html; charset=utf-8", (cookie,))

    def _cookie(self) -> bytes:
        made = f"{self.rules.cookie}={self.rules.secret}; Path=/; HttpOnly; SameSite=Strict"
        return f"{made}; Max-Age={YEAR}".encode()

    def _with_cookie(self, send: Send) -> Send:
        inner = _with_headers(send)

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                more = [(b"set-cookie", self._cookie()), (b"cache-control", b"no-store")]
                message = {**message, "headers": [*message.get("headers", []), *more]}
            await inner(message)

        return sent


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", []), *HEADERS]}
        await send(message)

    return sent


def _all(scope: Scope, name: bytes) -> list[str]:
    return [v.decode("latin-1") for k, v in scope.get("headers", []) if k.lower() == name]


async def _refuse(scope: Scope, send: Send, why: str) -> None:
    """Refuse in plain words; a websocket is closed before it is accepted."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": "refused"})
        return
    await _answer(send, 403, f"Refused: {why}.\n".encode(), b"text/plain; charset=utf-8", ())


async def _answer(
    send: Send, status: int, body: bytes, kind: bytes, more: tuple[tuple[bytes, bytes], ...]
) -> None:
    start = {
        "type": "http.response.start",
        "status": status,
        "headers": [(b"content-type", kind), (b"cache-control", b"no-store"), *HEADERS, *more],
    }
    await send(start)
    await send({"type": "http.response.body", "body": body})
