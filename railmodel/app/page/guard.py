"""Who may ask, and how: this machine's own page only, and nothing but JSON for changes.

A browser says by `Host`, `Origin` and `Sec-Fetch-Site` (Fetch Metadata, W3C) where a request comes from; a page of
another site can neither read from here nor change anything, whatever name it gives this machine.
"""

import json
import re
import secrets
from dataclasses import dataclass, field
from time import perf_counter

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

COOKIE = "railmodel_code"
WRONG = 10
"""Wrong codes before no more are taken."""

_NUMBERS = re.compile(r"(?:[0-9]{1,3}(?:\.[0-9]{1,3}){3}|\[[0-9a-fA-F:]{2,39}\])(?::[0-9]{1,5})?")

SAFE = ("GET", "HEAD")
PAGES = ("/", "/bend")


@dataclass(slots=True)
class Lan:
    """A second door, for looking only: a port of its own, and a code to be typed.

    Args:
        port: its port.
        code: six digits, shown on the terminal.
        token: what a browser keeps once the code was right.
        wrong: how often it was not.
    """

    port: int
    code: str = field(default_factory=lambda: f"{secrets.randbelow(1_000_000):06d}")
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    wrong: int = 0

    def takes(self, code: object) -> bool:
        """Whether a code is the right one; after too many wrong ones none is."""
        if self.wrong >= WRONG:
            return False
        if isinstance(code, str) and code.isascii() and secrets.compare_digest(code.strip(), self.code):
            return True
        self.wrong += 1
        return False

    def knows(self, cookie: str | None) -> bool:
        """Whether a browser has given the code before."""
        return cookie is not None and cookie.isascii() and secrets.compare_digest(cookie, self.token)


class Guard:
    """Stands before everything else."""

    def __init__(self, app: ASGIApp, *, port: int, lan: Lan | None = None) -> None:
        self._app = app
        self._port = port
        self._lan = lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it with a sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        far = self._lan is not None and scope["server"] is not None and scope["server"][1] == self._lan.port
        scope.setdefault("state", {})["readonly"] = far
        refused = self._refused(scope, headers, far)
        began = perf_counter()

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                answer = MutableHeaders(scope=message)
                _protect(answer, scope["path"])
                answer["Server-Timing"] = f"all;dur={(perf_counter() - began) * 1e3:.1f}"  # W3C Server Timing
            await send(message)

        if refused is None:
            await self._app(scope, receive, with_headers)
        else:
            await _say(with_headers, *refused)

    def _refused(self, scope: Scope, headers: Headers, far: bool) -> tuple[int, str] | None:
        """Why a request is refused; None where it is not."""
        method, path = scope["method"], scope["path"]
        hosts = self._hosts()
        if not far and headers.get("host") not in hosts:
            return 403, "this page answers to its own address on this machine only"
        if far and not _is_address(headers.get("host", "")):
            return 403, "give the address of this machine as numbers, as the terminal shows it"
        origin = headers.get("origin")
        own = {f"http://{headers.get('host')}"} if far else {f"http://{host}" for host in hosts}
        if origin is not None and origin not in own:
            return 403, "another site may not ask here"
        site = headers.get("sec-fetch-site", "none")
        visit = headers.get("sec-fetch-mode") == "navigate" and method == "GET" and path in PAGES
        if site not in ("same-origin", "none") and not visit:
            return 403, "another site may not ask here"
        if method not in SAFE:
            if far and path != "/api/code":
                return 423, "this page is for looking only; change the job on the machine it is open on"
            kind = headers.get("content-type", "").split(";")[0].strip().lower()
            if kind != "application/json":
                return 415, "changes are taken as application/json only"
        return None

    def _hosts(self) -> set[str]:
        return {f"127.0.0.1:{self._port}", f"localhost:{self._port}"}


def _is_address(host: str) -> bool:
    """Whether a host is written as numbers: a name could lead here from anywhere."""
    return _NUMBERS.fullmatch(host) is not None


def _protect(headers: MutableHeaders, path: str) -> None:
    headers.setdefault("Content-Security-Policy", POLICY)
    headers.setdefault("Cache-Control", "no-cache" if path.startswith("/static/") else "no-store")
    headers["X-Content-Type-Options"] = "nosniff"
    headers["X-Frame-Options"] = "DENY"
    headers["Referrer-Policy"] = "no-referrer"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"


async def _say(send: Send, status: int, sentence: str) -> None:
    body = json.dumps({"error": sentence, "problems": [{"says": sentence, "at": None}]}).encode()
    start = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": start})
    await send({"type": "http.response.body", "body": body})
