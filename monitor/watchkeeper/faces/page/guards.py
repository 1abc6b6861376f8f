"""Who may do what over HTTP: the Host check, the headers that bind the browser, tokens and pairing.

Over the Unix socket the file's mode decides, so ``Access`` is None there. Over TCP no address is a boundary: any web
page that the operator visits can make the browser send requests here. So every route checks the Host header (a page
that rebinds its DNS name is refused), acts need the token in a header that other origins cannot send unasked, and
on a network reading needs a paired browser as well.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Awaitable, Callable, Collection

from aiohttp import web
from aiohttp.typedefs import Middleware

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

#: names under which the Unix socket may be addressed
UNIX_HOSTS = frozenset({"watch", "localhost"})
LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "[::1]"})
COOKIE = "watchkeeper-session"
SESSION_S = 7 * 24 * 3600
#: no letters and digits that look alike; 31 ** 8 codes, a handful of tries
CODE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ2346789"
CODE_LENGTH = 8
TRIES = 5
CODE_S = 600.0

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


class Access:
    """The keys of one page: its token, its pairing code, and the sessions that were paired.

    ``reading_open``: whether reading needs no session, as for a page that only this computer reaches.
    """

    def __init__(self, *, reading_open: bool, now: Callable[[], float] = time.monotonic) -> None:
        self.reading_open = reading_open
        self.token = secrets.token_urlsafe(32)
        self._now = now
        self._sessions: dict[str, float] = {}
        self._tries = 0
        self._code = ""
        self._code_ends = 0.0
        self.new_code()

    @property
    def code(self) -> str:
        """The pairing code in force; it works once, for ten minutes, and five wrong tries end it."""
        return self._code

    def new_code(self) -> str:
        """Replace the pairing code."""
        self._code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        self._code_ends = self._now() + CODE_S
        self._tries = 0
        return self._code

    def code_works(self) -> bool:
        """Whether the pairing code can still be used."""
        return bool(self._code) and self._now() < self._code_ends and self._tries < TRIES

    def pair(self, code: str) -> str | None:
        """A session for the right code, None for a wrong one."""
        alive = self.code_works()
        self._tries += 1
        if not alive or not _same(code.strip().upper().replace("-", ""), self._code):
            return None
        self._code = ""
        session = secrets.token_urlsafe(32)
        self._sessions[session] = self._now() + SESSION_S
        return session

    def may_act(self, request: web.Request) -> bool:
        """Whether the request carries the token, or comes from a paired browser and from our own page."""
        kind, _, token = request.headers.get("Authorization", "").partition(" ")
        if kind.lower() == "bearer" and _same(token, self.token):
            return True
        return self._paired(request) and _own_origin(request)

    def may_read(self, request: web.Request) -> bool:
        """Whether the request may see anything beyond the page's own files."""
        return self.reading_open or self._paired(request) or self.may_act(request)

    def _paired(self, request: web.Request) -> bool:
        ends = self._sessions.get(request.cookies.get(COOKIE, ""))
        return ends is not None and self._now() < ends


def _same(given: str, held: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), held.encode())


def _own_origin(request: web.Request) -> bool:
    return request.headers.get("Origin") == f"{request.scheme}://{request.host}"


def host_name(host: str) -> str:
    """The name in a Host header without its port: ``[::1]:80`` → ``[::1]``."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


def host_check(allowed: Collection[str]) -> Middleware:
    """A middleware that refuses every request addressed to a name other than ``allowed``, on every route."""
    names = frozenset(name.lower() for name in allowed)

    @web.middleware
    async def check(request: web.Request, handler: Handler) -> web.StreamResponse:
        if host_name(request.headers.get("Host", "")) not in names:
            return refusal(421, "this watch does not answer to that name")
        return await handler(request)

    return check


@web.middleware
async def plain_errors(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Errors of the framework in the same JSON form as ours."""
    try:
        return await handler(request)
    except web.HTTPException as error:
        if error.status < 400:
            raise
        answer = refusal(error.status, error.reason.lower())
        allow = error.headers.get("Allow")
        if allow is not None:
            answer.headers["Allow"] = allow
        return answer


async def bind_browser(_: web.Request, response: web.StreamResponse) -> None:
    """Put the security headers on every answer."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)


def refusal(status: int, why: str) -> web.Response:
    """The one form of an error: ``{"error": why}``."""
    return web.json_response({"error": why}, status=status)
