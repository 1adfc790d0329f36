"""The result files: what stands in them, and that they appear whole or not at all."""

import csv
import os
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from made_facts import fact, facts, visit

from sheet_reader.errors import StorageError
from sheet_reader.results.export import export_files
from sheet_reader.results.facts import VisitFact
from sheet_reader.results.frames import ROW_COLUMNS, Tables, tables_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Effort, Study

SAMPLES = Path(__file__).parents[2] / "samples"
PLANTS = "pinched.plants"


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(SAMPLES / "bean_tips")


def tables(study: Study, *visits: VisitFact) -> Tables:
    return tables_of(study, facts(*visits))


def exported(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_readings_have_the_documented_columns(study: Study, tmp_path: Path) -> None:
    one = fact(PLANTS, runner_up="19", runner_up_confidence=0.0012)
    export_files(study, tables(study, visit(values={PLANTS: one}, identity="5f")), tmp_path)
    lines = (tmp_path / "readings.csv").read_bytes().split(b"\r\n")
    assert lines[0] == (
        b"photo,pdf_page,sheet,page,site,visit_date,field,value,confidence,status,reason"
        b",reason_code,runner_up,runner_up_confidence,read_as,decided,visit_id,modified"
    )
    assert lines[1] == (
        b"photo-0001,1,2043,1,2043,2026-05-20,pinched.plants,14,0.9987,accepted,,,19,0.0012,,no"
        b",bean-tips:5f,2026-06-01T12:00:00Z"
    )


@pytest.mark.parametrize(
    ("status", "value", "confidence", "read_as"),
    [
        ("corrected", "14", "", "19"),
        ("empty", "", "", "19"),
        ("unreadable", "", "", "19"),
        ("confirmed", "19", "0.9987", ""),
    ],
)
def test_what_a_person_gave_has_no_confidence_and_shows_what_was_read(
    study: Study, tmp_path: Path, status: str, value: str, confidence: str, read_as: str
) -> None:
    one = fact(PLANTS, value or None, status, read_as="19", decided=True)
    export_files(study, tables(study, visit(values={PLANTS: one})), tmp_path)
    (line,) = exported(tmp_path, "readings.csv")
    assert (line["value"], line["confidence"], line["read_as"]) == (value, confidence, read_as)


def test_rows_have_a_column_for_each_field_and_what_is_known_of_the_visit(
    study: Study, tmp_path: Path
) -> None:
    fields = {
        PLANTS: 14, "pinched.blackfly": "flagged",
        "pinched.minutes": fact("pinched.minutes", "9", "corrected", read_as="5"),
    }  # fmt: skip
    one = visit(values=fields, remarks=("rain", "left early"), photos=("photo-0001", "photo-0004"))
    export_files(study, tables_of(study, facts(one, pages_of=2)), tmp_path)
    (row,) = exported(tmp_path, "rows.csv")
    assert list(row) == [*(spec.name for spec in study.fields), *ROW_COLUMNS]
    assert (row["site"], row["visit_date"], row[PLANTS]) == ("2043", "2026-05-20", "14")
    assert (row["waiting"], row["corrected"]) == ("1", "1")
    assert (row["pages_in"], row["pages_of"]) == ("1", "2")
    assert row["site_name"] == next(s.label for s in study.sites if s.number == "2043")
    assert row["photo"] == "photo-0001 photo-0004"
    assert row["remarks"] == "rain | left early"


def test_counts_are_long_with_effort_and_treatment(study: Study, tmp_path: Path) -> None:
    timed = replace(study, effort=Effort("minutes", "min"))
    values = {"pinched.minutes": 10, PLANTS: 0, "unpinched.plants": "empty"}
    export_files(timed, tables(timed, visit(values=values)), tmp_path)
    lines = {line["plot"] + "." + line["count"]: line for line in exported(tmp_path, "counts.csv")}
    assert list(lines) == ["pinched.minutes", PLANTS, "unpinched.plants"]
    there, none = lines[PLANTS], lines["unpinched.plants"]
    assert (there["value"], there["effort"], there["decided"]) == ("0", "10", "no")
    assert there["treatment"] == "tips pinched out"
    assert (none["value"], none["effort"], none["status"]) == ("", "", "empty")
    assert lines["pinched.minutes"]["unit"] == "min"


def test_a_visit_without_site_or_date_is_in_no_count(study: Study) -> None:
    open_ones = [visit(site="", values={PLANTS: 3}), visit(day="", values={PLANTS: 3})]
    assert tables(study, *open_ones).counts.empty
    assert len(tables(study, *open_ones).rows) == 2


@pytest.mark.parametrize("status", ["flagged", "empty", "unreadable"])
def test_what_does_not_count_is_an_empty_cell_even_where_a_value_was_read(
    status: str, study: Study, tmp_path: Path
) -> None:
    one = visit(values={PLANTS: fact(PLANTS, "14", status)})
    export_files(study, tables(study, one), tmp_path)
    assert exported(tmp_path, "rows.csv")[0][PLANTS] == ""
    assert exported(tmp_path, "counts.csv")[0]["value"] == ""


@pytest.mark.parametrize("status", ["accepted", "confirmed", "corrected"])
def test_a_written_zero_stays_a_zero(status: str, study: Study, tmp_path: Path) -> None:
    one = visit(values={PLANTS: fact(PLANTS, "0", status)})
    export_files(study, tables(study, one), tmp_path)
    assert exported(tmp_path, "rows.csv")[0][PLANTS] == "0"
    assert exported(tmp_path, "counts.csv")[0]["value"] == "0"


def test_visits_without_site_or_date_come_last(study: Study, tmp_path: Path) -> None:
    visits = [visit(site=""), visit(day=""), visit(day="2026-05-27"), visit()]
    export_files(study, tables(study, *visits), tmp_path)
    rows = exported(tmp_path, "rows.csv")
    assert [(row["site"], row["visit_date"]) for row in rows] == [
        ("2043", "2026-05-20"),
        ("2043", "2026-05-27"),
        ("2043", ""),
        ("", "2026-05-20"),
    ]


def test_the_order_of_the_record_does_not_matter(study: Study, tmp_path: Path) -> None:
    fields = [fact(spec.name) for spec in study.fields]
    one = visit(fields=tuple(fields))
    export_files(study, tables(study, one), tmp_path / "a")
    export_files(study, tables(study, replace(one, fields=one.fields[::-1])), tmp_path / "b")
    first = (tmp_path / "a" / "readings.csv").read_bytes()
    assert first == (tmp_path / "b" / "readings.csv").read_bytes()
    told = [line["field"] for line in exported(tmp_path / "a", "readings.csv")]
    assert told == [spec.name for spec in study.fields]


def test_pandas_reads_numbers_as_numbers_and_blanks_as_missing(
    study: Study, tmp_path: Path
) -> None:
    visits = [visit(values={PLANTS: 14}), visit("2058", values={PLANTS: "empty"})]
    export_files(study, tables(study, *visits), tmp_path)
    rows = pd.read_csv(tmp_path / "rows.csv", dtype={"site": str})
    assert rows[PLANTS].tolist()[0] == 14
    assert rows[PLANTS].isna().tolist() == [False, True]
    counts = pd.read_csv(tmp_path / "counts.csv")
    assert counts["value"].isna().tolist() == [False, True]


def test_a_photo_with_a_hostile_name_runs_no_formula(study: Study, tmp_path: Path) -> None:
    name = '=HYPERLINK("http://example.org")\n,"x".jpg'
    export_files(study, tables(study, visit(values={PLANTS: fact(PLANTS, photo=name)})), tmp_path)
    assert exported(tmp_path, "readings.csv")[0]["photo"] == f"'{name}"


def test_a_file_where_the_folder_should_be(study: Study, tmp_path: Path) -> None:
    blocked = tmp_path / "results"
    blocked.write_text("not a folder")
    with pytest.raises(StorageError, match="cannot write here"):
        export_files(study, tables(study, visit()), blocked)


def test_old_files_stand_when_the_disk_is_full(
    study: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    export_files(study, tables(study, visit()), tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageError, match="no space left"):
        export_files(study, tables(study, visit(values={PLANTS: 9})), tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
