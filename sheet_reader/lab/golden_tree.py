"""The commands of one tree, driven from outside, and what they print and write."""

from __future__ import annotations

import os
import re
import select
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from sheet_reader.lab.golden_files import unpacked, without_lots
from sheet_reader.numbers import LAB

PATIENCE_S = LAB.golden_patience_s
"""A command silent for so long waits for an answer that nobody knows; it gets the end of input."""
CLOCK = '''"""Every module of sheet_reader sees this moment; all other packages the true one."""
import builtins
import datetime
import types

_real, _import = datetime.datetime, builtins.__import__


class _Kind(type):
    def __instancecheck__(cls, thing):
        return isinstance(thing, _real)


class _Still(_real, metaclass=_Kind):
    def __new__(cls, *parts, **named):
        return _real(*parts, **named)

    @classmethod
    def now(cls, tz=None):
        moment = _real(2026, 7, 1, 12, tzinfo=datetime.timezone.utc)
        return moment.astimezone(tz) if tz else moment.replace(tzinfo=None)


_module = types.ModuleType("datetime")
vars(_module).update(vars(datetime), datetime=_Still)


def _found(name, globals=None, locals=None, fromlist=(), level=0):
    if name == "datetime" and str((globals or {}).get("__name__")).startswith("sheet_reader"):
        return _module
    return _import(name, globals, locals, fromlist, level)


builtins.__import__ = _found
'''


class Tree:
    """The commands of the tree that ``python`` runs, in a scratch ``folder``; what they print and
    write goes into ``out``.
    """

    def __init__(self, python: Path, folder: Path, out: Path) -> None:
        script = Path(os.path.abspath(python)).parent / "sheet-reader"  # noqa: PTH100 (a link)
        if not script.is_file():
            raise click.ClickException(f"there is no sheet-reader beside {python}")
        self.folder, self.out, self.number = folder, out, 0
        self.lots: set[str] = set()
        for name in ("bin", "clock"):
            (folder / name).mkdir()
        (folder / "bin" / "sheet-reader").symlink_to(script)
        (folder / "clock" / "sitecustomize.py").write_text(CLOCK, encoding="utf-8")
        own = {k: v for k, v in os.environ.items() if not k.startswith(("SHEET_READER", "PYTHON"))}
        self.environment = own | {
            "PATH": f"{folder / 'bin'}:{own['PATH']}", "PYTHONPATH": str(folder / "clock"),
            "TZ": "UTC", "LC_ALL": "C.UTF-8", "COLUMNS": "100", "LINES": "40",
            "OMP_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1",
        }  # fmt: skip

    def run(self, *words: str, answer: Callable[[str], str] | None = None) -> None:
        """Run a command, the prompts answered by ``answer``; keep what it prints."""
        argv = [str(self.folder / "bin" / "sheet-reader"), *words]
        with subprocess.Popen(
            argv, cwd=self.folder, env=self.environment, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        ) as process:  # fmt: skip
            said = _conversation(process, answer)
        self.number += 1
        name = re.sub(r"[^a-z-]+", "_", "_".join(words[:2]).lower()).strip("_") or "sheet-reader"
        head = f"$ sheet-reader {' '.join(words)}\n"
        text = f"{head}{said}\nexit code {process.returncode}\n"
        self.keep(f"printed/{self.number:03}_{name}.txt", text.encode())

    def take(self, folder: str, name: str) -> None:
        """Keep the files of a ``folder`` that a command wrote, as ``name``."""
        place = self.folder / folder
        for file in [place] if place.is_file() else sorted(f for f in place.rglob("*")):
            if file.is_file():
                where = name if file == place else f"{name}/{file.relative_to(place).as_posix()}"
                for path, data in unpacked(where, file.read_bytes()):
                    self.keep(path, data)

    def keep(self, name: str, data: bytes) -> None:
        """Write a file of the result, the scratch folder's name and durations made alike."""
        target = self.out / name
        target.parent.mkdir(parents=True, exist_ok=True)
        data = without_lots(data, self.lots).replace(str(self.folder).encode(), b"SCRATCH")
        target.write_bytes(re.sub(rb"(?<=read in )[\d.]+ (?:s|min)\b", b"so long", data))


def _conversation(
    process: subprocess.Popen[bytes], answer: Callable[[str], str] | None
) -> str:
    """All that is printed, with what was typed; a prompt that nobody knows gets no answer."""
    assert process.stdin is not None
    assert process.stdout is not None
    if answer is None:
        process.stdin.close()
    said, heard = b"", b""
    while True:
        if not select.select([process.stdout], [], [], PATIENCE_S)[0] and not process.stdin.closed:
            process.stdin.close()
            said, heard = said + heard + b"[no prompt that is known]", b""
        if not (chunk := os.read(process.stdout.fileno(), 1 << 16)):
            process.stdin.closed or process.stdin.close()
            return (said + heard).decode("utf-8", "replace")
        heard += chunk
        if answer is not None and heard.endswith(b"\n> ") and not process.stdin.closed:
            typed = f"{answer(heard.decode('utf-8', 'replace'))}\n".encode()
            said, heard = said + heard + typed, b""
            process.stdin.write(typed)
            process.stdin.flush()


@contextmanager
def scratch() -> Iterator[Path]:
    """A folder for a while; its path is as long as that of any other."""
    with tempfile.TemporaryDirectory(prefix="golden-") as folder:
        yield Path(folder).resolve()
