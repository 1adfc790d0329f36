from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import cv2
import made_up
import numpy as np
from photographed_page import SAMPLE, kept, photographed, seen_page
from PIL import Image

from sheet_reader.reading.written_areas import AROUND_MM, PX_PER_MM, area_pictures
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.study.reader import read_study


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
    found = seen_page(study)
    with Record.open(study) as record:
        made_up.read_in(record, kept(record, stream.getvalue()), [found])
        pictures = area_pictures(record, 1)
    assert [p.kind for p in pictures] == list(areas)
    for picture, shade in zip(pictures, (20, 90), strict=False):
        shown = np.asarray(Image.open(io.BytesIO(picture.png)))
        edge = round((AROUND_MM + 1) * PX_PER_MM)
        assert abs(int(np.median(shown[edge:-edge, edge:-edge])) - shade) <= 3
        assert int(np.median(shown[:3])) > 200
        assert not Image.open(io.BytesIO(picture.png)).info


def test_a_page_that_is_not_there_has_no_pictures(tmp_path: Path) -> None:
    with Record.open(replace(read_study(SAMPLE), folder=tmp_path)) as record:
        assert area_pictures(record, 7) == []
