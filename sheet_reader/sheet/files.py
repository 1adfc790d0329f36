"""Writes a sheet's PDF and its geometry file."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

from sheet_reader.errors import StorageError
from sheet_reader.sheet.geometry import geometry
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.model import BLANK
from sheet_reader.sheet.pdf import render_pdf
from sheet_reader.study.model import Study


def sheet_name(study: Study, sheet: str = BLANK) -> str:
    """The name of a sheet's files without endings: ``bean-tips-2043``, ``bean-tips-blank``."""
    return f"{study.key}-{'blank' if sheet == BLANK else sheet}"


def geometry_text(study: Study, sheet: str = BLANK) -> str:
    """The geometry file's text: JSON, one marker or cell a line."""
    described = geometry(lay_out(study, sheet))
    pages = described.get("pages")
    if pages is None:
        return _page_text(described, "") + "\n"
    inner = ",\n".join("  " + _page_text(page, "  ") for page in pages)
    return '{"pages": [\n' + inner + "\n]}\n"


def _page_text(page: dict[str, object], indent: str) -> str:
    parts = [f'{indent}  "page": {json.dumps(page["page"])}']
    for key in ("markers", "cells", "areas"):
        if key not in page:
            continue
        entries = page[key]
        assert isinstance(entries, list)
        lines = ",\n".join(f"{indent}    {json.dumps(entry)}" for entry in entries)
        parts.append(f'{indent}  "{key}": [\n{lines}\n{indent}  ]')
    return "{\n" + ",\n".join(parts) + "\n" + indent + "}"


def write_sheet(study: Study, sheet: str, folder: Path) -> tuple[Path, int]:
    """Write ``NAME.pdf`` and ``NAME.geometry.json`` into ``folder`` (made where it is not there);
    returns the PDF's path and its number of pages.

    Raises StorageError where the folder can't be written; a file is replaced only as a whole.
    """
    layout = lay_out(study, sheet)
    pdf = render_pdf(layout, study)
    name = sheet_name(study, sheet)
    path = folder / f"{name}.pdf"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write_whole(path, pdf)
        text = geometry_text(study, sheet)
        _write_whole(folder / f"{name}.geometry.json", text.encode("utf-8"))
    except OSError as error:
        raise StorageError(
            f"the sheets can't be written here: {error.strerror or error}",
            where=folder,
            remedy="choose another folder with --out",
        ) from None
    return path, len(layout.pages)


def _write_whole(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
