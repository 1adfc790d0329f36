"""A page of the bean study as a photo shows it, taken at a slant, and a place for such photos."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import cv2
import made_up
import numpy as np

from sheet_reader.intake.files import Origin
from sheet_reader.record.history import photos
from sheet_reader.record.history.found import FoundPage
from sheet_reader.record.originals import originals
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.study.study import Study

SAMPLE = Path(__file__).parents[2] / "samples" / "bean_tips"
SCALE = 6.0
SLANT = np.array([[SCALE, 0.3, 40.0], [-0.2, SCALE, 60.0], [0.0, 1e-5, 1.0]])


def photographed(points: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(points.reshape(-1, 1, 2), SLANT).reshape(-1, 2)


def seen_page(study: Study) -> FoundPage:
    """The first page of the sheet as it was found in the photo, all its boxes read."""
    page = lay_out(study).pages[0]
    names = {cell.field for cell in page.cells}
    found = made_up.page(study, dict.fromkeys(names, ("1", "accepted", 0.999)))
    fields = []
    for field in found.fields:
        cells = sorted((c for c in page.cells if c.field == field.reading.field),
                       key=lambda c: c.index)  # fmt: skip
        boxes = [[[c.box_mm[0] + dx * c.box_mm[2], c.box_mm[1] + dy * c.box_mm[3]]
                  for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))] for c in cells]  # fmt: skip
        corners = photographed(np.array(boxes, np.float64)).reshape(-1, 4, 2)
        fields.append(replace(field, corners=tuple(tuple(map(tuple, b)) for b in corners)))
    return replace(found, layout=page.code.layout, fields=tuple(fields))


def kept(record: Record, data: bytes) -> Task:
    digest = hashlib.sha256(data).hexdigest()
    original = originals.place_of(digest, ".png")
    originals.keep(record.folder, original, data)
    with record.writing() as connection:
        origin = Origin("folder", "a.png")
        number, _ = photos.add_photo(connection, digest, "a.png", original, len(data), origin)
    return Task(number, "a.png", original, 0)
