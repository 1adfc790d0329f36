"""A Data Package (version 2): the tables as CSV with a description that programs read.

After the specification at datapackage.org, version 2.0 (2024): Table Schema with types, units,
``constraints`` with ``enum``, ``categories``. A column of values holds nothing else; why one is
missing stands in the column beside it, ``….missing``. Units and the citation are properties of our
own, which the specification allows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from sheet_reader.results.cells import render_lines, safe_cell, texts
from sheet_reader.results.facts import (
    EMPTY,
    NOT_RECEIVED,
    STATUSES,
    UNREADABLE,
    WAITS,
    why_no_value,
)
from sheet_reader.results.formats.dictionary import Entry, entries
from sheet_reader.results.frames import Tables
from sheet_reader.study.publication import LICENCES
from sheet_reader.study.study import Study

FOLDER = "data-package"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
WHY = ".missing"
"""What the column ends in that says why another has no value."""
REASONS = {
    NOT_RECEIVED: "the page that holds the field did not come in",
    EMPTY: "nothing is written in the field, which is not 0",
    UNREADABLE: "something is written, but nobody can tell what",
    WAITS: "a person has yet to decide",
}
"""Why there is no value."""
TYPES = {"text": "string", "yes or no": "boolean"}
NEVER_PUBLISHED = ("remarks",)


def data_package(study: Study, tables: Tables) -> dict[str, bytes]:
    """``data-package/datapackage.json`` and the CSV files it describes."""
    withheld = NEVER_PUBLISHED if study.publication.place_names else (*NEVER_PUBLISHED, "site_name")
    files = {}
    resources = []
    for table in ("rows", "counts", "readings"):
        columns = {
            name: cells for name, cells in _columns(tables, table).items() if name not in withheld
        }
        data = render_lines(columns, zip(*columns.values(), strict=True))
        files[f"{FOLDER}/{table}.csv"] = data
        resources.append(_resource(study, tables, table, list(columns), data))
    package = _package(study) | {"resources": resources}
    text = json.dumps(package, ensure_ascii=False, indent=2) + "\n"
    return {f"{FOLDER}/datapackage.json": text.encode()} | files


def _columns(tables: Tables, table: str) -> dict[str, list[str]]:
    """The cells of a table by column, and behind a column of values why one is missing."""
    frame: pd.DataFrame = getattr(tables, table)
    found = {}
    for name in frame.columns:
        found[name] = texts(frame[name])
        if table == "rows" and name in tables.why_missing.columns:
            found[name + WHY] = texts(tables.why_missing[name])
        if table == "counts" and name == "value":
            why = zip(found[name], frame["status"].tolist(), strict=True)
            found[name + WHY] = ["" if cell else why_no_value(status) for cell, status in why]
    return found


def _package(study: Study) -> dict[str, Any]:
    said = study.publication
    found: dict[str, Any] = {"$schema": PROFILE, "name": study.key, "title": study.title}
    if said.description:
        found["description"] = said.description
    if said.licence:
        path, title = LICENCES[said.licence]
        found["licenses"] = [{"name": said.licence, "path": path, "title": title}]
    if said.citation:
        found["citation"] = said.citation
    if said.publisher:
        found["contributors"] = [{"title": said.publisher, "roles": ["publisher"]}]
    return found


def _resource(
    study: Study, tables: Tables, table: str, columns: list[str], data: bytes
) -> dict[str, Any]:
    by_name = {e.column: e for e in entries(study, tables.earlier) if e.table == table}
    schema: dict[str, Any] = {
        "fields": [
            _field(study, by_name[name]) if name in by_name else _why_field(name)
            for name in columns
        ],
        "missingValues": [""],
    }
    if table == "counts":
        schema["primaryKey"] = ["visit_id", "plot", "count"]
    return {
        "name": table,
        "type": "table",
        "path": f"{table}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "doubleQuote": True},
        "schema": schema,
    }


def _why_field(name: str) -> dict[str, Any]:
    return {
        "name": name,
        "type": "string",
        "description": f"why {name.removesuffix(WHY)} has no value; empty where it has one",
        "categories": _categories(REASONS),
        "constraints": {"enum": list(REASONS)},
    }


def _field(study: Study, entry: Entry) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": entry.column,
        "type": TYPES.get(entry.type, entry.type),
        "description": entry.meaning,
    }
    own = {"unit": entry.unit, "taxon": entry.taxon, "lifeStage": entry.life_stage}
    found |= {name: text for name, text in own.items() if text}
    if entry.type == "yes or no":
        found |= {"trueValues": ["yes"], "falseValues": ["no"]}
    chosen = _choices(study, entry)
    if chosen:
        found["categories"] = _categories(chosen)
    constraints = _constraints(study, entry) | ({"enum": list(chosen)} if chosen else {})
    if constraints:
        found["constraints"] = constraints
    return found


def _categories(labels: Mapping[str, str]) -> list[dict[str, str]]:
    return [{"value": value, "label": label} for value, label in labels.items()]


def _choices(study: Study, entry: Entry) -> dict[str, str]:
    """The values that a column may hold, with their labels; none where anything may stand there."""
    if entry.column == "status":
        return STATUSES
    if entry.table != "counts":
        return {}
    treatments = {p.treatment for p in study.plots if p.treatment}
    return {
        "plot": {p.name: p.label for p in study.plots},
        "count": {c.name: c.label for c in study.counts},
        "treatment": {safe_cell(text): text for text in sorted(treatments)},
    }.get(entry.column, {})


def _constraints(study: Study, entry: Entry) -> dict[str, Any]:
    """What every cell must fulfil. The plausible range is none of it: a person may confirm a value
    outside.
    """
    spec = next((s for s in study.fields if s.name == entry.column), None)
    if entry.table == "rows" and spec is not None and entry.type == "integer":
        return {"minimum": 0, "maximum": 10**spec.boxes - 1}
    keys = ("site", "visit_date", "plot", "count", "visit_id")
    if entry.table == "counts" and entry.column in keys:
        return {"required": True}
    if entry.column in ("confidence", "runner_up_confidence"):
        return {"minimum": 0, "maximum": 1}
    return {"minimum": 0} if entry.type in ("integer", "number") else {}
