"""The two result files."""

import csv
import os
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from made_rows import reading_row

from sheet_reader.errors import StorageError
from sheet_reader.record.lines import ReadingRow
from sheet_reader.record.model import VisitRow
from sheet_reader.results.export import export_files
from sheet_reader.study.model import Study
from sheet_reader.study.reader import read_study

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(SAMPLES / "bean_tips")


def reading(**changes: object) -> ReadingRow:
    usual = {"sheet": "2041", "site": "2041", "confidence": 0.9987, "runner_up_confidence": 0.0012}
    return reading_row(**(usual | changes))


def visit(**changes: object) -> VisitRow:
    usual = VisitRow(
        site="2041",
        visit_date="2026-05-20",
        pages=(1,),
        photos=("IMG_1.jpg",),
        values={"pinched.plants": "14"},
        statuses={"pinched.plants": "accepted"},
        waiting=0,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def exported(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_readings_have_the_documented_columns(study: Study, tmp_path: Path) -> None:
    export_files(study, [], [reading()], tmp_path)
    lines = (tmp_path / "readings.csv").read_bytes().split(b"\r\n")
    assert lines[0] == (
        b"photo,pdf_page,sheet,page,site,visit_date,field,value,confidence,status,reason,reason_code"
        b",runner_up,runner_up_confidence"
    )
    assert lines[1] == (
        b"IMG_1.jpg,1,2041,1,2041,2026-05-20,pinched.plants,14,0.9987,accepted,,,19,0.0012"
    )


def test_rows_have_a_column_for_each_field_and_one_for_what_waits(
    study: Study, tmp_path: Path
) -> None:
    export_files(study, [visit(waiting=3)], [], tmp_path)
    (row,) = exported(tmp_path, "rows.csv")
    assert list(row) == [*(spec.name for spec in study.fields), "waiting"]
    assert row["site"] == "2041"
    assert row["visit_date"] == "2026-05-20"
    assert row["pinched.plants"] == "14"
    assert row["waiting"] == "3"


@pytest.mark.parametrize("status", ["flagged", "empty", "unreadable"])
def test_what_does_not_count_is_an_empty_cell_even_where_a_value_was_read(
    status: str, study: Study, tmp_path: Path
) -> None:
    visits = [visit(statuses={"pinched.plants": status})]
    export_files(study, visits, [], tmp_path)
    assert exported(tmp_path, "rows.csv")[0]["pinched.plants"] == ""


@pytest.mark.parametrize("status", ["accepted", "confirmed", "corrected"])
def test_a_written_zero_stays_a_zero(status: str, study: Study, tmp_path: Path) -> None:
    visits = [visit(values={"pinched.plants": "0"}, statuses={"pinched.plants": status})]
    export_files(study, visits, [], tmp_path)
    assert exported(tmp_path, "rows.csv")[0]["pinched.plants"] == "0"


def test_visits_without_site_or_date_come_last(study: Study, tmp_path: Path) -> None:
    visits = [visit(site=""), visit(visit_date=""), visit(visit_date="2026-05-27"), visit()]
    export_files(study, visits, [], tmp_path)
    rows = exported(tmp_path, "rows.csv")
    assert [(row["site"], row["visit_date"]) for row in rows] == [
        ("2041", "2026-05-20"),
        ("2041", "2026-05-27"),
        ("2041", ""),
        ("", "2026-05-20"),
    ]


def test_the_order_of_the_record_does_not_matter(study: Study, tmp_path: Path) -> None:
    readings = [
        reading(reading_id=number, field=spec.name)
        for number, spec in enumerate(study.fields, start=1)
    ]
    export_files(study, [visit()], readings, tmp_path / "a")
    export_files(study, [visit()], readings[::-1], tmp_path / "b")
    first = (tmp_path / "a" / "readings.csv").read_bytes()
    assert first == (tmp_path / "b" / "readings.csv").read_bytes()
    fields = [line["field"] for line in exported(tmp_path / "a", "readings.csv")]
    assert fields == [spec.name for spec in study.fields]


def test_pandas_reads_numbers_as_numbers_and_blanks_as_missing(
    study: Study, tmp_path: Path
) -> None:
    other = visit(site="2058", values={"pinched.plants": None}, statuses={})
    export_files(study, [visit(), other], [reading()], tmp_path)
    rows = pd.read_csv(tmp_path / "rows.csv", dtype={"site": str})
    assert rows["pinched.plants"].tolist()[0] == 14
    assert rows["pinched.plants"].isna().tolist() == [False, True]
    readings = pd.read_csv(tmp_path / "readings.csv")
    assert readings["confidence"].tolist() == [0.9987]


def test_a_photo_with_a_hostile_name_runs_no_formula(study: Study, tmp_path: Path) -> None:
    name = '=HYPERLINK("http://example.org")\n,"x".jpg'
    export_files(study, [], [reading(photo=name)], tmp_path)
    assert exported(tmp_path, "readings.csv")[0]["photo"] == f"'{name}"


def test_a_file_where_the_folder_should_be(study: Study, tmp_path: Path) -> None:
    blocked = tmp_path / "results"
    blocked.write_text("not a folder")
    with pytest.raises(StorageError, match="cannot write here"):
        export_files(study, [visit()], [reading()], blocked)


def test_old_files_stand_when_the_disk_is_full(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    export_files(study, [visit()], [reading()], tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageError, match="no space left"):
        export_files(study, [visit(waiting=9)], [], tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
