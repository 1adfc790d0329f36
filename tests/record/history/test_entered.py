from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import decided
import pytest
from stand_in import says

from sheet_reader.errors import UsageError
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.record.history import mending
from sheet_reader.record.history.answers import Value
from sheet_reader.record.history.entered import enter, printed_fields
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., Any]
SHEET = {"site": "1010", "date": "2026-06-03", "helpers": "2", "shade.snails": "007",
         "shade.eggs": "0", "sun.snails": None}  # fmt: skip


def test_a_typed_sheet_is_a_row_marked_as_typed(study: Study) -> None:
    with Record.open(study) as record:
        photo = enter(record, SHEET, by="Ada", reason="came by post")
        [row] = record.visits()
        assert (row.site, row.visit_date, row.waiting) == ("1010", "2026-06-03", 0)
        assert row.values == {
            "site": "1010", "date": "2026-06-03", "helpers": "2", "shade.snails": "7",
            "shade.eggs": "0", "sun.snails": None, "sun.eggs": None,
        }  # fmt: skip
        assert row.statuses["shade.snails"] == "typed"
        assert row.statuses["sun.snails"] == row.statuses["sun.eggs"] == "empty"
        told = record.history("1010", "2026-06-03")
        assert {(e.what, e.by, e.why) for e in told} == {
            ("typed in", "Ada", "came by post"), ("left empty", "Ada", "came by post"),
        }  # fmt: skip
        assert all(e.is_current for e in told)
        assert decided.pending(record) == []
        assert record.photos() == []
        with pytest.raises(UsageError, match="typed in by hand"):
            record.photo_path(photo)
        reading = record.readings()[0].reading_id
        assert len(field_images(record, reading).boxes) == 0
    assert verify(study).problems == ()


def test_all_printed_pages_of_a_typed_sheet_are_there(study: Study) -> None:
    with Record.open(study) as record:
        enter(record, SHEET, by="Ada")
        assert len(record.visits()[0].pages) == len(printed_fields(study))


def test_undoing_a_typed_sheet_leaves_nothing_of_it(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        before = record.visits(), record.readings(), decided.pending(record)
        enter(record, SHEET, by="Ada")
        assert len(record.visits()) == 2
        decided.undo_last(record, "Ada")
        assert (record.visits(), record.readings(), decided.pending(record)) == before
        assert decided.undo_last(record, "Ada") is None
    assert verify(study).problems == ()


def test_a_typed_sheet_and_a_photo_of_it_contradict_where_they_differ(
    study: Study, post: Post
) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        same = {"site": "1004", "date": "2026-05-20", "helpers": "2", "shade.snails": "7"}
        more = {"shade.eggs": "0", "sun.snails": "21", "sun.eggs": "4"}
        enter(record, same | more, by="Ada")
        assert [w.field for w in decided.pending(record)] == ["sun.snails"]
        [row] = record.visits()
        assert (row.values["sun.eggs"], row.values["sun.snails"]) == ("4", "21")
        assert row.statuses["sun.snails"] == "doubted"


def test_a_photo_that_gave_nothing_is_typed_in_beside_it(study: Study, post: Post) -> None:
    post("no sheet here")
    with Record.open(study) as record:
        assert enter(record, SHEET, by="Ada", photo_id=1) == 1
        assert record.visits()[0].photos == ("photo-0001",)
        mending.set_aside(record, 1, by="Ada")
        assert record.visits() == []
    post(says(), again=True)
    assert verify(study).problems == ()


def test_a_typed_value_can_be_corrected(study: Study) -> None:
    with Record.open(study) as record:
        enter(record, SHEET, by="Ada")
        reading = next(r.reading_id for r in record.readings() if r.field == "helpers")
        decided.decide(record, reading, Value("3"), by="Bo")
        row = record.visits()[0]
        assert (row.values["helpers"], row.statuses["helpers"]) == ("3", "corrected")
        decided.undo_last(record, "Bo")
        assert record.visits()[0].values["helpers"] == "2"


@pytest.mark.parametrize(
    ("wrong", "says_why"),
    [
        ({"site": "1005"}, "not on the site list"),
        ({"site": None}, "needs its site"),
        ({"date": "2026-02-30"}, "no such date"),
        ({"date": None}, "needs its date"),
        ({"helpers": "two"}, "in digits"),
        ({"moths": "2"}, "no field moths"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_whole(
    study: Study, wrong: dict[str, str | None], says_why: str
) -> None:
    with Record.open(study) as record:
        with pytest.raises(UsageError, match=says_why):
            enter(record, SHEET | wrong, by="Ada")
        with pytest.raises(UsageError, match="no photo-0009"):
            enter(record, SHEET, by="Ada", photo_id=9)
        assert record.visits() == []
    assert verify(study).photos == 0


def test_a_backup_holds_typed_sheets(study: Study, post: Post, tmp_path: Path) -> None:
    post(says())
    with Record.open(study) as record:
        enter(record, SHEET, by="Ada")
    assert backup(study, tmp_path / "b.tar").problems == ()
    restore(tmp_path / "b.tar", tmp_path / "back")
    assert (tmp_path / "back" / "record.sqlite").exists()
