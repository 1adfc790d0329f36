"""One word for one thing: each class has a name of its own, and a module says what it holds."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

import sheet_reader

ROOT = Path(sheet_reader.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
MOST_LINES = 300
SAYS_NOTHING = {"model", "types", "parameters", "utils", "helpers", "misc"}
WORKSHOP = ("lab", "simulate")


def test_no_two_classes_have_one_name() -> None:
    places = defaultdict(list)
    for path in MODULES:
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef):
                places[node.name].append(path.relative_to(ROOT).as_posix())
    assert len(places) > 200
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_modules_are_named_for_what_they_hold_and_stay_small() -> None:
    product = [p for p in MODULES if p.relative_to(ROOT).parts[0] not in WORKSHOP]
    assert [p.name for p in product if p.stem in SAYS_NOTHING] == []
    lines = {
        p.relative_to(ROOT).as_posix(): len(p.read_text("utf-8").splitlines()) for p in product
    }
    assert len(lines) == len(product) > 100
    assert {name: count for name, count in lines.items() if count > MOST_LINES} == {}
