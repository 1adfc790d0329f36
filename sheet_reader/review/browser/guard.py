"""Who may open the page, and what every request must pass before it reaches it.

A command line can be read by everybody on the machine, a file of mode 0600 by its owner only.
Opening the file sends a token, good once, and gets a cookie; the file then holds the next token, so
that a closed browser can be opened again.

Requests are checked on the ASGI scope itself.
Never on a URL put together from the request: that follows the Host header (CVE-2026-48710). Other
pages of the same machine are "same-site" but not "same-origin" (Fetch Metadata, W3C), so they are
strangers here; a foreign name that points to this machine fails at the Host.
"""

from __future__ import annotations

import contextlib
import hmac
import json
import os
import secrets
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sheet_reader.errors import StorageError
from sheet_reader.numbers import REVIEW
from sheet_reader.review.browser.pages import page

OPEN = "/open"
MOST_BYTES = REVIEW.page_body_bytes
FAULT = "Something failed in the program; the terminal says what."
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
HEADERS = [
    (b"content-security-policy", POLICY.encode()),
    (b"cache-control", b"no-store"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
]
"""Sent with every answer, refusals too."""


class Entrance:
    """The token of the moment and the cookies given for former ones. ``file`` None: no file."""

    def __init__(self, port: int, file: Path | None = None) -> None:
        self.port, self.file = port, file
        self.cookie_name = f"sheet-reader-{port}"
        self.token = ""
        self._cookies: list[str] = []
        self._renew()

    def take(self, token: str) -> str | None:
        """The cookie for a token, which is used up by that; None for a wrong one."""
        if not hmac.compare_digest(token.encode(), self.token.encode()):
            return None
        self._renew()
        self._cookies = [*self._cookies, secrets.token_urlsafe(32)][-REVIEW.page_cookies :]
        return self._cookies[-1]

    def knows(self, cookies: Sequence[str]) -> bool:
        """Whether one of the Cookie headers has a cookie that was given here."""
        shown = [part.strip() for header in cookies for part in header.split(";")]
        named = [part[len(self.cookie_name) + 1 :] for part in shown
                 if part.startswith(f"{self.cookie_name}=")]  # fmt: skip
        return any(
            hmac.compare_digest(value.encode("utf-8", "replace"), known.encode())
            for value in named
            for known in self._cookies
        )

    def close(self) -> None:
        """Take the file away."""
        if self.file is not None:
            with contextlib.suppress(OSError):
                self.file.unlink()

    def _renew(self) -> None:
        self.token = secrets.token_urlsafe(32)
        if self.file is None:
            return
        text = page("entrance.html", port=self.port, token=self.token)
        part = self.file.with_name(f".{self.file.name}.part")
        try:
            with contextlib.suppress(FileNotFoundError):
                part.unlink()
            number = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(number, "w", encoding="utf-8") as stream:
                stream.write(text)
            part.replace(self.file)
        except OSError as error:
            said = (error.strerror or str(error)).lower()
            raise StorageError(f"cannot write here: {said}", where=self.file.parent) from error


class Refused(Exception):  # noqa: N818 (a refusal, no error of the program)
    """A request that is not let in, with the HTTP status and a line for who reads it."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(line)
        self.status, self.line = status, line


class Guard:
    """Lets requests of the page itself through to ``app``, bounded; answers all others.

    ``port`` is the one that is listened on, ``tell`` gets a line for each fault of the program.
    """

    def __init__(
        self, app: ASGIApp, entrance: Entrance, port: int, tell: Callable[[str], None]
    ) -> None:
        self._app, self._entrance, self._tell = app, entrance, tell
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "http":
            await self._request(scope, receive, _Sender(send))
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _request(self, scope: Scope, receive: Receive, send: _Sender) -> None:
        try:
            self._check(scope)
            body = await _body(scope, receive)
            await self._app(scope, _given(body, receive), send)
        except Refused as refused:
            await send.plain(refused.status, refused.line)
        except Exception as error:
            first = next(iter(str(error).splitlines()), "")
            self._tell(f"unexpected error in the page ({type(error).__name__}: {first})")
            await send.plain(500, FAULT)

    def _check(self, scope: Scope) -> None:
        host = _only(scope, b"host")
        if host not in self.hosts:
            raise Refused(403, "This page answers under its own address only.")
        method, path = scope["method"], scope["path"]
        if method not in ("GET", "HEAD", "POST"):
            raise Refused(405, "The page does nothing of that kind.")
        raw = scope.get("raw_path") or path.encode("utf-8", "replace")
        if any(part in raw for part in (b"%", b"\\", b"..", b"//")):
            raise Refused(404, "There is nothing here.")
        if method == "POST" and path == OPEN:
            return  # from the private file, whose origin is none: the token is its proof
        self._same_origin(scope, host, writes=method == "POST")
        if not self._entrance.knows(_all(scope, b"cookie")):
            raise Refused(403, "Open the page with the file that the terminal names.")

    def _same_origin(self, scope: Scope, host: str, *, writes: bool) -> None:
        site = _all(scope, b"sec-fetch-site")
        if not writes:
            if not set(site) <= {"same-origin", "none"}:
                raise Refused(403, "Another page asks for this.")
            return
        if site != ["same-origin"] or _all(scope, b"origin") != [f"http://{host}"]:
            raise Refused(403, "Another page asks for this.")
        kind = _only(scope, b"content-type")
        if kind.split(";")[0].strip() != "application/json":
            raise Refused(415, "The page speaks JSON.")


def _all(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]


def _only(scope: Scope, name: bytes) -> str:
    """The header that must be there once; "" where it is not."""
    found = _all(scope, name)
    return found[0] if len(found) == 1 else ""


async def _body(scope: Scope, receive: Receive) -> bytes:
    """The whole body, which may not be long; raises :class:`Refused`."""
    told = _only(scope, b"content-length")
    if told and (not told.isdecimal() or len(told) > 9 or int(told) > MOST_BYTES):
        raise Refused(413, "That is more than an answer can be.")
    parts, size, more = [], 0, True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "The connection ended.")
        part = message.get("body", b"")
        size += len(part)
        if size > MOST_BYTES:
            raise Refused(413, "That is more than an answer can be.")
        parts.append(part)
        more = message.get("more_body", False)
    return b"".join(parts)


def _given(body: bytes, receive: Receive) -> Receive:
    left = [body]

    async def replay() -> Message:
        if left:
            return {"type": "http.request", "body": left.pop(), "more_body": False}
        return await receive()

    return replay


class _Sender:
    """Sends with HEADERS; knows whether an answer has begun."""

    def __init__(self, send: Send) -> None:
        self._send, self._begun = send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._begun = True
            own = {name for name, _ in HEADERS}
            kept = [pair for pair in message.get("headers", []) if pair[0] not in own]
            message = {**message, "headers": [*kept, *HEADERS]}
        await self._send(message)

    async def plain(self, status: int, line: str) -> None:
        """A refusal in a line, unless an answer has begun."""
        if self._begun:
            return
        body = json.dumps({"error": line}, ensure_ascii=False).encode()
        headers: list[Any] = [
            (b"content-type", b"application/json"),
            (b"content-length", str(len(body)).encode()),
        ]
        await self({"type": "http.response.start", "status": status, "headers": headers})
        await self._send({"type": "http.response.body", "body": body})
