"""The folders show how data flows: a room imports only rooms before it.

On top of all rooms lies ``api.py``, the door for Python programs, and on it the commands.
"""

import ast
import re
from pathlib import Path

import pytest

import sheet_reader

ROOT = Path(sheet_reader.__file__).parent
ROOMS = (
    "study",
    "sheet",
    "intake",
    "vision",
    "digits",
    "decode",
    "record",
    "reading",
    "review",
    "results",
)
MODULES = sorted(p.relative_to(ROOT).as_posix() for p in ROOT.rglob("*.py"))


def _imported_rooms(source: str) -> set[str]:
    rooms: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports inside the package are absolute"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        rooms |= {n.split(".")[1] for n in names if n.startswith("sheet_reader.")}
    if rooms & {*sheet_reader.__all__} - {"__version__"}:
        rooms.add("api")  # through the package itself
    return rooms & {*ROOMS, "api", "cli", "simulate", "lab"}


@pytest.mark.parametrize("module", MODULES)
def test_a_room_imports_only_rooms_before_it(module: str) -> None:
    room = module.split("/")[0].removesuffix(".py")
    imported = _imported_rooms((ROOT / module).read_text("utf-8"))
    if room in ROOMS:
        later = {*ROOMS[ROOMS.index(room) + 1 :], "api", "cli", "simulate", "lab"}
        assert not imported & later
    elif room == "simulate":
        assert not imported & {"api", "cli", "lab"}
    elif room == "lab":
        assert not imported & {"api", "cli"}
    elif room == "api":
        assert not imported & {"cli", "simulate", "lab"}
    elif room == "__init__":
        assert imported == {"api"}, "it only shows the door"
    elif room == "cli":
        assert "lab" not in imported, "no command needs the laboratory"
    else:
        assert not imported, "modules at the top belong to no room"


def test_the_check_sees_imports() -> None:
    source = "from sheet_reader.record import store\nimport sheet_reader.cli.main"
    assert _imported_rooms(source) == {"record", "cli"}
    assert _imported_rooms("from sheet_reader import __version__, read_photo") == {"api"}


@pytest.mark.parametrize("module", MODULES)
def test_modules_stay_small(module: str) -> None:
    assert len((ROOT / module).read_text("utf-8").splitlines()) <= 400


def test_the_map_for_contributors_shows_every_room_and_files_that_are_there() -> None:
    text = (ROOT.parent / "DEVELOPERS.md").read_text("utf-8")
    chart = text.split("## The map of the rooms")[1].split("\n## ")[0]
    named = {name for name in re.findall(r"`([\w/]+\.py)`", chart) if not name.startswith("tests/")}
    assert named <= {*MODULES}
    folders = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    assert {*re.findall(r"^\| `(\w+)` \|", chart, re.MULTILINE)} == {*folders, "api"}
    assert folders <= {name.split("/")[0] for name in named}
