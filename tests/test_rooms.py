"""The folders show how data flows: a room imports only rooms before it."""

import ast
from graphlib import CycleError, TopologicalSorter
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


def _module_name(path: str) -> str:
    parts = ["sheet_reader", *path.removesuffix(".py").split("/")]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _runtime_imports(tree: ast.AST) -> list[str]:
    """Every name imported when the module or one of its functions runs: all but what only the type
    checker sees.
    """
    names: list[str] = []
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            names += [n for branch in node.orelse for n in _runtime_imports(branch)]
        elif isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names += [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            names += _runtime_imports(node)
    return names


def _import_graph(sources: dict[str, str]) -> dict[str, set[str]]:
    """Which modules each module imports, lazily in functions or at once; ``sources`` by name. What
    is imported from a package counts as the package only where no module of it is meant.
    """
    graph: dict[str, set[str]] = {}
    for name, source in sources.items():
        found = set()
        for imported in _runtime_imports(ast.parse(source)):
            target = imported if imported in sources else imported.rpartition(".")[0]
            found |= {target} & sources.keys() - {name}
        graph[name] = found
    return graph


def _circle(graph: dict[str, set[str]]) -> list[str]:
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_no_circle_of_modules_inside_rooms_either() -> None:
    """No module imports itself by way of others, also not lazily: nothing needs to be put off."""
    sources = {_module_name(m): (ROOT / m).read_text("utf-8") for m in MODULES}
    assert _circle(_import_graph(sources)) == []


def test_the_check_sees_circles_that_are_put_off() -> None:
    lazy = "def f():\n    from a.two import g\n    return g"
    assert set(_circle(_import_graph({"a.one": lazy, "a.two": "import a.one"}))) == {
        "a.one",
        "a.two",
    }
    typed = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from a.two import g"
    assert _circle(_import_graph({"a.one": typed, "a.two": "import a.one"})) == []


def test_the_check_sees_imports() -> None:
    source = "from sheet_reader.record import store\nimport sheet_reader.cli.main"
    assert _imported_rooms(source) == {"record", "cli"}


@pytest.mark.parametrize("module", MODULES)
def test_modules_stay_small(module: str) -> None:
    assert len((ROOT / module).read_text("utf-8").splitlines()) <= 400
