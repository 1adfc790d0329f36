"""Whatever a command writes can be read by its owner alone; what lay open is closed."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from sheet_reader.cli.main import COMMANDS, cli

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX permissions")
WRITES: dict[str, list[list[str]]] = {
    "sites": [["--add", "2"]],
    "read": [["--overlay", "{folder}/drawn"]],
    "print": [["--proof"], ["--site", "2043"], ["--all-sites"]],
    "export": [["--format", "csv,data-package,darwin-core,excel"]],
    "status": [["--picture", "{folder}/status.svg"], ["--csv", "{folder}/status.csv"],
               ["--json", "{folder}/status.json"]],
    "letters": [[], ["--templates"]],
    "update": [["--until", "2026-05-31"]],
    "backup": [["{folder}/beans.tar", "--yes"]],
}  # fmt: skip
"""What each command writes beside the record, when run on a study that was read."""
ELSEWHERE = {
    "new": "below",
    "demo": "copy_sample and the same doors as read, print and export",
    "restore": "test_restore",
    "join": "record_place.toml, by atomic_write as all files",
    "review": "the record, and entrance.html under a mode of its own (test_entrance)",
}
RECORD_ALONE = {"photos", "correct", "enter", "aside", "back", "names", "audit", "history",
                "verify", "erase"}  # fmt: skip


@pytest.fixture(autouse=True)
def umask() -> Iterator[None]:
    before = os.umask(0o022)
    yield
    os.umask(before)


def hers(folder: Path) -> set[Path]:
    return {folder, folder / "inbox", *(folder / "inbox").rglob("*"), *folder.glob("*.toml")}


def numbers(folder: Path) -> dict[Path, int]:
    """The number on the disk of each file: another one after it was written anew."""
    return {path: path.stat().st_ino for path in folder.rglob("*") if path.is_file()}


def is_open(folder: Path) -> list[str]:
    found = set(folder.rglob("*")) - hers(folder)
    return [p.relative_to(folder).as_posix() for p in sorted(found) if p.stat().st_mode & 0o077]


def test_every_command_is_thought_of() -> None:
    assert {*WRITES, *ELSEWHERE, *RECORD_ALONE} == set(COMMANDS)


def test_what_commands_write_is_private_and_what_lay_open_is_closed(bean_desk: Any) -> None:
    folder: Path = bean_desk.folder
    bean_desk.put("pat doe.png", flagged={"pinched.plants": ("14", 0.7, "unsure")})
    bean_desk.put_bytes("odd.png", b"no picture")
    for again in (False, True):
        for command, runs in WRITES.items():
            for arguments in runs:
                before = numbers(folder)
                filled = [a.format(folder=folder) for a in arguments]
                assert bean_desk.run(command, *filled).exit_code == 0, (command, arguments)
                written = {p for p, number in numbers(folder).items() if before.get(p) != number}
                assert written or again, (command, arguments)
                around = {parent for p in written for parent in p.parents}
                found = [p for p in is_open(folder) if folder / p in written | around]
                assert not found, (command, arguments)
        for path in folder.rglob("*"):
            path.chmod(0o755 if path.is_dir() else 0o644)
        bean_desk.put("second.png", visit_date="2026-05-27")


def test_a_new_study_is_private(tmp_path: Path) -> None:
    words = ["new", str(tmp_path / "a b%20?" / "moths"), "--title", "Moths", "--count",
             "Owlet moths:40", "--plot", "Lamp", "--plot", "Dark", "--first", "2026-05-01",
             "--last", "2026-08-30", "--paper", "A4", "--send-to", "moths@example.org",
             "--words", "en"]  # fmt: skip
    done = CliRunner().invoke(cli, words, input="\n" * 20)
    assert done.exit_code == 0, done.output
    found = [*(tmp_path / "a b%20?").rglob("*")]
    assert {"study.toml", "sites.csv", "inbox"} <= {p.name for p in found}
    assert not [p for p in (tmp_path / "a b%20?", *found) if p.stat().st_mode & 0o077]
