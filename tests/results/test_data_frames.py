"""The tables as data frames: dtypes, missing values, and the same numbers as in the files."""

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import decided
import pandas as pd
import pytest
import stand_in

from sheet_reader.reading.batch import read_batch
from sheet_reader.record.history.answers import LeftEmpty, Value
from sheet_reader.record.store.store import Record
from sheet_reader.results.export import export_files
from sheet_reader.results.facts import facts_of
from sheet_reader.results.frames import Tables, tables_of
from sheet_reader.study.study import Study

COUNTS = {
    "site": "string",
    "site_name": "string",
    "visit_date": "datetime64[ns]",
    "plot": "string",
    "treatment": "string",
    "count": "string",
    "value": "Int64",
    "unit": "string",
    "status": "string",
    "decided": "boolean",
    "effort": "Float64",
    "photo": "string",
    "visit_id": "string",
    "modified": "datetime64[ms, UTC]",
}


@pytest.fixture
def study(tmp_path: Path) -> Study:
    plain = stand_in.a_study(tmp_path)
    snails, eggs = plain.counts
    counts = (replace(snails, unit="shells"), eggs)
    mill, *others = plain.sites
    return replace(plain, counts=counts, sites=(replace(mill, number="0174"), *others))


def fed(study: Study, *said: Any) -> Record:
    """The record of a study that got these photos, one after the other."""
    for number, one in enumerate(said):
        path = study.folder / "inbox" / f"{number}.png"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(stand_in.photo(one, seed=number))
    read_batch(study, reader=stand_in.read, today=date(2026, 6, 2), jobs=0)
    return Record.open(study)


def tables(record: Record) -> Tables:
    return tables_of(record.study, facts_of(record))


def dtypes(frame: pd.DataFrame) -> dict[str, str]:
    return {str(name): str(kind) for name, kind in frame.dtypes.items()}


def cell(frame: pd.DataFrame, plot: str, count: str, column: str = "value") -> Any:
    (value,) = frame.loc[(frame["plot"] == plot) & (frame["count"] == count), column]
    return value


def test_every_column_has_its_dtype_also_in_an_empty_table(study: Study) -> None:
    with fed(study) as record:
        rows = tables(record).rows
        readings = tables(record).readings
        counts = tables(record).counts
    assert len(rows) == len(readings) == len(counts) == 0
    check_dtypes(study, rows, readings, counts)
    said = [stand_in.says({"site": "0174"}), stand_in.says(flagged={"date": "2026-05-20"})]
    with fed(study, *said) as record:
        rows = tables(record).rows
        readings = tables(record).readings
        counts = tables(record).counts
    assert (len(rows), len(readings), len(counts)) == (2, 14, 4)
    check_dtypes(study, rows, readings, counts)


def check_dtypes(
    study: Study, rows: pd.DataFrame, readings: pd.DataFrame, counts: pd.DataFrame
) -> None:
    assert dtypes(counts) == COUNTS
    numbers = {f.name: "Int64" for f in study.fields if f.kind.name in ("number", "count")}
    assert dtypes(rows) == {
        "site": "string", "date": "datetime64[ns]", **numbers, "waiting": "Int64",
        "doubted": "string", "site_name": "string", "pages_in": "Int64", "pages_of": "Int64",
        "corrected": "Int64", "typed": "Int64", "photo": "string", "remarks": "string",
        "visit_id": "string", "modified": "datetime64[ms, UTC]",
    }  # fmt: skip
    expected = dict.fromkeys(readings.columns, "string")
    expected |= {"pdf_page": "Int64", "page": "Int64", "visit_date": "datetime64[ns]"}
    expected |= {"modified": "datetime64[ms, UTC]"}
    expected |= {"confidence": "Float64", "runner_up_confidence": "Float64", "decided": "boolean"}
    assert dtypes(readings) == expected


def test_a_site_number_keeps_its_zero_and_a_date_is_a_date(study: Study) -> None:
    with fed(study, stand_in.says({"site": "0174"})) as record:
        rows = tables(record).rows
        readings = tables(record).readings
        counts = tables(record).counts
    assert rows["site"].tolist() == ["0174"]
    assert counts["site"].unique().tolist() == ["0174"]
    assert counts["site_name"].unique().tolist() == ["Mill"]
    assert readings.loc[readings["field"] == "site", "value"].tolist() == ["0174"]
    day = pd.Timestamp(2026, 5, 20)
    assert rows["date"].tolist() == [day]
    assert counts["visit_date"].unique().tolist() == [day]
    assert readings["visit_date"].unique().tolist() == [day]


