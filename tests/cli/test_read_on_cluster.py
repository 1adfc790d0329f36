"""``read --scheduler``: what is said where there is no cluster; on one: tests/reading."""

import socket
import sys
from pathlib import Path
from typing import Any

import pytest

from sheet_reader.cli.read import cluster_of
from sheet_reader.reading import cluster


@pytest.fixture
def nobody_listens() -> str:
    """An address of this machine at which no program listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return f"tcp://127.0.0.1:{taken.getsockname()[1]}"


def run(desk: Any, *args: object) -> Any:
    from click.testing import CliRunner

    from sheet_reader.cli.main import cli

    return CliRunner().invoke(cli, ["read", str(desk.folder), *map(str, args)])


def test_a_scheduler_out_of_reach_is_one_line_and_the_photos_wait(
    bean_desk: Any, nobody_listens: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="distributed (the extra cluster) is not installed")
    monkeypatch.setattr(cluster, "CONNECT_SECONDS", 0.3)
    bean_desk.put("a.png")
    done = run(bean_desk, "--scheduler", nobody_listens)
    assert done.exit_code == 75
    assert done.stderr.count("\n") == 1
    assert f"sheet-reader: {nobody_listens}: the scheduler can't be reached" in done.stderr
    assert "Traceback" not in done.output
    assert "1 new photo" in bean_desk.done("read") or "1 photo" in bean_desk.done("read")


def test_without_dask_the_extra_is_named(
    bean_desk: Any, nobody_listens: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    bean_desk.put("a.png")
    done = run(bean_desk, "--scheduler", nobody_listens)
    assert done.exit_code == 2
    assert "pip install '.[cluster]'" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--scheduler-tls", "ca", "cert", "key"), "needs --scheduler"),
        (("--scheduler", " "), "needs an address"),
        (("--scheduler", "localhost:1", "--jobs", "2"), "leave one out"),
        (("--scheduler", "tcp://h:1", "--scheduler-tls", "a", "b", "c"), "begins with tls://"),
        (("--scheduler", "h:1", "--scheduler-tls", "a", "b", "c"), "a: there is no such file"),
        (("--scheduler", "odd://h:1"), "the scheduler can't be reached"),
        (("--scheduler", "tcp://127.0.0.1:port"), "the scheduler can't be reached"),
    ],
)
def test_a_mistake_in_the_call_is_one_line(
    bean_desk: Any, options: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="distributed (the extra cluster) is not installed")
    monkeypatch.setattr(cluster, "CONNECT_SECONDS", 0.3)
    bean_desk.put("a.png")
    done = run(bean_desk, *options)
    assert done.exit_code in (2, 75)
    assert said in done.stderr.splitlines()[-1]
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("tcp://127.0.0.1:8786", False),
        ("localhost:8786", False),
        ("tcp://[::1]:8786", False),
        ("tls://10.0.0.5:8786", False),
        ("10.0.0.5:8786", True),
        ("tcp://counts.example.org:8786", True),
        ("tcp://[2001:db8::1]:8786", True),
    ],
)
def test_photos_that_travel_in_the_clear_are_told_of(
    address: str, told: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cluster_of(address, None, None) == cluster.Cluster(address)
    assert ("unencrypted" in capsys.readouterr().err) == told
    files = (Path("ca"), Path("cert"), Path("key"))
    if not address.startswith("tcp://"):
        cluster_of(address, files, None)
        assert "unencrypted" not in capsys.readouterr().err
