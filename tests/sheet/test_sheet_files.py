"""The geometry file, and the sheets that are kept as they were printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.pdf import rasterise, render_pdf
from sheet_reader.sheet.sheet_files import geometry, geometry_text, sheet_name
from sheet_reader.study.study import Study


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _check_page(page: dict[str, Any]) -> None:
    assert list(page) == ["page", "markers", "cells", "areas"]
    assert list(page["page"]) == ["number", "of", "width_mm", "height_mm"]
    width, height = page["page"]["width_mm"], page["page"]["height_mm"]
    for marker in page["markers"]:
        assert list(marker) == ["id", "corners_mm"]
        assert isinstance(marker["id"], int)
        assert [len(corner) for corner in marker["corners_mm"]] == [2, 2, 2, 2]
        assert all(_is_number(v) for corner in marker["corners_mm"] for v in corner)
    for cell in page["cells"]:
        assert list(cell) in (["field", "index", "box_mm"], ["field", "index", "box_mm", "part"])
        x, y, w, h = cell["box_mm"]
        assert all(_is_number(v) for v in cell["box_mm"])
        assert 0 < x < x + w < width
        assert 0 < y < y + h < height
    for area in page["areas"]:
        tally = area["kind"] == "tally"
        assert list(area) == (["kind", "field", "box_mm"] if tally else ["kind", "box_mm"])
        assert area["kind"] in ("comments", "counted_by", "tally")
        x, y, w, h = area["box_mm"]
        assert 0 < x < x + w < width
        assert 0 < y < y + h < height


def test_one_page_is_the_documented_object(beans: Study) -> None:
    described = geometry(lay_out(beans))
    _check_page(described)
    assert described["page"] == {"number": 1, "of": 1, "width_mm": 210.0, "height_mm": 297.0}
    assert len(described["markers"]) == 10
    fields = {cell["field"] for cell in described["cells"]}
    assert fields == {f.name for f in beans.fields}
    parts = [cell["part"] for cell in described["cells"] if cell["field"] == "visit_date"]
    assert parts == ["day"] * 2 + ["month"] * 2 + ["year"] * 2


def test_several_pages_are_a_list(pools: Study) -> None:
    described = geometry(lay_out(pools))
    assert list(described) == ["pages"]
    assert [page["page"]["number"] for page in described["pages"]] == [1, 2]
    for page in described["pages"]:
        _check_page(page)


def test_text_is_json_of_the_same(sample: Study) -> None:
    assert json.loads(geometry_text(sample)) == geometry(lay_out(sample))


FOLDER = Path(__file__).parents[2] / "templates_pdf"


def test_blanks_are_current(sample: Study) -> None:
    name = sheet_name(sample)
    geometry = (FOLDER / f"{name}.geometry.json").read_text(encoding="utf-8")
    assert geometry == geometry_text(sample)
    layout = lay_out(sample)
    now, kept = render_pdf(layout, sample), (FOLDER / f"{name}.pdf").read_bytes()
    for page in layout.pages:
        a, b = rasterise(now, page.number, 6.0), rasterise(kept, page.number, 6.0)
        assert np.array_equal(a, b)
