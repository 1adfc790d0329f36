"""Sheets written straight into a record, without any photo: quick, and every value is known."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from sheet_reader.decode.pages import FieldReading
from sheet_reader.intake.files import Origin
from sheet_reader.reading.field_pictures import pack_boxes
from sheet_reader.reasons import in_words
from sheet_reader.record.history import found, photos
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.originals import originals
from sheet_reader.record.store import claims
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.study import Study

Said = tuple[str | None, str, float]
"""Value, status and confidence of a field."""
SIDE = 400.0


def page(
    study: Study, said: Mapping[str, Said], *, sheet: str = BLANK, place: int = 0, frame: int = 0
) -> FoundPage:
    """A page that says ``said``; ``place`` 0, 1, … is where it lies in the picture."""
    names = {h.kind.name: h.name for h in study.header}

    def known(kind: str) -> str | None:
        value, status, _ = said.get(names[kind], (None, "", 0.0))
        return value if status == "accepted" else None

    site = sheet if sheet != BLANK else known("site")
    entry = study.site(site) if site else None
    left = place * SIDE
    return FoundPage(
        frame=frame,
        study=study.key,
        layout="v1",
        sheet=sheet,
        page=1,
        identified_by="machine code",
        px_per_mm=8.0,
        blur_mm=0.1,
        contrast=0.8,
        hidden_boxes=0,
        glare_share=0.0,
        advice="",
        site=site,
        visit_date=known("date"),
        outline=((left, 0.0), (left + SIDE, 0.0), (left + SIDE, SIDE), (left, SIDE)),
        fields=tuple(_field(name, *what) for name, what in said.items()),
        wording=as_text(wording_of(study)),
        site_label=entry.label if entry else None,
    )


def _field(name: str, value: str | None, status: str, confidence: float) -> FoundField:
    crops = [np.full((64, 64), 200, np.uint8)]
    corners = (((1.0, 1.0), (9.0, 1.0), (9.0, 9.0), (1.0, 9.0)),)
    reasons = in_words("unclear" if status == "flagged" else "")
    read = FieldReading(name, value, confidence, status, reasons)  # type: ignore[arg-type]
    return FoundField(read, pack_boxes(crops), b"", corners)


def take_in(record: Record, name: str) -> Task:
    """A photo that waits to be read."""
    data = name.encode()
    digest = hashlib.sha256(data).hexdigest()
    original = originals.place_of(digest, ".png")
    originals.keep(Path(record.folder), original, data)
    with record.writing() as connection:
        origin = Origin("file", name)
        photo_id, _ = photos.add_photo(connection, digest, name, original, len(data), origin)
    return Task(photo_id, name, original, 0)


def read_in(record: Record, task: Task, pages: Sequence[FoundPage]) -> Task:
    """Keep what a photo gave; gives the task for reading it once more."""
    token = claims.my_token()
    failures = () if pages else in_words("the sheet was refused")
    result = PhotoResult(tuple(pages), failures, "read" if pages else "no sheet")
    with record.writing() as connection:
        assert claims.claim(connection, task, token)
        assert found.finish(connection, task, token, result, "made up", "")
    return Task(task.photo_id, task.name, task.original, task.attempts + 1)