def test_a_written_zero_is_0_and_all_else_that_has_no_value_is_missing(study: Study) -> None:
    said = stand_in.says({"shade.eggs": "0", "sun.eggs": None}, flagged={"sun.snails": "12"})
    with fed(study, said) as record:
        rows = tables(record).rows
        counts = tables(record).counts
    assert cell(counts, "shade", "eggs") == 0
    assert cell(counts, "sun", "eggs") is pd.NA
    assert cell(counts, "sun", "eggs", "status") == "empty"
    assert cell(counts, "sun", "snails") is pd.NA
    assert cell(counts, "sun", "snails", "status") == "flagged"
    assert counts["value"].sum() == 7
    assert rows["shade.eggs"].tolist() == [0]
    assert rows["sun.eggs"].isna().all()
    assert rows["sun.snails"].isna().all()
    assert rows["waiting"].tolist() == [1]


def test_what_a_person_decided_is_marked(study: Study) -> None:
    said = stand_in.says(flagged={"sun.snails": "12", "sun.eggs": "3"})
    with fed(study, said) as record:
        asked = {item.field: item.reading_id for item in decided.pending(record)}
        decided.decide(record, asked["sun.snails"], Value("19"), by="Kim")
        decided.decide(record, asked["sun.eggs"], LeftEmpty(), by="Kim")
        counts = tables(record).counts
    assert cell(counts, "sun", "snails") == 19
    assert cell(counts, "sun", "snails", "status") == "corrected"
    assert cell(counts, "sun", "eggs") is pd.NA
    assert cell(counts, "sun", "eggs", "status") == "empty"
    marked = counts.loc[counts["decided"], ["plot", "count"]]
    assert marked.to_numpy().tolist() == [["sun", "snails"], ["sun", "eggs"]]
    assert "Kim" not in counts.to_csv()


def test_of_two_photos_the_value_that_serves_is_there_once_with_its_photo(study: Study) -> None:
    blurred = stand_in.says({"sun.eggs": None}, blur=0.4)
    with fed(study, blurred, stand_in.says()) as record:
        counts = tables(record).counts
    assert len(counts) == 4
    assert cell(counts, "sun", "eggs", "photo") == "photo-0002"


def test_a_count_on_a_page_that_has_not_arrived_has_no_line(study: Study) -> None:
    said = stand_in.says()
    for name in ("sun.snails", "sun.eggs"):
        del said["accepted"][name]
    with fed(study, said) as record:
        counts = tables(record).counts
        rows = tables(record).rows
    assert counts["plot"].tolist() == ["shade", "shade"]
    assert rows["sun.snails"].isna().all()


def test_units_and_treatments_come_from_the_study(study: Study) -> None:
    with fed(study, stand_in.says()) as record:
        counts = tables(record).counts
    assert cell(counts, "shade", "snails", "unit") == "shells"
    assert cell(counts, "shade", "eggs", "unit") is pd.NA
    assert cell(counts, "shade", "eggs", "treatment") == "shaded"
    assert counts["effort"].isna().all()


def test_visits_without_site_or_date_come_last_and_have_no_counts(study: Study) -> None:
    said = [
        stand_in.says(flagged={"date": "2026-05-20"}),
        stand_in.says(flagged={"site": "1004"}),
        stand_in.says({"site": "1010"}),
        stand_in.says({"site": "0174"}),
    ]
    with fed(study, *said) as record:
        rows = tables(record).rows
        counts = tables(record).counts
    assert counts["site"].tolist() == ["0174"] * 4 + ["1010"] * 4
    assert rows["site"].tolist() == ["0174", "1010", "1004", pd.NA]
    assert rows["date"].isna().tolist() == [False, False, True, False]


def test_the_frames_hold_what_the_files_hold(study: Study, tmp_path: Path) -> None:
    said = [
        stand_in.says({"site": "0174", "sun.eggs": None}, flagged={"sun.snails": "12"}),
        stand_in.says({"site": "1010", "shade.eggs": "0"}),
    ]
    with fed(study, *said) as record:
        found = tables(record)
    export_files(study, found, tmp_path / "out")
    assert written(found.rows) == in_file(tmp_path / "out" / "rows.csv")
    assert written(found.readings) == in_file(tmp_path / "out" / "readings.csv")
    wide = found.rows.set_index(["site", "date"])
    for line in found.counts.rename(columns={"count": "count_"}).itertuples():
        value = wide.loc[(line.site, line.visit_date), f"{line.plot}.{line.count_}"]
        assert value is line.value or value == line.value


def written(frame: pd.DataFrame) -> list[list[str]]:
    return [
        list(frame.columns),
        *([text(value) for value in line] for line in frame.itertuples(index=False)),
    ]


def text(value: Any) -> str:
    if str(value) in ("True", "False"):
        return "yes" if value else "no"
    if value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, pd.Timestamp) and value.tz:
        return f"{value:%Y-%m-%dT%H:%M:%SZ}"
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return f"{value:.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def in_file(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))
