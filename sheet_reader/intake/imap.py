"""A mailbox on a mail server: read only, over TLS, nothing in it is marked or moved.

The password comes from the environment or the system's keyring and is never written anywhere.
"""

from __future__ import annotations

import contextlib
import imaplib
import importlib
import os
import re
import ssl
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import unquote, urlsplit

from sheet_reader.errors import StorageError, UnavailableError, UsageError
from sheet_reader.intake.files import DEFAULT, MEGA
from sheet_reader.numbers import INTAKE

PASSWORD_VARIABLE = "SHEET_READER_MAIL_PASSWORD"
KEYRING_SERVICE = "sheet_reader mail"
DEFAULT_PORT = INTAKE.imap_port
SECONDS = INTAKE.imap_seconds
MOST_BYTES = DEFAULT.mail_bytes + MEGA
"""Taken from a server at once: the largest mail and its envelope."""
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True, slots=True)
class Mailbox:
    """Where mail lies: ``user`` on ``host``, in ``folder``."""

    user: str
    host: str
    port: int = DEFAULT_PORT
    folder: str = "INBOX"

    def __str__(self) -> str:
        return f"{self.folder} on {self.host}"


@dataclass(frozen=True, slots=True)
class Message:
    """One mail as it lies on the server: ``mark`` names it for good; ``data`` is None where it has
    more bytes (``size``) than allowed.
    """

    mark: str
    size: int
    data: bytes | None


def parse_mailbox(text: str) -> Mailbox:
    """The mailbox meant by ``imaps://user@host[:port][/folder]`` or ``user@host``.

    A user name with an @ in it is written with ``%40`` in the first form and as it is in the
    second, where the part after the last @ is the host: ``pat@example.org@imap.example.org``.
    Raises :class:`UsageError`, also for a password in the text: it would stay in the history of
    the shell.
    """
    if "://" not in text:
        user, _, host = text.rpartition("@")
        text = f"imaps://{user.replace('@', '%40')}@{host}"
    try:
        parts = urlsplit(text)
        port = parts.port or DEFAULT_PORT
    except ValueError as error:
        raise UsageError(f"this is not a mailbox: {error}") from error
    if parts.scheme != "imaps":
        raise UsageError("a mailbox is written imaps://user@host/folder")
    if parts.password is not None:
        raise UsageError(
            "a password must not stand in the mailbox's name",
            remedy=f"put it into {PASSWORD_VARIABLE} or the keyring",
        )
    if not parts.hostname or not parts.username:
        raise UsageError("a mailbox needs a user and a host: imaps://user@host/folder")
    folder = unquote(parts.path.strip("/")) or "INBOX"
    if re.search(r"[\x00-\x1f\x7f]", folder + unquote(parts.username)):
        raise UsageError("the mailbox's name has control characters")
    return Mailbox(unquote(parts.username), parts.hostname, port, folder)


def password_for(mailbox: Mailbox) -> str:
    """The password from the environment, else from the keyring; raises :class:`UsageError`."""
    if password := os.environ.get(PASSWORD_VARIABLE):
        return password
    with contextlib.suppress(Exception):  # no keyring installed, none running, or locked
        keyring = importlib.import_module("keyring")
        kept = keyring.get_password(KEYRING_SERVICE, f"{mailbox.user}@{mailbox.host}")
        if kept:
            return str(kept)
    raise UsageError(
        f"there is no password for {mailbox.user} on {mailbox.host}",
        remedy=f'set {PASSWORD_VARIABLE}, or keep it in the keyring under "{KEYRING_SERVICE}"',
    )


class _OddAnswerError(Exception):
    """The server says something that can't be meant."""


class _Server(imaplib.IMAP4_SSL):
    """A connection that takes no more bytes at once than ``MOST_BYTES``, whatever is announced."""

    def read(self, size: int) -> bytes:
        """The next ``size`` bytes from the server."""
        if size > MOST_BYTES:
            self.shutdown()
            raise _OddAnswerError(f": it announces {size / 1e6:,.0f} MB at once")
        return super().read(size)


def _asked(call: Callable[..., Any], *words: Any, **options: Any) -> Any:
    """What a call of imaplib gives; whatever it stumbles on in an answer means the same here."""
    try:
        return call(*words, **options)
    except (ValueError, TypeError, AttributeError, LookupError, ArithmeticError) as error:
        if isinstance(error, ssl.SSLCertVerificationError):  # a ValueError, too
            raise
        raise _OddAnswerError("") from error


