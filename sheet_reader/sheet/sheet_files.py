"""Writes sheets as PDF, with a geometry file beside each: where every marker, digit box and writing
space is, in mm.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import StorageError
from sheet_reader.sheet.identity import LETTERS, PROOF
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.page import BLANK, Page, SheetLayout
from sheet_reader.sheet.pdf import PlannedVisit, render_pdf, render_stack
from sheet_reader.sheet.proof import draw_proof, render_proof
from sheet_reader.study.study import Study

ALL_SITES = "all-sites"
"""Stands for the sheet in the name of a file that holds the sheets of every site."""
MOST_NAMED = 12
"""Of more sheets in one file, its name does not list the sites."""


def sheet_name(study: Study, sheet: str = BLANK) -> str:
    """The name of a sheet's files without endings: ``bean-tips-2043``, ``bean-tips-blank``."""
    return f"{study.key}-{'blank' if sheet == BLANK else sheet}"


def geometry(layout: SheetLayout) -> dict[str, Any]:
    """The documented JSON object: a page, or ``{"pages": [page, …]}`` for several.

    Origin top left, x right, y down, mm; ``cells[].index`` 0 is the leftmost box of its field.
    """
    pages = [_described(page) for page in layout.pages]
    return pages[0] if len(pages) == 1 else {"pages": pages}


def _described(page: Page) -> dict[str, Any]:
    size = {"width_mm": page.width_mm, "height_mm": page.height_mm}
    markers = [{"id": m.id, "corners_mm": [list(at) for at in m.corners_mm]} for m in page.markers]
    cells = [
        {"field": cell.field, "index": cell.index, "box_mm": list(cell.box_mm)}
        | ({"part": cell.part} if cell.part else {})
        for cell in page.cells
    ]
    areas = [
        {"kind": area.kind} | ({"field": area.field} if area.field else {})
        | {"box_mm": list(area.box_mm)}
        for area in page.areas
    ]  # fmt: skip
    number = {"number": page.number, "of": page.of}
    described = {"page": number | size, "markers": markers, "cells": cells}
    return described | ({"areas": areas} if areas else {})


def geometry_text(study: Study, sheet: str = BLANK) -> str:
    """The geometry file's text: JSON, one marker or cell a line."""
    return _text(geometry(lay_out(study, sheet)))


def proof_geometry(study: Study) -> dict[str, Any]:
    """The geometry of the page that checks printer and paper."""
    return geometry(SheetLayout(study.key, PROOF, BLANK, (draw_proof(study).page,)))


def _text(described: dict[str, Any]) -> str:
    if "pages" not in described:
        return _page_text(described, "") + "\n"
    inner = ",\n".join("  " + _page_text(page, "  ") for page in described["pages"])
    return '{"pages": [\n' + inner + "\n]}\n"


def _page_text(page: dict[str, Any], indent: str) -> str:
    parts = [f'{indent}  "page": {json.dumps(page["page"])}']
    for key in ("markers", "cells", "areas"):
        if key in page:
            lines = ",\n".join(f"{indent}    {json.dumps(entry)}" for entry in page[key])
            parts.append(f'{indent}  "{key}": [\n{lines}\n{indent}  ]')
    return "{\n" + ",\n".join(parts) + "\n" + indent + "}"


def write_sheet(study: Study, sheet: str, folder: Path) -> tuple[Path, int]:
    """Write ``NAME.pdf`` and ``NAME.geometry.json`` into ``folder`` (made where it is not there);
    returns the PDF's path and its number of pages.

    Raises StorageError where the folder can't be written; a file is replaced only as a whole.
    """
    layout = lay_out(study, sheet)
    name = sheet_name(study, sheet)
    path = _write_both(folder, name, render_pdf(layout, study), geometry_text(study, sheet))
    return path, len(layout.pages)


def write_stack(
    study: Study,
    sheets: Sequence[str],
    folder: Path,
    copies: int = 1,
    visits: Sequence[PlannedVisit] = (),
) -> tuple[Path, int]:
    """As :func:`write_sheet`, for several sheets, copies or visits in one PDF, whose name tells the
    sites and whether it is for visits; the geometry is that of one sheet, as all have it.
    """
    sheet = _stack_name(study, sheets)
    name = sheet_name(study, sheet) + ("-weeks" if visits else "")
    pdf = render_stack(study, sheets, sheet, copies, visits)
    path = _write_both(folder, name, pdf, geometry_text(study, sheets[0]))
    pages = len(lay_out(study, sheets[0]).pages)
    return path, pages * len(sheets) * copies * max(1, len(visits))


def _stack_name(study: Study, sheets: Sequence[str]) -> str:
    """What stands for the sheets in a file's name: their sites, or a digest of many."""
    if list(sheets) == [site.number for site in study.sites] and len(sheets) > 1:
        return ALL_SITES
    if len(sheets) <= MOST_NAMED:
        return "-".join(sheets)
    return f"{len(sheets)}-sites-{hashlib.sha256(' '.join(sheets).encode()).hexdigest()[:8]}"


def write_proof(study: Study, folder: Path, copies: int = 1) -> Path:
    """Write the page that checks printer and paper, and its geometry; returns the PDF's path."""
    name = f"{study.key}-proof"
    return _write_both(folder, name, render_proof(study, copies), _text(proof_geometry(study)))


def printed_before(study: Study, folder: Path) -> tuple[str, date] | None:
    """Layout version and day of the newest sheet of this study in ``folder``, or None."""
    newest: tuple[float, str] | None = None
    for path in folder.glob(f"{study.key}-*.pdf") if folder.is_dir() else ():
        version = _version_in(path)
        if version and (newest is None or path.stat().st_mtime > newest[0]):
            newest = (path.stat().st_mtime, version)
    return newest and (newest[1], date.fromtimestamp(newest[0]))


def _version_in(path: Path) -> str:
    """The layout version that a PDF of ours names in its title, or ""."""
    try:
        document = pdfium.PdfDocument(path)
    except (OSError, pdfium.PdfiumError):
        return ""
    try:
        last = document.get_metadata_value("Title").rpartition(" ")[2]
    finally:
        document.close()
    return last if len(last) == 4 and set(last) <= set(LETTERS) else ""


def _write_both(folder: Path, name: str, pdf: bytes, text: str) -> Path:
    path = folder / f"{name}.pdf"
    try:
        atomic_write({path: pdf, folder / f"{name}.geometry.json": text.encode("utf-8")})
    except OSError as error:
        raise StorageError(
            f"the sheets can't be written here: {error.strerror or error}",
            where=folder,
            remedy="choose another folder with --out",
        ) from None
    return path
