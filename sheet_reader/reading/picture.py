"""A picture in, its sheets out: vision, digits and decoding in one call."""

from __future__ import annotations

from datetime import date

import numpy as np

from sheet_reader.decode.counts import History
from sheet_reader.decode.rules import Rules
from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.decode.types import PageReading
from sheet_reader.digits import read_boxes
from sheet_reader.intake.types import Picture
from sheet_reader.reading.read_with_history import fields_of
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.study.model import Study
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.types import CROP_PX, NoSheet, SheetView

Read = tuple[SheetView, PageReading] | NoSheet


def read_picture(
    picture: Picture,
    study: Study,
    book: LayoutBook,
    today: date,
    *,
    history: History | None = None,
    threshold: float | None = None,
    rules: Rules = Rules.ALL,
) -> list[Read]:
    """Find every sheet in ``picture`` and decode it; a part without a sheet gives its reason.

    ``book`` is the study's layout book; the rest as in :func:`decode_sheet`.
    """
    results: list[Read] = []
    for finding in find_sheets(picture.gray, book):
        if isinstance(finding, NoSheet):
            results.append(finding)
            continue
        crops = np.zeros((0, CROP_PX, CROP_PX), dtype=np.uint8)
        if finding.boxes:
            crops = np.stack([box.crop for box in finding.boxes])
        page = decode_sheet(
            finding,
            read_boxes(crops),
            fields_of(study, book, finding.page.code.layout),
            today,
            history=history,
            threshold=threshold,
            rules=rules,
        )
        results.append((finding, page))
    return results
