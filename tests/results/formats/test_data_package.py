"""The Data Package: by the frictionless library, and what it must say by the specification."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from sheet_reader.results.export import export_files
from sheet_reader.results.frames import Tables
from sheet_reader.study.study import Study


@pytest.fixture
def package(study: Study, tables: Tables, tmp_path: Path) -> Path:
    export_files(study, tables, tmp_path, ["data-package"])
    return tmp_path / "data-package" / "datapackage.json"


@pytest.fixture
def described(package: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(package.read_text(encoding="utf-8"))
    return found


def fields(described: dict[str, Any], table: str) -> dict[str, dict[str, Any]]:
    resource = next(r for r in described["resources"] if r["name"] == table)
    return {field["name"]: field for field in resource["schema"]["fields"]}


def test_frictionless_finds_no_error(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import socket

    frictionless = pytest.importorskip("frictionless")

    def offline(*_: object, **__: object) -> None:
        raise OSError("offline")

    monkeypatch.setattr(socket.socket, "connect", offline)
    report = frictionless.validate(str(package))
    assert report.flatten(["type", "note"]) == []
    assert [task.stats["rows"] for task in report.tasks][1] > 20


def test_frictionless_would_see_a_value_out_of_place(package: Path) -> None:
    frictionless = pytest.importorskip("frictionless")
    counts = package.parent / "counts.csv"
    counts.write_bytes(counts.read_bytes().replace(b",pinched,", b",pinchd,", 1))
    assert not frictionless.validate(str(package)).valid


def test_number_columns_hold_numbers_and_the_reason_stands_beside(
    described: dict[str, Any], package: Path
) -> None:
    for table in ("rows", "counts"):
        own = fields(described, table)
        with (package.parent / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            lines = list(csv.DictReader(file))
        numbers = [name for name, field in own.items() if field["type"] == "integer"]
        assert all(not line[name] or line[name].isdecimal() for line in lines for name in numbers)
        told = [name for name in numbers if f"{name}.missing" in own]
        assert told
        for line in lines:
            for name in told:
                assert bool(line[name]) != bool(line[f"{name}.missing"])
    whole = (package.parent / "rows.csv").read_text(encoding="utf-8")
    assert all(why in whole for why in ("not received", "waits", "not recorded", "not readable"))
    assert all(r["schema"]["missingValues"] == [""] for r in described["resources"])


def test_pandas_reads_numbers_as_numbers(package: Path) -> None:
    counts = pd.read_csv(package.parent / "counts.csv")
    assert counts["value"].dtype == "float64"
    assert counts["value"].sum() > 100


def test_types_units_constraints_and_categories(described: dict[str, Any]) -> None:
    rows, counts = fields(described, "rows"), fields(described, "counts")
    assert rows["pinched.minutes"]["unit"] == "min"
    assert rows["pinched.blackfly"]["type"] == "integer"
    assert rows["pinched.blackfly"]["constraints"] == {"minimum": 0, "maximum": 999}
    assert rows["site"]["type"] == "string"
    assert counts["plot"]["constraints"]["enum"] == ["pinched", "unpinched"]
    assert counts["plot"]["categories"][0] == {"value": "pinched", "label": "Pinched half"}
    assert counts["effort"]["unit"] == "minutes"
    assert set(fields(described, "readings")["status"]["constraints"]["enum"]) > {"accepted"}


def test_licence_and_citation_are_the_studys_own(described: dict[str, Any]) -> None:
    assert described["licenses"][0]["name"] == "CC-BY-4.0"
    assert described["citation"] == "Bean tips (2026)"
    assert described["$schema"].endswith("/2.0/datapackage.json")
