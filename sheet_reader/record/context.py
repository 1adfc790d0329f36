"""What a person is shown of a field: from the record, else cut out of the kept original."""

from __future__ import annotations

import json

from sqlalchemy import Connection, select

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.intake.types import Picture
from sheet_reader.record import schema
from sheet_reader.record.images import context_png, unpack_boxes
from sheet_reader.record.model import FieldImages
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.model import Page, SheetCode
from sheet_reader.study.model import Study

Box = tuple[float, float, float, float]
WIDTH_MM, HEIGHT_MM, STEP_MM = 7.0, 9.0, 9.0


def field_images(connection: Connection, study: Study, reading_id: int) -> FieldImages:
    """Crops and surroundings of a reading; raises :class:`UsageError` where it is unknown."""
    r, k, s, p = (
        schema.readings.c,
        schema.reading_runs.c,
        schema.page_instances.c,
        schema.photos.c,
    )
    row = connection.execute(
        select(
            r.field, s.frame, p.original, s.study, s.layout, s.sheet, s.page, k.id, k.decoded_from,
        )
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .join(schema.page_instances, s.id == k.page_instance_id)
        .join(schema.photos, p.id == s.photo_id)
        .where(r.id == reading_id)
    ).one_or_none()  # fmt: skip
    if row is None:
        raise UsageError(f"there is no reading {reading_id} in the record")
    run_id = row.id if row.decoded_from is None else row.decoded_from  # which saw the photo
    pictures_of = select(r.boxes_png, r.context_png, r.corners)
    there = pictures_of.where(r.run_id == run_id, r.field == row.field)
    seen = connection.execute(there).one()
    context = seen.context_png
    if not context:
        pictures = open_pictures(study.folder / row.original)
        frame = pictures[row.frame] if row.frame < len(pictures) else None
        if isinstance(frame, Picture):
            corners = json.loads(seen.corners)
            code = SheetCode(row.study, row.layout, row.sheet, row.page)
            boxes = _printed_boxes(study, code, row.field, len(corners))
            context = context_png(frame.gray, corners, boxes)
    return FieldImages(unpack_boxes(seen.boxes_png), context)


def _printed_boxes(study: Study, code: SheetCode, field: str, count: int) -> list[Box]:
    """Where the field's boxes are printed, in mm; about so for a layout that is no longer used."""
    page = LayoutBook(study).lookup(code)
    if isinstance(page, Page):
        cells = sorted((c for c in page.cells if c.field == field), key=lambda c: c.index)
        if len(cells) == count:
            return [c.box_mm for c in cells]
    return [(n * STEP_MM, 0.0, WIDTH_MM, HEIGHT_MM) for n in range(count)]
