"""The folders show how data flows: a room imports only rooms before it."""

import ast
from graphlib import TopologicalSorter
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


VALUES_ONLY = {"vision.types", "decode.types"}
"""What the record may know of how a sheet is read: values."""


def _graph(room: str) -> dict[str, set[str]]:
    """The modules of a room, each with those of the same room that it imports, anywhere in it."""
    names = {m.removesuffix(".py").removesuffix("/__init__").replace("/", ".") for m in MODULES}
    here = {name for name in names if name.split(".")[0] == room}
    return {name: (_imported_modules(_source(name)) & here) - {name} for name in here}


def _source(name: str) -> str:
    path = ROOT / name.replace(".", "/")
    file = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    return file.read_text("utf-8")


def _imported_modules(source: str) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return {name.removeprefix("sheet_reader.") for name in found}


@pytest.mark.parametrize("module", [m for m in MODULES if m.startswith("record/")])
def test_the_record_knows_values_of_the_reading_rooms_only(module: str) -> None:
    imported = _imported_modules((ROOT / module).read_text("utf-8"))
    modules = {".".join(name.split(".")[:2]) for name in imported}
    assert {m for m in modules if m.startswith(("vision", "digits", "decode"))} <= VALUES_ONLY


@pytest.mark.parametrize("room", ["record", "reading"])
def test_a_room_has_no_circle(room: str) -> None:
    order = TopologicalSorter(_graph(room))
    assert list(order.static_order()), "the room has modules"


@pytest.mark.parametrize("module", [m for m in MODULES if m.split("/")[0] not in ("record",)])
def test_a_record_is_opened_with_the_thresholds_of_its_study(module: str) -> None:
    """Else fields accepted under a looser study file would pass unasked."""
    opens = "Record.open(" in (ROOT / module).read_text("utf-8")
    assert not opens or module == "reading/opening.py"


def test_the_check_sees_imports() -> None:
    source = "from sheet_reader.record import store\nimport sheet_reader.cli.main"
    assert _imported_rooms(source) == {"record", "cli"}


@pytest.mark.parametrize("module", MODULES)
def test_modules_stay_small(module: str) -> None:
    assert len((ROOT / module).read_text("utf-8").splitlines()) <= 400
