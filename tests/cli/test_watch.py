"""``read --watch`` as a process of its own: it reads what comes and ends cleanly."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from sheet_reader.cli.main import cli
from sheet_reader.demo.samples import copy_sample

EVERY = "0.2"


@pytest.fixture
def watcher(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    copy_sample("bean_tips", tmp_path / "beans")
    (tmp_path / "beans" / "inbox").mkdir()
    code = (
        "from sheet_reader.cli.main import main; from sheet_reader.reading import watching as w;"
        f"w.WatchIntervals.__init__.__defaults__ = ({EVERY}, None, {EVERY}); main()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, "read", str(tmp_path / "beans"), "--watch", "--jobs", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    yield process
    process.kill()
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


def until(process: subprocess.Popen[str], words: str) -> str:
    assert process.stdout is not None
    for line in process.stdout:
        if words in line:
            return line
    raise AssertionError(f"ended with {process.wait()} before it said: {words}")


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_reads_what_arrives_and_ends_cleanly(
    watcher: subprocess.Popen[str], tmp_path: Path, how: signal.Signals
) -> None:
    until(watcher, "Watching")
    until(watcher, "No photos here.")
    picture = np.full((400, 300), 200, np.uint8)
    cv2.imwrite(str(tmp_path / "beans" / "inbox" / "a.png"), picture)
    until(watcher, "1 new photo (0 read, 1 not readable")
    until(watcher, "Next:")
    watcher.send_signal(how)
    assert "Stopped watching" in until(watcher, "Stopped")
    assert watcher.wait() == 0


def test_known_photos_are_not_read_again_and_again(tmp_path: Path) -> None:
    result = CliRunner().invoke(cli, ["read", str(tmp_path), "--watch", "--again"])
    assert result.exit_code == 2
    assert "--again" in result.output
