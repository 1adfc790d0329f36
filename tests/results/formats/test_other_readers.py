"""What others read the exports with: polars, duckdb and xmlschema, where they are installed (extra
``readers``); pandas and pyarrow always.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pandas as pd
import pytest

from sheet_reader.results.export import export_files
from sheet_reader.results.formats import FORMATS
from sheet_reader.results.frames import Tables
from sheet_reader.study.study import Study

LINES = 27
"""Of counts: two plots of two visits, without the one on no page."""


@pytest.fixture
def folder(study: Study, tables: Tables, tmp_path: Path) -> Path:
    pytest.importorskip("pyarrow")
    export_files(study, tables, tmp_path, FORMATS)
    return tmp_path


def test_days_of_parquet_are_days(folder: Path) -> None:
    parquet: Any = pytest.importorskip("pyarrow.parquet")
    for name in ("rows", "counts", "readings"):
        schema = parquet.read_schema(folder / f"{name}.parquet")
        assert str(schema.field("visit_date").type) == "date32[day]"
        assert str(schema.field("modified").type) == "timestamp[ms, tz=UTC]"


def test_pandas_joins_csv_and_parquet(folder: Path) -> None:
    keys = ["site", "visit_date", "plot", "count"]
    text = pd.read_csv(
        folder / "counts.csv", dtype={"site": "string"}, parse_dates=["visit_date", "modified"]
    )
    kept = pd.read_parquet(folder / "counts.parquet")
    kept["visit_date"] = pd.to_datetime(kept["visit_date"])
    both = text.merge(kept, on=keys, validate="one_to_one")
    assert len(both) == len(text) == len(kept) == LINES
    assert (both["modified_x"] == both["modified_y"]).all()
    assert both["value_x"].astype("Int64").equals(both["value_y"].astype("Int64"))


def test_polars_joins_csv_and_parquet(folder: Path) -> None:
    polars: Any = pytest.importorskip("polars")
    for csv in ("counts.csv", "data-package/counts.csv"):
        text = polars.read_csv(
            folder / csv, try_parse_dates=True, schema_overrides={"site": polars.String}
        )
        kept = polars.read_parquet(folder / "counts.parquet")
        assert text["visit_date"].dtype == kept["visit_date"].dtype == polars.Date
        assert text["value"].dtype == kept["value"].dtype == polars.Int64
        both = text.join(kept, on=["site", "visit_date", "plot", "count"])
        assert both.height == text.height == kept.height == LINES
        assert both["value"].equals(both["value_right"], null_equal=True)


def test_duckdb_joins_csv_and_parquet(folder: Path) -> None:
    duckdb: Any = pytest.importorskip("duckdb")
    for csv in ("counts.csv", "data-package/counts.csv"):
        (found,) = duckdb.sql(
            f"SELECT count(*), sum(c.value), sum(p.value), min(c.visit_date) "
            f"FROM read_csv('{folder / csv}', types={{'site': 'VARCHAR'}}) c "
            f"JOIN '{folder / 'counts.parquet'}' p "
            "USING (site, visit_date, plot, count)"
        ).fetchall()
        assert found[0] == LINES
        assert found[1] == found[2] > 0
        assert found[3] == date(2026, 5, 20)


def test_xmlschema_finds_no_error(folder: Path, standards: Path) -> None:
    xmlschema: Any = pytest.importorskip("xmlschema")
    text = (standards / "darwin_core" / "tdwg_dwc_text.xsd").read_text(encoding="utf-8")
    meta = xmlschema.XMLSchema(re.sub(r"<xs:import[^>]*?(/>|>.*?</xs:import>)", "", text,
                                      flags=re.DOTALL))  # fmt: skip
    eml = xmlschema.XMLSchema(str(standards / "eml-2.2.0" / "eml.xsd"))
    with ZipFile(folder / "darwin-core.zip") as archive:
        meta.validate(archive.read("meta.xml").decode())
        eml.validate(archive.read("eml.xml").decode())
