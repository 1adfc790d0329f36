from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import cv2
import made_up
import numpy as np
from PIL import Image

from sheet_reader.intake.types import Origin
from sheet_reader.record import originals, writing
from sheet_reader.record.areas import AROUND_MM, PX_PER_MM, area_pictures
from sheet_reader.record.claims import Task
from sheet_reader.record.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.study.reader import read_study

SAMPLE = Path(__file__).parents[2] / "samples" / "bean_tips"
SCALE = 6.0
SLANT = np.array([[SCALE, 0.3, 40.0], [-0.2, SCALE, 60.0], [0.0, 1e-5, 1.0]])


def photographed(points: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(points.reshape(-1, 1, 2), SLANT).reshape(-1, 2)


def test_the_areas_for_free_writing_are_shown_as_they_were_photographed(tmp_path: Path) -> None:
    study = replace(read_study(SAMPLE), folder=tmp_path)
    page = lay_out(study).pages[0]
    gray = np.full((1900, 1400), 250, np.uint8)
    areas = {a.kind: a.box_mm for a in page.areas if a.kind in ("comments", "counted_by")}
    assert areas
    for shade, (x, y, w, h) in zip((20, 90), areas.values(), strict=False):
        inside = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], np.float64)
        cv2.fillPoly(gray, [photographed(inside).round().astype(np.int32)], shade)
    stream = io.BytesIO()
    Image.fromarray(gray).save(stream, "PNG")
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
    found = replace(found, layout=page.code.layout, fields=tuple(fields))
    with Record.open(study) as record:
        made_up.read_in(record, _kept(record, stream.getvalue()), [found])
        pictures = area_pictures(record, 1)
    assert [p.kind for p in pictures] == list(areas)
    for picture, shade in zip(pictures, (20, 90), strict=False):
        shown = np.asarray(Image.open(io.BytesIO(picture.png)))
        edge = round((AROUND_MM + 1) * PX_PER_MM)
        assert abs(int(np.median(shown[edge:-edge, edge:-edge])) - shade) <= 3
        assert int(np.median(shown[:3])) > 200
        assert not Image.open(io.BytesIO(picture.png)).info


def _kept(record: Record, data: bytes) -> Task:
    import hashlib

    digest = hashlib.sha256(data).hexdigest()
    original = originals.place_of(digest, ".png")
    originals.keep(record.folder, original, data)
    with record.writing() as connection:
        origin = Origin("folder", "a.png")
        number, _ = writing.add_photo(connection, digest, "a.png", original, len(data), origin)
    return Task(number, "a.png", original, 0)


def test_a_page_that_is_not_there_has_no_pictures(tmp_path: Path) -> None:
    with Record.open(replace(read_study(SAMPLE), folder=tmp_path)) as record:
        assert area_pictures(record, 7) == []
