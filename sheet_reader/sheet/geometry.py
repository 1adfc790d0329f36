"""The geometry file beside each PDF: where every marker, digit box and writing space is, in mm."""

from __future__ import annotations

from typing import Any

from sheet_reader.sheet.model import Area, Page, SheetLayout


def geometry(layout: SheetLayout) -> dict[str, Any]:
    """The documented JSON object: a page, or ``{"pages": [page, …]}`` for several.

    Origin top left, x right, y down, mm; ``cells[].index`` 0 is the leftmost box of its field.
    """
    pages = [_page(page) for page in layout.pages]
    return pages[0] if len(pages) == 1 else {"pages": pages}


def _page(page: Page) -> dict[str, Any]:
    cells: list[dict[str, Any]] = []
    for cell in page.cells:
        entry: dict[str, Any] = {
            "field": cell.field,
            "index": cell.index,
            "box_mm": list(cell.box_mm),
        }
        if cell.part:
            entry["part"] = cell.part
        cells.append(entry)
    described: dict[str, Any] = {
        "page": {
            "number": page.number,
            "of": page.of,
            "width_mm": page.width_mm,
            "height_mm": page.height_mm,
        },
        "markers": [
            {"id": m.id, "corners_mm": [list(corner) for corner in m.corners_mm]}
            for m in page.markers
        ],
        "cells": cells,
    }
    if page.areas:
        described["areas"] = [_area(area) for area in page.areas]
    return described


def _area(area: Area) -> dict[str, Any]:
    entry: dict[str, Any] = {"kind": area.kind}
    if area.field:
        entry["field"] = area.field
    return {**entry, "box_mm": list(area.box_mm)}
