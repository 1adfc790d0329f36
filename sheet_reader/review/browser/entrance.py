"""Who may open the page: a token in a private file, good once, then a cookie.

A command line can be read by everybody on the machine, a file of mode 0600 by its owner only.
Opening the file sends the token and gets the cookie; the file then holds the next token, so that a
closed browser can be opened again.
"""

from __future__ import annotations

import contextlib
import hmac
import os
import secrets
from collections.abc import Sequence
from pathlib import Path

from sheet_reader.errors import StorageError
from sheet_reader.numbers import REVIEW
from sheet_reader.review.browser.pages import page

MOST_COOKIES = REVIEW.page_cookies


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
        self._cookies = [*self._cookies, secrets.token_urlsafe(32)][-MOST_COOKIES:]
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
