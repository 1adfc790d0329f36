"""A review in a real (pseudo) terminal."""

import os
import select
import sys
import time
from pathlib import Path
from typing import Any

import pytest

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

    def wait_for(self, text: str, seconds: float = 60) -> None:
        """Read the screen until ``text`` comes."""
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
        """Press keys, after forgetting what was shown before."""
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
    time.sleep(0.5)  # a signal between Python's last look and its read() waits for the next key
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
