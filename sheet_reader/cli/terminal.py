"""The terminal's streams made safe: no sign, no byte and no closed stream ends a command."""

from __future__ import annotations

import codecs
import io
import os
import re
import select
import signal
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from sheet_reader.errors import UsageError

PLAIN = "sheet-reader-plain"
"""Name of the error handler that writes signs the stream lacks in ASCII."""
_ASCII = {
    "–": "-", "—": "-", "‐": "-", "‑": "-", "−": "-", "“": '"', "”": '"', "„": '"', "‘": "'",
    "’": "'", "…": "...", "≥": ">=", "≤": "<=", "×": "x", "±": "+-", "·": ".", "•": "*", "→": "->",
    "█": "#", "▀": '"', "▄": "_", "─": "-", "━": "-", "═": "=", "│": "|", "┃": "|", "║": "|",
}  # fmt: skip
_REPLY = re.compile(
    r"\x1b\[[0-?]*[ -/]*[@-~]"  # a control sequence (ECMA-48, 5.4)
    r"|\x1b[PX^_\]][^\x1b\x07]*(?:\x1b\\|\x07)"  # a control string (ECMA-48, 5.6)
)


def plain(text: str) -> str:
    """``text`` in ASCII: typographic signs by their nearest look, others without accents or "?".

    >>> plain("“Höhe” ≥ 3 – 4 ☃")
    '"Hohe" >= 3 - 4 ?'
    """
    def bare(sign: str) -> str:
        return unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode() or "?"

    return "".join(s if s.isascii() else _ASCII.get(s) or bare(s) for s in text)


def _write_plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end


class _AsciiWriter(io.TextIOWrapper):
    """Writes ASCII only, under the name of a wider encoding: click takes a stream that calls
    itself ASCII for a mistaken one and writes UTF-8 past it.
    """

    def write(self, text: str) -> int:
        """Write ``text`` in ASCII; bytes are refused as by any text stream."""
        super().write(plain(text) if isinstance(text, str) else text)
        return len(text)


def make_streams_safe() -> None:
    """Let the standard streams take any text, and nothing else take the place of a closed one."""
    _keep_standard_numbers()
    codecs.register_error(PLAIN, _write_plain)
    sys.stdout, sys.stderr = _writer(sys.stdout), _writer(sys.stderr)
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")


def _keep_standard_numbers() -> None:
    """A file opened later must not become standard input, output or error."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


def _writer(stream: TextIO) -> TextIO:
    if not isinstance(stream, io.TextIOWrapper):
        return stream
    if codecs.lookup(stream.encoding).name != "ascii":
        stream.reconfigure(errors=PLAIN)
        return stream
    buffered = stream.line_buffering
    return _AsciiWriter(stream.buffer, "latin-1", errors=PLAIN, line_buffering=buffered)


def somebody_answers() -> bool:
    """Whether questions can be asked: input and output are a terminal."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


def must_be_answerable() -> None:
    """Raises UsageError where standard input is closed."""
    if sys.stdin is None or sys.stdin.closed:
        raise UsageError(
            "nobody can answer here: the standard input is closed",
            remedy="run the command in a terminal, or give it the answers in a file: < answers.txt",
        )


def typed_line() -> str:
    """The next line typed, without what the terminal itself has put before it.

    A terminal asked for its abilities may reply late, as if the reply were typed. Raises EOFError
    at the end of the input, UsageError where it is closed.
    """
    must_be_answerable()
    if sys.stdin.isatty():
        _wait_for_line()
    return _REPLY.sub("", input())


def answer_to(question: str) -> str | None:
    """What is typed after a question, without blanks around it; None at the end of the input."""
    print(question, end="", flush=True)
    try:
        return typed_line().strip()
    except EOFError:
        print()
        return None


def _wait_for_line() -> None:
    """Wait until a line is there, so that Ctrl-C ends the waiting whenever it comes.

    A signal between Python's last look for one and its call of read() would wait for the next key.
    Here it makes the wakeup pipe readable, before or during select().
    """
    with _wakeup() as woken:
        if woken is not None:
            select.select([sys.stdin, woken], [], [])


@contextmanager
def _wakeup() -> Iterator[int | None]:
    """The reading end of a pipe that every signal writes into; None where there is no such way."""
    if os.name != "posix":
        yield None
        return
    reading, writing = os.pipe()
    try:
        os.set_blocking(writing, False)
        before = signal.set_wakeup_fd(writing, warn_on_full_buffer=False)
    except ValueError:  # not in the main thread, which alone gets signals
        yield None
    else:
        try:
            yield reading
        finally:
            signal.set_wakeup_fd(before)
    finally:
        os.close(reading)
        os.close(writing)


def clean_name(text: str) -> str:
    """A name given as an argument: on one line, with bytes that are no text replaced."""
    from sheet_reader.intake.files import one_line

    with suppress(UnicodeEncodeError):  # half a character of a Windows name; one_line drops it
        text = text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return one_line(text)
