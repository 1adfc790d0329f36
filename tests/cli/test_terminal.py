"""A review in a real (pseudo) terminal."""

import os
import select
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from sheet_reader.cli.terminal import typed_line

pty = pytest.importorskip("pty", reason="this system has no pseudo terminals")
PLANTS = "pinched.plants"


class Terminal:
    """A program running in a terminal of 80 × 40, and what it has shown."""

    def __init__(self, words: list[str], folder: Path) -> None:
        environment = {
            **os.environ,
            "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
            "COLUMNS": "80",
            "LINES": "40",
        }
        environment.pop("NO_COLOR", None)
        self.pid, self.handle = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.execve(sys.executable, [sys.executable, *words], environment)
        self.shown = ""

    def wait_for(self, text: str, seconds: float = 600) -> None:
        """Read the screen until ``text`` comes; ``seconds`` only keep a failure from hanging."""
        until = time.monotonic() + seconds
        while text not in self.shown:
            ready, _, _ = select.select([self.handle], [], [], max(0.0, until - time.monotonic()))
            if not ready:
                raise AssertionError(f"{text!r} did not come; shown: {self.shown[-2000:]!r}")
            try:
                self.shown += os.read(self.handle, 65536).decode("utf-8", "replace")
            except OSError:  # Linux reports the end of a pseudo terminal as EIO
                raise AssertionError(f"ended without {text!r}: {self.shown[-2000:]!r}") from None

    def type(self, keys: str) -> None:
        """Press keys, after erasing what was shown before."""
        self.shown = ""
        os.write(self.handle, keys.encode())

    def end(self) -> int:
        """Wait for the end; gives the exit code."""
        while True:
            try:
                if not os.read(self.handle, 65536):
                    break
            except OSError:
                break
        os.close(self.handle)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def review(desk: Any) -> Terminal:
    words = ["-W", "error", "-m", "sheet_reader.cli.main", "review", str(desk.folder)]
    return Terminal([*words, "--as", "Kim", "--pictures", "blocks"], desk.folder)


@pytest.fixture
def waiting_desk(bean_desk: Any) -> Any:
    flagged = {PLANTS: ("14", 0.7, "unsure"), "unpinched.plants": ("17", 0.7, "unsure")}
    bean_desk.put("a.png", flagged=flagged)
    bean_desk.done("read")
    return bean_desk


def test_questions_are_answered_by_keys(waiting_desk: Any) -> None:
    terminal = review(waiting_desk)
    terminal.wait_for("> ")
    assert "1 of 2" in terminal.shown
    assert "\u2580" in terminal.shown  # the boxes, in half blocks
    assert "\x1b[38;2;" in terminal.shown  # in their greys
    terminal.type("\r")
    terminal.wait_for("> ")
    assert "2 of 2" in terminal.shown
    terminal.type("18\r")
    terminal.wait_for("2 answers saved: 1 as read, 1 corrected")
    assert terminal.end() == 0
    assert "Nothing waits for you." in waiting_desk.done("review")


def test_ctrl_c_keeps_what_was_answered(waiting_desk: Any) -> None:
    terminal = review(waiting_desk)
    terminal.wait_for("> ")
    terminal.type("\r")
    terminal.wait_for("2 of 2")
    terminal.wait_for("> ")
    terminal.type("\x03")
    terminal.wait_for("Stopped.")
    assert terminal.end() == 130
    assert "1 of 1" in waiting_desk.done("review", typed="s\n")


def test_ctrl_d_is_a_stop(waiting_desk: Any) -> None:
    terminal = review(waiting_desk)
    terminal.wait_for("> ")
    terminal.type("\x04")
    terminal.wait_for("0 answers saved")
    assert terminal.end() == 0


def test_a_late_reply_of_the_terminal_is_no_answer(waiting_desk: Any) -> None:
    """Device attributes (ECMA-48 with DEC's private marks) and a graphics reply, as terminals send
    them when asked what they can do.
    """
    terminal = review(waiting_desk)
    terminal.wait_for("> ")
    terminal.type("\x1b[?62;4;9c\x1b_Gi=31;OK\x1b\\\r")
    terminal.wait_for("2 of 2")
    terminal.wait_for("> ")
    terminal.type("18\r")
    terminal.wait_for("2 answers saved: 1 as read, 1 corrected")
    assert terminal.end() == 0


def test_a_signal_just_before_the_program_waits_ends_the_wait(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The signal comes between Python's last look for one and the system call that waits: here it
    is caught without being looked at, as there, and the wait must end by itself.
    """
    mine, theirs = pty.openpty()
    waited = select.select

    def select_later(*lists: Any) -> Any:
        old = signal.signal(signal.SIGUSR1, lambda *_: None)
        signal.raise_signal(signal.SIGUSR1)
        signal.signal(signal.SIGUSR1, old)
        ready = waited(*lists)
        os.write(mine, b"late\n")
        return ready

    monkeypatch.setattr(select, "select", select_later)
    with os.fdopen(theirs) as screen:
        monkeypatch.setattr("sys.stdin", screen)
        assert typed_line() == "late"
    os.close(mine)
