"""The folders show how data flows: a room imports only rooms before it."""

import ast
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
    rooms = set()
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports inside the package are absolute"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        rooms |= {n.split(".")[1] for n in names if n.startswith("sheet_reader.")}
    return rooms & {*ROOMS, "cli", "simulate", "lab"}


@pytest.mark.parametrize("module", MODULES)
def test_a_room_imports_only_rooms_before_it(module: str) -> None:
    room = module.split("/")[0]
    imported = _imported_rooms((ROOT / module).read_text("utf-8"))
    if room in ROOMS:
        later = {*ROOMS[ROOMS.index(room) + 1 :], "cli", "simulate", "lab"}
        assert not imported & later
    elif room == "simulate":
        assert not imported & {"cli", "lab"}
    elif room == "lab":
        assert "cli" not in imported
    elif room == "cli":
        assert "lab" not in imported, "no command needs the laboratory"
    else:
        assert not imported, "modules at the top belong to no room"


def test_the_check_sees_imports() -> None:
    source = "from sheet_reader.record import store\nimport sheet_reader.cli.main"
    assert _imported_rooms(source) == {"record", "cli"}


@pytest.mark.parametrize("module", MODULES)
def test_modules_stay_small(module: str) -> None:
    assert len((ROOT / module).read_text("utf-8").splitlines()) <= 400
