"""The folders show how data flows: a room imports only rooms before it.

On top of all rooms lies ``api.py``, the door for Python programs, and on it the commands.
"""

import ast
import re
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
    "answers",
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
    return rooms & {*ROOMS, "demo", "api", "cli", "simulate", "lab"}


@pytest.mark.parametrize("module", MODULES)
def test_a_room_imports_only_rooms_before_it(module: str) -> None:
    room = module.split("/")[0].removesuffix(".py")
    imported = _imported_rooms((ROOT / module).read_text("utf-8"))
    if room in ROOMS:
        later = {*ROOMS[ROOMS.index(room) + 1 :], "demo", "api", "cli", "simulate", "lab"}
        assert not imported & later
    elif room == "demo":
        assert not imported & {"api", "cli", "simulate", "lab"}, "it is installed"
    elif room == "simulate":
        assert not imported & {"api", "cli", "lab"}
    elif room == "lab":
        assert "api" not in imported
        assert "cli" not in imported or module == "lab/command_reference.py"
    elif room == "api":
        assert not imported & {"cli", "simulate", "lab"}
    elif room == "__init__":
        assert imported == {"api"}, "it only shows the door"
    elif room == "cli":
        assert not imported & {"simulate", "lab"}, "they are not installed"
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


VALUES_ONLY = {"vision.findings", "decode.pages"}
"""What the record may know of how a sheet is read: values."""


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


@pytest.mark.parametrize("module", [m for m in MODULES if m.startswith("record/")])
def test_the_record_opens_and_draws_no_pictures(module: str) -> None:
    imported = _imported_modules((ROOT / module).read_text("utf-8"))
    assert not {name.split(".")[0] for name in imported} & {"cv2", "PIL", "scipy", "pypdfium2"}
    assert not imported & {"intake.pictures", "sheet.book"}


@pytest.mark.parametrize("module", [m for m in MODULES if m.split("/")[0] not in ("record",)])
def test_a_record_is_opened_with_the_thresholds_of_its_study(module: str) -> None:
    """Else fields accepted under a looser study file would pass unasked."""
    opens = "Record.open(" in (ROOT / module).read_text("utf-8")
    assert not opens or module == "reading/opening.py"


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


PAGES = [*ROOT.parent.glob("*.md"), *ROOT.parent.glob("docs/*.md"), *ROOT.rglob("*.md")]
FILES = {str(path.relative_to(ROOT.parent)) for folder in ("sheet_reader", "tests", "samples")
         for path in (ROOT.parent / folder).rglob("*.*")}  # fmt: skip


def _missing(text: str) -> set[str]:
    """Files of ours that a page names and that are not there: by path or by name, or as -m."""
    named = set(re.findall(r"\b[\w./-]*\w\.(?:py|sh)\b", text))
    modules = re.findall(r"python -m (sheet_reader[\w.]*)", text)
    named |= {f"{module.replace('.', '/')}.py" for module in modules}
    ends = [f"/{name}" for name in FILES]
    return {name for name in named if not any(end.endswith(f"/{name}") for end in ends)}


@pytest.mark.parametrize("page", PAGES, ids=[page.name for page in PAGES])
def test_every_program_that_a_page_names_is_there(page: Path) -> None:
    assert _missing(page.read_text("utf-8")) == set()


def test_the_check_sees_a_file_that_is_gone() -> None:
    assert _missing("`vision/find.py`, `find.py`, `python tests/faults/kill.py`") == set()
    assert _missing("`vision/gone.py` python -m sheet_reader.lab.gone") == {
        "vision/gone.py", "sheet_reader/lab/gone.py",
    }  # fmt: skip
