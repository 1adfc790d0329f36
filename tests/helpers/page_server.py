"""The review's page served by a process or thread of its own, and a browser to drive it."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.browser.serve import PageServer
from sheet_reader.review.source import RecordQuestions
from sheet_reader.study.reader import read_study

TODAY = date(2026, 8, 1)
PORT = 8_765
HOST = f"127.0.0.1:{PORT}"
"""Where a page is said to be that is spoken to without a network."""


@dataclass
class Served:
    """A page that is served: its seat, the private file that opens it, and what went wrong."""

    seat: PageReview
    file: Path
    port: int
    lines: list[str] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def served(record: Record, by: str = "Kim", *, audit: bool = False) -> Iterator[Served]:
    """The page on a record, in a thread of this process."""
    seat = PageReview(RecordQuestions(record), by, TODAY, audit)
    there, lines = threading.Event(), []
    files: list[Path] = []

    def show(file: Path) -> None:
        files.append(file)
        there.set()

    server = PageServer(seat, record.folder, lines.append, show)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    assert there.wait(60)
    port = int(files[0].stem.rpartition("-")[2])
    try:
        yield Served(seat, files[0], port, lines)
    finally:
        server._end()
        thread.join(60)


def main(folder: Path, by: str) -> None:
    """Serve the page of a study; the file that opens it is printed."""
    with Record.open(read_study(folder)) as record:
        seat = PageReview(RecordQuestions(record), by, TODAY)
        PageServer(seat, folder, lambda line: print(line, file=sys.stderr, flush=True),
                   lambda file: print(file, flush=True)).run()  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
