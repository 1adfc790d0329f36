"""The page's server: bound to this machine alone, until Ctrl-C, “done”, or nobody is there."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from sheet_reader.errors import StorageError
from sheet_reader.numbers import REVIEW
from sheet_reader.reading.watching import ends_cleanly
from sheet_reader.review.browser.app import make_app
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.browser.guard import Entrance

ADDRESS = "127.0.0.1"
IDLE_S = REVIEW.page_idle_s
LOOK_S = REVIEW.page_idle_look_s
GRACE_S = REVIEW.page_grace_s
BACKLOG = REVIEW.page_backlog


@dataclass
class PageServer:
    """One page of one person. ``folder`` takes the private file that opens it; ``show`` is called
    with that file once the page can be opened.
    """

    review: PageReview
    folder: Path
    tell: Callable[[str], None]
    show: Callable[[Path], None]
    port: int = 0
    idle_s: float = IDLE_S

    def run(self) -> str:
        """Serve until it ends; gives why: "done", "idle" or "stopped"."""
        with _bound(self.port) as bound, ends_cleanly():
            port = bound.getsockname()[1]
            entrance = None
            try:
                _sweep(self.folder)
                entrance = Entrance(port, self.folder / f"open-review-{port}.html")
                return self._serve(bound, port, entrance)
            except KeyboardInterrupt:
                return "stopped"
            finally:
                if entrance is not None:
                    entrance.close()

    def _serve(self, bound: socket.socket, port: int, entrance: Entrance) -> str:
        self._touched, self._ended = time.monotonic(), False
        self._file = entrance.file
        app = make_app(self.review, entrance, port, tell=self.tell, touched=self._touch,
                       end=self._end)  # fmt: skip
        config = uvicorn.Config(
            app, log_config=None, log_level="critical", access_log=False, lifespan="off",
            ws="none", proxy_headers=False, server_header=False, backlog=BACKLOG,
            timeout_graceful_shutdown=int(GRACE_S),
        )  # fmt: skip
        server = uvicorn.Server(config)
        why = "stopped"

        async def watched() -> None:
            nonlocal why
            watch = asyncio.create_task(self._watch(server))
            await server.serve(sockets=[bound])
            watch.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                why = await watch

        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(watched())
        return why

    async def _watch(self, server: uvicorn.Server) -> str:
        """Say where the page is once it is there; end the server when its time has come."""
        while not server.started:
            await asyncio.sleep(LOOK_S)
        assert self._file is not None
        self.show(self._file)
        while not self._ended and time.monotonic() - self._touched < self.idle_s:
            await asyncio.sleep(LOOK_S)
        server.should_exit = True
        return "done" if self._ended else "idle"

    def _touch(self) -> None:
        self._touched = time.monotonic()

    def _end(self) -> None:
        self._ended = True


def _sweep(folder: Path) -> None:
    """Remove what a program that was killed left: files that open a page on a port at which nobody
    answers.
    """
    for file in [*folder.glob("open-review-*.html"), *folder.glob(".open-review-*.html.part")]:
        port = file.name.removesuffix(".part").removesuffix(".html").rpartition("-")[2]
        if not port.isascii() or not port.isdigit() or not 0 < int(port) < 65_536:
            continue
        with contextlib.suppress(OSError), socket.socket() as asked:
            if asked.connect_ex((ADDRESS, int(port))) != 0:
                file.unlink()


def _bound(port: int) -> socket.socket:
    """A socket on this machine's own address; raises StorageError where the port is taken."""
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        bound.bind((ADDRESS, port))
    except OSError as error:
        bound.close()
        said = (error.strerror or str(error)).lower()
        raise StorageError(
            f"the page can't be served on port {port}: {said}", remedy="try without --port"
        ) from error
    return bound
