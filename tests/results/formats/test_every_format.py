"""Every format holds the same numbers, and none makes a missing value a number."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from zipfile import ZipFile

import openpyxl
import pandas as pd
import pytest
from made_facts import facts, visit

from sheet_reader.results.facts import Facts
from sheet_reader.results.formats import FORMATS, format_named
from sheet_reader.results.frames import Tables, tables_of
from sheet_reader.study.study import Study

Key = tuple[str, str, str, str]


def of_csv(files: dict[str, bytes]) -> dict[Key, str]:
    return _of_csv(files["counts.csv"])


def _of_csv(data: bytes) -> dict[Key, str]:
    lines = csv.DictReader(io.StringIO(data.decode(), newline=""))
    return {(x["site"], x["visit_date"], x["plot"], x["count"]): x["value"] for x in lines}


def of_data_package(files: dict[str, bytes]) -> dict[Key, str]:
    description = json.loads(files["data-package/datapackage.json"])
    schema = {r["name"]: r["schema"] for r in description["resources"]}["counts"]
    assert schema["missingValues"] == [""]
    return _of_csv(files["data-package/counts.csv"])


def of_excel(files: dict[str, bytes]) -> dict[Key, str]:
    (data,) = files.values()
    sheet = openpyxl.load_workbook(io.BytesIO(data))["counts"]
    header, *lines = sheet.iter_rows(values_only=True)
    rows = [dict(zip(header, line, strict=True)) for line in lines]
    return {
        (x["site"], f"{x['visit_date']:%Y-%m-%d}", x["plot"], x["count"]): (
            "" if x["value"] is None else str(x["value"])
        )
        for x in rows
    }


def of_parquet(files: dict[str, bytes]) -> dict[Key, str]:
    pytest.importorskip("pyarrow")
    frame = pd.read_parquet(io.BytesIO(files["counts.parquet"]))
    return {
        (x["site"], f"{x['visit_date']:%Y-%m-%d}", x["plot"], x["count"]): (
            "" if pd.isna(x["value"]) else str(int(x["value"]))
        )
        for x in frame.to_dict("records")
    }


READ_BACK: dict[str, Callable[[dict[str, bytes]], dict[Key, str]]] = {
    "csv": of_csv,
    "data-package": of_data_package,
    "excel": of_excel,
    "parquet": of_parquet,
}


def of_facts(found: Facts) -> dict[Key, str]:
    """What must stand there, straight from the facts."""
    return {
        (v.site, v.visit_date, f.field.partition(".")[0], f.field.partition(".")[2]): (
            f.value or "" if f.status in ("accepted", "confirmed", "corrected", "typed") else ""
        )
        for v in found.visits
        if v.site and v.visit_date
        for f in v.fields
        if "." in f.field
    }


@pytest.mark.parametrize("name", [n for n in FORMATS if n != "darwin-core"])
def test_every_format_holds_the_same_numbers(
    name: str, study: Study, found: Facts, tables: Tables
) -> None:
    if name == "parquet":
        pytest.importorskip("pyarrow")
    read = READ_BACK[name](format_named(name)(study, tables))
    expected = of_facts(found)
    assert read == expected
    assert "" in expected.values()
    assert "0" in expected.values()


def test_the_archive_holds_the_numbers_that_count(
    study: Study, found: Facts, tables: Tables
) -> None:
    (data,) = format_named("darwin-core")(study, tables).values()
    with ZipFile(io.BytesIO(data)) as archive:
        event, occurrence, measurement = (
            list(csv.DictReader(
                io.StringIO(archive.read(f"{name}.txt").decode(), newline=""),
                delimiter="\t",
                quoting=csv.QUOTE_NONE,
            ))
            for name in ("event", "occurrence", "measurementorfact")
        )  # fmt: skip
    visits = {x["eventID"]: (x["locationID"].partition(":")[2], x["eventDate"]) for x in event}
    names = {count.label: count.name for count in study.counts}
    names |= {"Aphis fabae": "blackfly"}
    read: dict[Key, str] = {}
    for lines, key, value in (
        (occurrence, "scientificName", "organismQuantity"),
        (measurement, "measurementType", "measurementValue"),
    ):
        for line in lines:
            if line[key] in names:
                plot = line["eventID"].rpartition(":")[2]
                read[*visits[line["eventID"]], plot, names[line[key]]] = line[value]
    expected = {key: value for key, value in of_facts(found).items() if value}
    assert expected == read


@pytest.mark.parametrize("name", list(FORMATS))
def test_the_same_tables_give_the_same_bytes(name: str, study: Study, found: Facts) -> None:
    if name == "parquet":
        pytest.importorskip("pyarrow")
    backwards = replace(found, visits=found.visits[::-1])
    make = format_named(name)
    assert make(study, tables_of(study, found)) == make(study, tables_of(study, backwards))


@pytest.mark.parametrize("name", list(FORMATS))
def test_a_study_without_any_visit_gives_empty_tables(name: str, study: Study) -> None:
    if name == "parquet":
        pytest.importorskip("pyarrow")
    assert format_named(name)(study, tables_of(study, facts()))


@pytest.mark.parametrize("name", list(FORMATS))
def test_no_format_names_a_contact(name: str, study: Study, tables: Tables) -> None:
    if name == "parquet":
        pytest.importorskip("pyarrow")
    contact = study.sites[0].contact.encode()
    for data in format_named(name)(study, tables).values():
        parts = [data]
        if data.startswith(b"PK"):
            with ZipFile(io.BytesIO(data)) as archive:
                parts = [archive.read(entry) for entry in archive.namelist()]
        assert all(contact not in part and b"@example" not in part for part in parts)


def test_published_formats_hold_neither_remarks_nor_places_unasked(
    study: Study, tables: Tables
) -> None:
    label = study.sites[0].label.encode()
    for name in ("data-package", "darwin-core"):
        for data in _unpacked(format_named(name)(study, tables)):
            assert label not in data
            assert b"see you" not in data
            assert b"51.4" not in data
    open_study = replace(study, publication=replace(study.publication, place_names=True))
    for name in ("data-package", "darwin-core"):
        parts = _unpacked(format_named(name)(open_study, tables_of(open_study, facts(
            visit(study.sites[0].number, "2026-05-20", {"pinched.plants": 3})
        ))))  # fmt: skip
        assert any(label in data for data in parts)


def _unpacked(files: dict[str, bytes]) -> list[bytes]:
    found = []
    for data in files.values():
        if data.startswith(b"PK"):
            with ZipFile(io.BytesIO(data)) as archive:
                found += [archive.read(entry) for entry in archive.namelist()]
        else:
            found.append(data)
    return found


def test_the_workbook_marks_with_words_and_runs_nothing(study: Study, tables: Tables) -> None:
    (data,) = format_named("excel")(study, tables).values()
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.sheetnames == ["rows", "counts", "readings", "dictionary"]
    for sheet in book.worksheets:
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref is not None
        assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
        assert not sheet._hyperlinks
    header, second, first, *_ = book["rows"].iter_rows(values_only=True)
    full = dict(zip(header, first, strict=True))
    holes = dict(zip(header, second, strict=True))
    assert full["pinched.blackfly"] == 0
    assert full["remarks"] == "=1+1 | see you"
    assert full["visit_date"] == datetime(2026, 5, 20)
    assert full["site"] == study.sites[0].number
    assert holes["pinched.blackfly"] == "waits"
    assert holes["pinched.ladybirds"] == "not readable"
    assert holes["pinched.egg_clusters"] is None
    assert holes["unpinched.large_larvae"] is None


def test_the_dictionary_names_every_column(study: Study, tables: Tables) -> None:
    files = format_named("csv")(study, tables)
    lines = list(csv.DictReader(io.StringIO(files["dictionary.csv"].decode(), newline="")))
    told = [(line["table"], line["column"]) for line in lines]
    for name in ("rows", "counts", "readings"):
        header = next(csv.reader(io.StringIO(files[f"{name}.csv"].decode(), newline="")))
        assert [column for table, column in told if table == name] == header
    blackfly = next(line for line in lines if line["column"] == "pinched.blackfly")
    assert (blackfly["unit"], blackfly["taxon"]) == ("colonies", "Aphis fabae")
    markdown = files["dictionary.md"].decode()
    assert all(f"`{count.name}`" in markdown for count in study.counts)
    assert "`pinched.ladybirds` = `pinched.egg_clusters` + " in markdown


@pytest.mark.parametrize(
    "text", ["a\x00b\x1f<&>\"'", "  spaces  ", "=1+1", "<r>a</r>", "https://example.org"]
)
def test_a_workbook_with_odd_texts_opens(text: str, study: Study) -> None:
    one = visit(study.sites[0].number, "2026-05-20", {"pinched.plants": 3}, remarks=(text,))
    (data,) = format_named("excel")(study, tables_of(study, facts(one))).values()
    sheet = openpyxl.load_workbook(io.BytesIO(data))["rows"]
    header, line = sheet.iter_rows(values_only=True)
    told = dict(zip(header, line, strict=True))["remarks"]
    assert isinstance(told, str)
    assert told.replace("_x0000_", "\x00").replace("_x001F_", "\x1f") == text
