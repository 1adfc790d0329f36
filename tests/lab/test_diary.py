"""What a simulated site's sheets leave behind for the next one."""

from __future__ import annotations

from dataclasses import replace

from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.lab.diary import Diary
from sheet_reader.sheet.page import SheetCode
from sheet_reader.simulate.truth import FieldTruth, SheetTruth

GOOD = {"site": "2043", "visit_date": "200526", "helpers": "_3"}


def test_sure_fields_count_as_read_and_asked_ones_as_answered(beans, written, stated, today):
    """A count read wrongly but surely is kept as read: memory knows no truth of its own."""
    states = {**GOOD, "a.plants": "12", "a.eggs": ["4", {"5": 0.6, "6": 0.3999}], "a.small": "7_"}
    filled = written(beans, states)
    page = decode_sheet(filled.view(), stated(filled.flat()), beans, today)
    asked = {f.field for f in page.fields if f.status == "flagged"}
    assert asked == {"a.eggs"}
    truth = {"site": "2043", "visit_date": "2026-05-20", "a.plants": "72", "a.eggs": "46"}
    fields = tuple(FieldTruth(name, value) for name, value in truth.items())
    sheet = SheetTruth(SheetCode("k", "v", "-", 1), "2043", "2026-05-20", fields, ())
    diary = Diary()
    diary.keep(beans, page, sheet)
    (kept,) = diary.memory["2043"]
    assert kept.day == "2026-05-20"
    assert sorted(kept.examples.digits) == sorted(
        map(int, "2043" + "200526" + "3" + "12" + "46" + "7")
    )
    diary.keep(beans, page, replace(sheet, visit_date=None))
    assert len(diary.memory["2043"]) == 1
