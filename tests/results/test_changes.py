"""What changes.csv says about two exports."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from made_facts import facts, visit

from sheet_reader.errors import UsageError
from sheet_reader.results.export import export_files
from sheet_reader.results.facts import VisitFact
from sheet_reader.results.frames import tables_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[2] / "samples"
FIRST, SECOND, THIRD = (f"0000000{n}-0000-4000-8000-000000000000" for n in (1, 2, 3))
PLANTS, HELPERS = "pinched.plants", "helpers"


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(SAMPLES / "bean_tips")


def export(study: Study, folder: Path, *visits: VisitFact, since: Path | None = None) -> None:
    export_files(study, tables_of(study, facts(*visits)), folder, since=since)


def changes(folder: Path) -> list[tuple[str, ...]]:
    with (folder / "changes.csv").open(encoding="utf-8", newline="") as file:
        header, *lines = csv.reader(file)
    assert header == ["visit_id", "change", "field", "before", "after"]
    return [tuple(line) for line in lines]


def test_added_changed_and_gone(study: Study, tmp_path: Path) -> None:
    former = visit("2043", "2026-05-20", {PLANTS: 14, HELPERS: 0}, identity=FIRST)
    gone = visit("2058", "2026-05-20", {PLANTS: 9}, identity=SECOND)
    export(study, tmp_path, former, gone)
    assert not (tmp_path / "changes.csv").exists()
    moved = visit("2043", "2026-05-27", {PLANTS: 15, HELPERS: "flagged"}, identity=FIRST)
    added = visit("2058", "2026-06-03", {PLANTS: 0}, identity=THIRD)
    export(study, tmp_path, moved, added)
    assert changes(tmp_path) == [
        (f"bean-tips:{FIRST}", "changed", "visit_date", "2026-05-20", "2026-05-27"),
        (f"bean-tips:{FIRST}", "changed", "helpers", "0", ""),
        (f"bean-tips:{FIRST}", "changed", PLANTS, "14", "15"),
        (f"bean-tips:{THIRD}", "added", "site", "", "2058"),
        (f"bean-tips:{THIRD}", "added", "visit_date", "", "2026-06-03"),
        (f"bean-tips:{THIRD}", "added", PLANTS, "", "0"),
        (f"bean-tips:{SECOND}", "gone", "site", "2058", ""),
        (f"bean-tips:{SECOND}", "gone", "visit_date", "2026-05-20", ""),
        (f"bean-tips:{SECOND}", "gone", PLANTS, "9", ""),
    ]
    export(study, tmp_path, moved, added)
    assert changes(tmp_path) == []


def test_remarks_photos_and_another_base_are_no_changes(study: Study, tmp_path: Path) -> None:
    one = visit(values={PLANTS: 14}, identity=FIRST)
    export(study, tmp_path / "may", one)
    said = replace(study.publication, identifier_base="https://example.org/beans/")
    told = replace(one, remarks=("from Pat",), photos=("photo-0009",))
    export(replace(study, publication=said), tmp_path / "june", told, since=tmp_path / "may")
    assert changes(tmp_path / "june") == []
    assert not (tmp_path / "may" / "changes.csv").exists()


@pytest.mark.parametrize("former", [None, b"", b"site;plants\r\n", b"\xff\xfe", b'a,"b'])
def test_what_is_no_export_is_refused_and_the_old_files_stand(
    study: Study, tmp_path: Path, former: bytes | None
) -> None:
    since = tmp_path / "former"
    since.mkdir()
    if former is not None:
        (since / "rows.csv").write_bytes(former)
    with pytest.raises(UsageError, match=r"rows\.csv"):
        export(study, tmp_path / "now", visit(), since=since)
    assert not (tmp_path / "now").exists()


def test_a_table_of_her_own_in_the_way_is_no_former_export(study: Study, tmp_path: Path) -> None:
    (tmp_path / "rows.csv").write_text("site;plants\n2043;3\n")
    export(study, tmp_path, visit(values={PLANTS: 14}))
    assert not (tmp_path / "changes.csv").exists()
