from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Callable
from typing import Any

import decided
import pytest
from stand_in import says

from sheet_reader.answers.typed import rivals_of
from sheet_reader.errors import UsageError
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.history import deciding, mending
from sheet_reader.record.history.answers import FieldAnswer, LeftEmpty, Value
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., Any]


def places(record: Record) -> list[tuple[str, str]]:
    return [(v.site, v.visit_date) for v in record.visits()]


def reading(record: Record, field: str) -> int:
    return next(r.reading_id for r in record.readings() if r.field == field)


def test_a_photo_set_aside_counts_nowhere_and_comes_back(study: Study, post: Post) -> None:
    post(says())
    post(says({"date": "2026-06-01"}, flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        before = record.visits(), record.readings(), decided.pending(record)
        mending.set_aside(record, 2, by="Ada", reason="sent by mistake")
        assert places(record) == [("1004", "2026-05-20")]
        assert {r.photo_id for r in record.readings()} == {1}
        assert decided.pending(record) == []
        assert len(record.photos()) == 2
        with pytest.raises(UsageError, match="already"):
            mending.set_aside(record, 2, by="Ada")
        mending.take_back(record, 2, by="Bo")
        assert (record.visits(), record.readings(), decided.pending(record)) == before
        with pytest.raises(UsageError, match="neither set aside nor replaced"):
            mending.take_back(record, 2, by="Bo")
        told = [(e.what, e.by, e.why) for e in record.history("1004", "2026-06-01")][:2]
    assert told == [("set aside", "Ada", "sent by mistake"), ("counts again", "Bo", "")]
    assert verify(study).problems == ()


def test_one_sheet_of_several_in_a_photo_is_set_aside(study: Study, post: Post) -> None:
    post([says(), says({"date": "2026-06-01"})])
    with Record.open(study) as record:
        second = next(v for v in record.state() if v.visit_date == "2026-06-01").pages[0]
        mending.set_aside(record, 1, second.page_instance_id, by="Ada")
        assert places(record) == [("1004", "2026-05-20")]
        mending.set_aside(record, 1, by="Ada")
        assert places(record) == []
        mending.take_back(record, 1, second.page_instance_id, by="Ada")
        assert places(record) == [("1004", "2026-06-01")]
        for wrong in (99, None):
            with pytest.raises(UsageError, match=r"has no sheet 99|there is no photo-0007"):
                mending.set_aside(record, 1 if wrong else 7, wrong, by="Ada")


def test_the_history_of_a_visit_set_aside_is_still_told(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        mending.set_aside(record, 1, by="Ada", reason="a trial")
        entries = record.history("1004", "2026-05-20")
    assert [e.what for e in entries if e.field == "sheet"] == ["set aside"]
    assert any(e.field == "sun.snails" and e.value == "12" for e in entries)


@pytest.mark.parametrize("sheet", ["BLANK", "1004"])
def test_a_sheet_of_another_place_takes_its_rows_along(
    study: Study, post: Post, sheet: str
) -> None:
    said = says(sheet=sheet)
    if sheet != "BLANK":
        del said["accepted"]["site"]  # the number is printed, so the sheet has no boxes for it
    post(said)
    with Record.open(study) as record:
        page = record.state()[0].pages[0].page_instance_id
        decided.move(
            record, page, site="1022", visit_date="2026-06-03", by="Ada", reason="Kim told me"
        )
        assert places(record) == [("1022", "2026-06-03")]
        assert record.visits()[0].values["sun.snails"] == "12"
        here = record.history("1022", "2026-06-03")
        changed = {e.field: (e.was, e.value, e.why) for e in here if e.what == "corrected"}
        assert changed == {
            "site": ("1004", "1022", "Kim told me"),
            "date": ("2026-05-20", "2026-06-03", "Kim told me"),
        }
        left = record.history("1004", "2026-05-20")
        assert [(e.field, e.what) for e in left] == [("sheet", "counts for site 1022, 2026-06-03")]
        for _ in range(1 if sheet == "BLANK" else 2):
            assert decided.undo_last(record, "Ada") is not None
        assert places(record) == [("1004", "2026-05-20")]
        assert decided.undo_last(record, "Ada") is None
    assert verify(study).problems == ()


def test_a_printed_site_decided_stands_when_the_photo_is_read_again(
    study: Study, post: Post
) -> None:
    said = says(sheet="1004")
    del said["accepted"]["site"]
    post(said)
    with Record.open(study) as record:
        page = record.state()[0].pages[0].page_instance_id
        decided.move(record, page, site="1010", by="Ada")
        decided.move(record, page, site="1022", by="Ada")
    post(says({"date": "2026-07-01"}), again=True)
    with Record.open(study) as record:
        assert ("1022", "2026-05-20") in places(record)
        decided.undo_last(record, "Ada")
        assert ("1010", "2026-05-20") in places(record)


def test_two_sheets_that_come_to_one_place_contradict_each_other(study: Study, post: Post) -> None:
    post(says())
    post(says({"date": "2026-06-01", "sun.snails": "99"}))
    with Record.open(study) as record:
        second = next(v for v in record.state() if v.visit_date == "2026-06-01").pages[0]
        decided.move(record, second.page_instance_id, visit_date="2026-05-20", by="Ada")
        assert places(record) == [("1004", "2026-05-20")]
        assert [w.field for w in decided.pending(record)] == ["sun.snails"]
        [row] = record.visits()
        assert (row.values["sun.snails"], row.statuses["sun.snails"]) == ("12", "doubted")


@pytest.mark.parametrize(
    ("place", "says_why"),
    [
        ({"site": "1005"}, "not on the site list"),
        ({"visit_date": "2026-02-31"}, "no such date"),
        ({"site": "1010", "visit_date": "soon"}, "no such date"),
    ],
)
def test_a_place_that_cannot_be_leaves_all_as_it_was(
    study: Study, post: Post, place: dict[str, str], says_why: str
) -> None:
    post(says())
    with Record.open(study) as record:
        page = record.state()[0].pages[0].page_instance_id
        with pytest.raises(UsageError, match=says_why):
            decided.move(record, page, by="Ada", **place)
        assert places(record) == [("1004", "2026-05-20")]
        with pytest.raises(UsageError, match="no sheet 77"):
            decided.move(record, 77, site="1010", by="Ada")


def test_values_are_corrected_all_or_none_with_a_reason(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        eggs, snails = reading(record, "sun.eggs"), reading(record, "sun.snails")
        wrong = [FieldAnswer(eggs, Value("5")), FieldAnswer(snails, Value("many"))]
        with pytest.raises(UsageError, match="in digits"):
            deciding.keep(record, wrong, by="Ada")
        assert record.visits()[0].values["sun.eggs"] == "3"
        right = [FieldAnswer(eggs, Value("5")), FieldAnswer(snails, LeftEmpty())]
        deciding.keep(record, right, by="Ada", reason="  the volunteer\n\x1brang ")
        row = record.visits()[0]
        assert (row.values["sun.eggs"], row.statuses["sun.eggs"]) == ("5", "corrected")
        assert (row.values["sun.snails"], row.statuses["sun.snails"]) == (None, "empty")
        told = {e.field: (e.was, e.value, e.why) for e in record.history("1004", "2026-05-20")
                if e.by == "Ada"}  # fmt: skip
    assert told == {
        "sun.eggs": ("3", "5", "the volunteer rang"),
        "sun.snails": ("12", None, "the volunteer rang"),
    }


def test_a_correction_with_all_photos_in_sight_settles_the_field(study: Study, post: Post) -> None:
    post(says())
    post(says({"sun.snails": "13"}))
    with Record.open(study) as record:
        visit = record.state()[0]
        field = next(f for f in visit.fields if f.reading.field == "sun.snails" and f.is_current)
        rivals = rivals_of(field, visit, "14")
        change = FieldAnswer(field.reading.reading_id, Value("14"), rivals)
        deciding.keep(record, [change], by="Ada")
        assert decided.pending(record) == []
        assert record.visits()[0].values["sun.snails"] == "14"


def test_undoing_walks_back_through_fields_and_sheets(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        untouched = record.visits(), record.readings()
        decided.decide(record, reading(record, "sun.eggs"), Value("4"), by="Ada")
        mending.set_aside(record, 1, by="Ada")
        mending.take_back(record, 1, by="Bo")
        decided.decide(record, reading(record, "sun.eggs"), Value("5"), by="Ada")
        undone = [decided.undo_last(record, "Ada") for _ in range(4)]
        kinds = [u and u.reading_id is not None for u in undone]
        assert kinds == [True, False, True, None]
        decided.undo_last(record, "Bo")
        assert (record.visits(), record.readings()) == untouched
    assert verify(study).problems == ()


def test_of_two_that_set_a_photo_aside_at_once_one_is_told(study: Study, post: Post) -> None:
    post(says())
    told: list[str] = []

    def aside() -> None:
        with Record.open(study) as record:
            try:
                mending.set_aside(record, 1, by="Ada")
            except UsageError as error:
                told.append(str(error))

    threads = [threading.Thread(target=aside) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert told == ["photo-0001 is set aside already"] * 3
    assert verify(study).problems == ()


def test_a_decision_edited_by_another_program_is_found(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        mending.set_aside(record, 1, by="Ada", reason="a trial")
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("UPDATE sheet_decisions SET kind = 'back'")
        sql = raw.execute(
            "SELECT sql FROM sqlite_master WHERE name = 'sheet_decisions_keep_update'"
        ).fetchone()[0]
        raw.execute("DROP TRIGGER sheet_decisions_keep_update")
        raw.execute("UPDATE sheet_decisions SET kind = 'back'")
        raw.execute(sql)
        raw.commit()
    [fault] = verify(study).problems
    assert "photo1.png: a decision about the sheet" in fault


def test_a_person_named_in_a_reason_is_erased_from_it(study: Study, post: Post) -> None:
    post(says())
    with Record.open(study) as record:
        mending.set_aside(record, 1, by="Pat Doe", reason="a trial")
        mending.take_back(record, 1, by="Ada", reason="Pat Doe rang")
        deciding.keep(
            record,
            [FieldAnswer(reading(record, "sun.eggs"), Value("5"))],
            by="Ada",
            reason="so Pat Doe",
        )
    assert erase(study, "Pat Doe", bare_picture).decisions == 3
    with Record.open(study) as record:
        told = [(e.by, e.why) for e in record.history("1004", "2026-05-20") if e.by[:5] != "sheet"]
    assert told == [("forgotten person", "a trial"), ("Ada", "(removed)"), ("Ada", "(removed)")]
    assert b"Pat Doe" not in (study.folder / "record.sqlite").read_bytes()
    assert verify(study).problems == ()


def test_a_photo_set_aside_is_not_tried_again(study: Study, post: Post) -> None:
    post("no sheet here")
    with Record.open(study) as record:
        mending.set_aside(record, 1, by="Ada", reason="a cat")
    assert post(says(), again=True).photo_ids == (2,)
    with Record.open(study) as record:
        mending.take_back(record, 1, by="Ada")
    assert set(post(says({"date": "2026-07-01"}), again=True).photo_ids) == {1, 2, 3}
