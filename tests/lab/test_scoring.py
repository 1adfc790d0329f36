"""The score card itself, against cases worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sheet_reader.decode.pages import FieldReading, PageReading
from sheet_reader.digits.classes import CLASSES, BoxReadings
from sheet_reader.lab.report import report
from sheet_reader.lab.scoring import (
    Score,
    box_error_mm,
    score_boxes_read,
    score_page,
    score_views,
)
from sheet_reader.sheet.page import Cell, Page, SheetCode
from sheet_reader.simulate.truth import CellTruth, FieldTruth, PhotoTruth, SheetTruth
from sheet_reader.vision.findings import BoxView, PhotoQuality, SheetView

CODE = SheetCode("beans", "ABC", "2043", 1)
CROP = np.zeros((64, 64), np.uint8)


def corners(x: float, y: float, px_per_mm: float = 10.0) -> tuple[tuple[float, float], ...]:
    w, h = 8 * px_per_mm, 10 * px_per_mm
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


def a_cell(field: str, content: str, x: float, **more: object) -> CellTruth:
    return CellTruth(field, 0, content, corners_px=corners(x, 50), **more)  # type: ignore[arg-type]


def a_view(shift: float, cells: tuple[CellTruth, ...], code: SheetCode = CODE) -> SheetView:
    page = Page(code, 1, 210, 297, (), (), (0, 0, 1, 1), (0, 0, 1, 1))
    boxes = tuple(
        BoxView(
            Cell(c.field, c.index, (0, 0, 8, 10)), 0.05,
            crop=CROP, corners_px=np.add(c.corners_px, (shift, 0)),
        )
        for c in cells
    )
    quality = PhotoQuality(10, 0.1, 0.8, 0, 0.0)
    return SheetView(page, boxes, quality, "machine code", np.zeros((4, 2)))


CELLS = (
    a_cell("a.x", "7", 0),
    a_cell("a.y", "empty", 200),
    a_cell("a.z", "3", 400, covered=0.5),
    a_cell("a.s", "struck", 600),
)
FIELDS = (
    FieldTruth("a.x", "7"),
    FieldTruth("a.y", None, "empty"),
    FieldTruth("a.z", "3"),
    FieldTruth("a.s", None, "struck"),
)
OUTLINE = ((0.0, 0.0), (800.0, 0.0), (800.0, 600.0), (0.0, 600.0))
SHEET = SheetTruth(CODE, "2043", "2026-05-20", FIELDS, CELLS, outline_px=OUTLINE)
PHOTO = PhotoTruth("sheet", "typical", 1, 1000, 800, 1, (SHEET,))


def read(**values: tuple[str | None, str]) -> PageReading:
    fields = tuple(
        FieldReading(f"a.{name}", value, 0.9, status)  # type: ignore[arg-type]
        for name, (value, status) in values.items()
    )
    return PageReading(CODE, fields, "2043", "2026-05-20")


def test_a_shift_of_half_a_millimetre_counts_as_that_on_the_paper() -> None:
    view = a_view(5.0, CELLS)
    assert box_error_mm(CELLS[0], view.boxes[0], 1.0) == pytest.approx(0.5)
    assert box_error_mm(CELLS[0], view.boxes[0], 0.9) == pytest.approx(0.45)


def test_found_missed_and_wrongly_identified_sheets() -> None:
    found, missed, wrong, false = Score(), Score(), Score(), Score()
    score_views(PHOTO, [a_view(0, CELLS)], found)
    assert (found.sheets, found.found, found.misidentified) == (1, 1, 0)
    assert (found.boxes, found.boxes_placed) == (3, 3)
    assert max(found.errors_mm) == 0
    assert (found.lost, found.lost_unnoticed) == (1, 1)
    score_views(PHOTO, [], missed)
    assert (missed.sheets, missed.found) == (1, 0)
    other = SheetCode("beans", "ABC", "2044", 1)
    score_views(PHOTO, [a_view(0, CELLS, other)], wrong)
    assert (wrong.found, wrong.misidentified) == (0, 1)
    score_views(PhotoTruth("desk", "easy", 1, 9, 9, 1), [a_view(0, CELLS)], false)
    assert (false.bare, false.false_sheets, false.sheets) == (1, 1, 0)


def test_two_sheets_with_one_code_are_told_apart_by_their_place() -> None:
    """Two blanks in one picture carry the same code."""
    away = tuple((x + 1000, y) for x, y in OUTLINE)
    cells = tuple(
        replace(c, corners_px=tuple((x + 1000, y) for x, y in c.corners_px)) for c in CELLS
    )
    other = replace(SHEET, cells=cells, outline_px=away)
    photo = replace(PHOTO, sheets=(SHEET, other))
    views = [
        replace(a_view(0, cells), outline_px=np.array(away)),
        replace(a_view(0, CELLS), outline_px=np.array(OUTLINE)),
    ]
    score = Score()
    score_views(photo, views, score)
    assert (score.found, score.misidentified) == (2, 0)
    assert max(score.errors_mm) == 0
    score_views(photo, [views[0], views[0]], score)
    assert (score.found, score.sheets) == (3, 4)


def test_fields_right_flagged_and_wrong() -> None:
    score = Score()
    score_page(
        SHEET,
        read(x=("1", "accepted"), y=(None, "empty"), z=("8", "flagged"), s=(None, "flagged")),
        score,
    )
    assert (score.fields, score.right) == (3, 2)  # the covered one does not count
    assert (score.sure, score.sure_wrong) == (2, 1)
    assert (score.flagged, score.plain, score.plain_flagged) == (1, 2, 0)
    assert (score.site_wrong, score.date_wrong) == (0, 0)
    assert any("a.x 7" in note and "ACCEPTED" in note for note in score.notes)


def test_a_hidden_field_that_is_guessed_counts_against_the_reader() -> None:
    score = Score()
    score_page(SHEET, read(z=("8", "accepted")), score)
    assert (score.sure, score.sure_wrong, score.fields) == (1, 1, 0)


def test_an_ink_field_taken_for_empty_is_a_wrong_value() -> None:
    score = Score()
    score_page(SHEET, read(x=(None, "empty")), score)
    assert score.sure_wrong == 1
    assert score.missed == 1


def test_the_worst_of_the_people_is_told_by_share() -> None:
    score = Score(people={"ann": [0, 0, 0, 1, 1], "bo": [1, 0], "cy": [0, 0, 0]})
    line = next(s for s in report(score, "typical", "whole") if "worst of the people" in s)
    assert "(bo)" in line
    assert "50.00 %  (1 of 2)" in line


def test_wrong_site_and_date() -> None:
    score = Score()
    reading = PageReading(CODE, (), "2041", "2026-05-21")
    score_page(SHEET, reading, score)
    assert (score.site_wrong, score.date_wrong) == (1, 1)
    waiting = PageReading(CODE, (), None, None)
    score_page(SHEET, waiting, score)
    assert (score.site_wrong, score.date_wrong) == (1, 1)


def test_blank_and_ink_mixed_up() -> None:
    score = Score()
    view = a_view(0, CELLS)
    table = np.full((4, len(CLASSES)), 0.0)
    table[:, CLASSES.index("empty")] = [0.9, 0.1, 0.9, 0.1]
    table[:, 3] = 1 - table[:, CLASSES.index("empty")]
    score_boxes_read(SHEET, view, BoxReadings(table, CLASSES), score)
    assert (score.blank, score.blank_as_ink) == (1, 1)
    assert (score.inked, score.ink_as_blank) == (2, 1)


def test_scores_add_up_and_print() -> None:
    one, two = Score(), Score()
    score_views(PHOTO, [a_view(1, CELLS)], one)
    score_page(SHEET, read(x=("7", "accepted")), one)
    one.seconds = {"digits": [0.2]}
    two.add(one)
    two.add(one)
    assert (two.photos, two.found, two.right) == (2, 2, 2)
    assert two.seconds == {"digits": [0.2, 0.2]}
    assert [sum(marks) for marks in two.people.values()] == [0]
    assert [len(marks) for marks in two.people.values()] == [2]
    text = "\n".join(report(two, "typical", "whole"))
    assert "100.00 %  (2 of 2)" in text
    assert "0.200" in text