@contextlib.contextmanager
def connected(mailbox: Mailbox, password: str) -> Iterator[imaplib.IMAP4_SSL]:
    """A connection with the folder opened read-only (EXAMINE). Raises :class:`StorageError` where
    the server cannot be reached or trusted or falls silent, :class:`UsageError` where it refuses.
    """
    try:
        context = ssl.create_default_context()
        server = _asked(_Server, mailbox.host, mailbox.port, ssl_context=context, timeout=SECONDS)
    except (OSError, imaplib.IMAP4.error, _OddAnswerError) as error:
        raise _told(mailbox, error) from error
    try:
        _log_in(server, mailbox, password)
        yield server
    except (OSError, imaplib.IMAP4.abort, EOFError, _OddAnswerError) as error:
        raise _told(mailbox, error) from error
    except imaplib.IMAP4.error as error:
        raise _told(mailbox, _OddAnswerError("")) from error
    finally:
        with contextlib.suppress(OSError, imaplib.IMAP4.error, EOFError, _OddAnswerError):
            _asked(server.logout)
        with contextlib.suppress(OSError):
            server.shutdown()


def _log_in(server: imaplib.IMAP4_SSL, mailbox: Mailbox, password: str) -> None:
    try:
        _asked(server.login, mailbox.user, password)
    except imaplib.IMAP4.abort:
        raise
    except imaplib.IMAP4.error as error:
        raise UsageError(
            f"the mail server refuses the name or password of {mailbox.user}", where=mailbox.host
        ) from error
    quoted = mailbox.folder.replace("\\", "\\\\").replace('"', '\\"')
    state, _ = _asked(server.select, f'"{quoted}"', readonly=True)
    if state != "OK":
        raise UsageError(f"there is no folder {mailbox.folder}", where=mailbox.host)


def _told(mailbox: Mailbox, error: Exception) -> StorageError:
    if isinstance(error, _OddAnswerError):
        what = f"the mail server answers in an odd way{error}"
        remedy = "check the address of the mailbox; what had arrived is kept"
        return StorageError(what, where=str(mailbox), remedy=remedy)
    remedy = "what had arrived is kept; run the command again later"
    if isinstance(error, ssl.SSLCertVerificationError):
        what = f"the mail server's certificate is not to be trusted ({error.verify_message})"
        return StorageError(what, where=str(mailbox), remedy=remedy)
    said = getattr(error, "strerror", None) or str(error) or type(error).__name__
    what = f"the mail server cannot be reached ({said})"
    return UnavailableError(what, where=str(mailbox), remedy=remedy)


def messages(
    server: imaplib.IMAP4_SSL, since: date, known: frozenset[str], most_bytes: int
) -> Iterator[Message]:
    """The mails that came on ``since`` or later and whose mark is not ``known``, oldest first."""
    _, validity = server.response("UIDVALIDITY")
    era = validity[0].decode("ascii", "replace") if validity and validity[0] else "0"
    day = f"{since.day}-{_MONTHS[since.month - 1]}-{since.year}"
    _, found = _asked(server.uid, "SEARCH", f"SINCE {day}")
    for uid in (found[0] or b"").split():
        mark = f"{era}/{uid.decode('ascii', 'replace')}"
        if mark not in known and (letter := _message(server, uid, mark, most_bytes)) is not None:
            yield letter


def _message(server: imaplib.IMAP4_SSL, uid: bytes, mark: str, most_bytes: int) -> Message | None:
    """One mail, or None where it has been removed meanwhile."""
    number = uid.decode("ascii", "replace")
    _, answer = _asked(server.uid, "FETCH", number, "(RFC822.SIZE)")
    said = b" ".join(part for part in answer if isinstance(part, bytes))
    if (told := re.search(rb"RFC822\.SIZE (\d{1,18})\b", said)) is None:
        return None
    size = int(told.group(1))
    if size > most_bytes:
        return Message(mark, size, None)
    _, answer = _asked(server.uid, "FETCH", number, "(BODY.PEEK[])")
    parts = (part for part in answer if isinstance(part, tuple) and len(part) == 2)
    return next((Message(mark, size, bytes(data)) for _, data in parts), None)
