"""The page's server as it runs: on this machine only, with many at the door, until it ends."""

from __future__ import annotations

import builtins
import http.client
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import page_server
import pytest
import waiting_record
from click.testing import CliRunner
from page_server import TODAY, Served, served

from sheet_reader.cli.main import cli
from sheet_reader.errors import StorageError
from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.browser.serve import PageServer
from sheet_reader.review.source import RecordQuestions


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Record]:
    folder = tmp_path_factory.mktemp("study") / "beans"
    with Record.open(waiting_record.bean_study(folder)) as record:
        waiting_record.fill(record, 1, 2)
        yield record


BROKEN = (
    b"\x16\x03\x01\x00\xa5", b"GET\r\n\r\n", b"G" * 70_000, b"GET / HTTP/9\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    b"POST /say HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
)  # fmt: skip


def opened(page: Served) -> str:
    """The cookie for the token in the private file."""
    token = page.file.read_text().partition('name="token" value="')[2].partition('"')[0]
    connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=30)
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Origin": "null"}
    connection.request("POST", "/open", f"token={token}", kind)
    answer = connection.getresponse()
    assert answer.status == 200
    connection.close()
    return answer.headers["set-cookie"].partition(";")[0]


def status(page: Served, path: str, cookie: str = "", host: str = "") -> int:
    connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=30)
    headers = {"Host": host or f"127.0.0.1:{page.port}", "Cookie": cookie}
    connection.request("GET", path, headers=headers)
    found = connection.getresponse().status
    connection.close()
    return found


def test_with_a_hundred_open_connections_the_page_goes_on(record: Record) -> None:
    with served(record) as page, ExitStack() as stack:
        cookie = opened(page)
        for number in range(120):
            one = stack.enter_context(socket.create_connection(("127.0.0.1", page.port)))
            if number % 3 == 0:
                one.sendall(b"POST /say HTTP/1.1\r\nHost: x\r\nContent-Length: 50\r\n\r\nhalf")
            elif number % 3 == 1:
                one.sendall(b"GET / HT")
        for path in ("/", "/static/review.js", "/picture/sheet/1"):
            assert status(page, path, cookie) == 200
        assert status(page, "/") == 403
        assert status(page, "/", cookie, "example.org") == 403
        assert status(page, "/..%2f..%2fetc/passwd", cookie) == 404
        assert page.lines == []
    assert not page.file.exists()


def test_broken_requests_give_no_traceback(
    record: Record, capfd: pytest.CaptureFixture[str]
) -> None:
    with served(record) as page:
        cookie = opened(page)
        for data in BROKEN:
            with socket.create_connection(("127.0.0.1", page.port), 30) as one:
                one.sendall(data)
                one.shutdown(socket.SHUT_WR)
                answer = one.recv(4096)
            assert not answer or answer.split()[1][:1] == b"4"
        assert status(page, "/", cookie) == 200
        assert page.lines == []
    told = capfd.readouterr()
    assert "Traceback" not in told.err + told.out


def test_nobody_outside_this_machine_can_connect(record: Record) -> None:
    with served(record) as page, socket.socket() as other:
        other.settimeout(30)
        with pytest.raises(OSError, match=r".*"):
            other.connect(("127.0.0.2", page.port))


@pytest.mark.parametrize("how", ["idle", "done"])
def test_it_ends_when_nobody_is_there_or_she_is_done(record: Record, how: str) -> None:
    seat = PageReview(RecordQuestions(record), "Kim", TODAY)
    idle = 0.0 if how == "idle" else 600.0
    shown: list[Path] = []
    server = PageServer(seat, record.folder, print, shown.append, idle_s=idle)
    why: list[str] = []
    thread = threading.Thread(target=lambda: why.append(server.run()), daemon=True)
    thread.start()
    while how == "done" and not shown:
        thread.join(0.05)
    if how == "done":
        server._end()
    thread.join(60)
    assert why == [how]


def test_what_a_killed_program_left_is_removed_and_what_is_served_stays(record: Record) -> None:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        gone = record.folder / f"open-review-{closed.getsockname()[1]}.html"
    part, other = gone.with_name(f".{gone.name}.part"), record.folder / "open-review-notes.html"
    for file in (gone, part, other):
        file.write_text("left")
    with served(record) as first, served(record) as second:
        assert not gone.exists()
        assert not part.exists()
        assert first.file.exists()
        assert second.file.exists()
    assert other.read_text() == "left"
    other.unlink()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_and_takes_the_file_away(record: Record, how: signal.Signals) -> None:
    run = [sys.executable, page_server.__file__, str(record.folder), "Kim"]
    with subprocess.Popen(run, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as one:
        assert one.stdout is not None
        file = Path(one.stdout.readline().strip())
        assert file.exists()
        one.send_signal(how)
        _, errors = one.communicate(timeout=60)
    assert errors == ""
    assert one.returncode == 0
    assert not file.exists()


def test_a_port_that_is_taken_is_said(record: Record) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        seat = PageReview(RecordQuestions(record), "Kim", TODAY)
        server = PageServer(seat, record.folder, print, print, taken.getsockname()[1])
        with pytest.raises(StorageError, match="can't be served on port"):
            server.run()


def test_without_its_packages_one_line_says_what_to_install(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.startswith("sheet_reader.review.browser.serve"):
            raise ModuleNotFoundError("No module named 'uvicorn'", name="uvicorn")
        return usual(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    done = CliRunner().invoke(cli, ["review", str(record.folder), "--browser"])
    assert done.exit_code == 2
    assert "the page needs the package uvicorn" in done.output
    assert "pip install '.[browser]'" in done.output
