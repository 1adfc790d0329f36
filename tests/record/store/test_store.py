from __future__ import annotations

from collections.abc import Callable
from datetime import date

import decided
import numpy as np
import pytest
import stand_in
from stand_in import says

from sheet_reader.errors import UsageError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history.answers import Accept, Illegible, LeftEmpty, Value
from sheet_reader.record.history.rows import accepted_sample
from sheet_reader.record.history.states import FieldState, VisitRow
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.wording import words

Post = Callable[..., BatchSummary]


def row(record: Record, field: str, photo: str = "photo-0001") -> FieldState:
    return next(r for r in record.readings() if (r.field, r.photo) == (field, photo))


def the_visit(record: Record) -> VisitRow:
    visits = record.visits()
    assert len(visits) == 1
    return visits[0]


def test_accepted_photo_becomes_one_visit(study: Study, post: Post) -> None:
    summary = post(says())
    assert (summary.arrived, summary.read, summary.accepted, summary.flagged) == (1, 1, 7, 0)
    with Record.open(study) as record:
        visit = the_visit(record)
        assert (visit.site, visit.visit_date, visit.waiting) == ("1004", "2026-05-20", 0)
        assert visit.values["shade.eggs"] == "0"
        assert decided.pending(record) == []


def test_an_empty_field_is_not_recorded_and_never_zero(study: Study, post: Post) -> None:
    post(says({"sun.eggs": None}))
    with Record.open(study) as record:
        assert the_visit(record).values["sun.eggs"] is None
        assert row(record, "sun.eggs").status == "empty"


@pytest.mark.parametrize(
    ("answer", "status", "value"),
    [
        (Accept(), "confirmed", "4"),
        (Value("4"), "confirmed", "4"),
        (Value(" 9 "), "corrected", "9"),
        (Value("009"), "corrected", "9"),
        (LeftEmpty(), "empty", None),
        (Illegible(), "unreadable", None),
    ],
)
def test_decisions(study: Study, post: Post, answer, status, value) -> None:  # type: ignore[no-untyped-def]
    post(says(flagged={"sun.snails": "4"}))
    with Record.open(study) as record:
        assert the_visit(record).waiting == 1
        assert the_visit(record).values["sun.snails"] is None
        (item,) = decided.pending(record)
        assert (item.field, item.read_value, words(item.reasons)) == ("sun.snails", "4", "unclear")
        decided.decide(record, item.reading_id, answer, by="Ada")
        assert decided.pending(record) == []
        assert (row(record, "sun.snails").status, row(record, "sun.snails").value) == (
            status,
            value,
        )
        assert the_visit(record).values["sun.snails"] == value
        assert decided.undo_last(record, "Bo") is None
        undone = decided.undo_last(record, "Ada")
        assert undone is not None
        assert undone.reading_id == item.reading_id
        assert [w.reading_id for w in decided.pending(record)] == [item.reading_id]
        assert decided.undo_last(record, "Ada") is None


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("site", "1005"),
        ("site", "=1+1"),
        ("date", "20.15.26"),
        ("date", "2026-02-30"),
        ("sun.eggs", "-3"),
        ("sun.eggs", "٣"),
        ("sun.eggs", "1234567890"),
    ],
)
def test_answers_that_cannot_be(study: Study, post: Post, field: str, text: str) -> None:
    post(says(flagged={field: "4"}))
    with Record.open(study) as record:
        with pytest.raises(UsageError):
            decided.decide(record, decided.pending(record)[0].reading_id, Value(text), by="Ada")
        assert len(decided.pending(record)) == 1


@pytest.mark.parametrize("text", ["20.5.26", "200526", "20 05 2026", "2026-05-20"])
def test_a_date_as_people_type_it_is_kept_as_one(study: Study, post: Post, text: str) -> None:
    post(says(flagged={"date": None}))
    with Record.open(study) as record:
        (asked,) = decided.pending(record)
        decided.decide(record, asked.reading_id, Value(text), by="Ada")
        assert (row(record, "date").value, the_visit(record).visit_date) == ("2026-05-20",) * 2


def test_a_page_without_site_stands_apart_until_decided(study: Study, post: Post) -> None:
    post(says())
    post(says({"sun.snails": "5"}, flagged={"site": "1010"}))
    with Record.open(study) as record:
        first, second = record.visits()
        assert (first.site, second.site, second.waiting) == ("1004", "", 1)
        decided.decide(record, decided.pending(record)[0].reading_id, Value("1022"), by="Ada")
        assert [v.site for v in record.visits()] == ["1004", "1022"]


def test_two_photos_that_agree_are_one_visit(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3", "sun.snails": None}))
    post(says())
    with Record.open(study) as record:
        visit = the_visit(record)
        assert visit.waiting == 0
        assert visit.photos == ("photo-0002", "photo-0001")
        assert visit.values["sun.eggs"] == "3"
        assert row(record, "sun.eggs").status == "accepted"
        assert row(record, "sun.snails").status == "unreadable"
        assert "photo-0002 serves" in words(row(record, "sun.snails").reasons)


def test_two_photos_that_disagree_are_asked_about_once(study: Study, post: Post) -> None:
    post(says({"sun.eggs": "3"}))
    post(says({"sun.eggs": "8"}))
    with Record.open(study) as record:
        (item,) = decided.pending(record)
        assert words(item.reasons).startswith("two photos of one sheet disagree")
        assert "photo-0001 reads 3" in words(item.reasons)
        assert "photo-0002 reads 8" in words(item.reasons)
        row = the_visit(record)
        assert (row.values["sun.eggs"], row.statuses["sun.eggs"]) == ("3", "doubted")
        decided.decide(record, item.reading_id, Value("8"), by="Ada")
        assert decided.pending(record) == []
        assert the_visit(record).values["sun.eggs"] == "8"


def test_empty_against_a_number_is_a_disagreement(study: Study, post: Post) -> None:
    post(says({"sun.eggs": None}))
    post(says({"sun.eggs": "0"}))
    with Record.open(study) as record:
        (item,) = decided.pending(record)
        assert "reads nothing" in words(item.reasons)


def test_a_doubtful_contradiction_is_asked_too(study: Study, post: Post) -> None:
    post(says({"sun.eggs": "3"}))
    post(says(flagged={"sun.eggs": "8"}))
    with Record.open(study) as record:
        assert [w.field for w in decided.pending(record)] == ["sun.eggs"]


def test_many_disagreements_hint_at_two_visits(study: Study, post: Post) -> None:
    post(says())
    post(says({"sun.eggs": "9", "sun.snails": "9", "shade.eggs": "9"}))
    with Record.open(study) as record:
        assert all("another site or date" in words(w.reasons) for w in decided.pending(record))
        assert len(decided.pending(record)) == 3


def test_a_later_photo_does_not_override_a_decision(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("5"), by="Ada")
    post(says({"sun.eggs": "8"}))
    with Record.open(study) as record:
        row = the_visit(record)
        assert (row.values["sun.eggs"], row.statuses["sun.eggs"]) == ("5", "doubted")
        (item,) = decided.pending(record)
        assert "5 was decided from photo-0001, photo-0002 reads 8" in words(item.reasons)
        decided.decide(record, item.reading_id, Accept(), by="Ada")
        assert the_visit(record).values["sun.eggs"] == "8"
        assert decided.pending(record) == []


def test_a_better_photo_replaces_what_could_not_be_read(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": None}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Illegible(), by="Ada")
        assert the_visit(record).statuses["sun.eggs"] == "unreadable"
    post(says({"sun.eggs": "8"}))
    with Record.open(study) as record:
        assert decided.pending(record) == []
        assert the_visit(record).values["sun.eggs"] == "8"
        assert row(record, "sun.eggs").status == "unreadable"


def test_pages_of_one_visit_are_merged(study: Study, post: Post) -> None:
    post({"accepted": {"site": "1004", "date": "2026-05-20", "sun.eggs": "1"}, "flagged": {}})
    second = {"accepted": {"site": "1004", "date": "2026-05-20", "sun.snails": "2"}}
    post(second | {"flagged": {}, "page": 2})
    with Record.open(study) as record:
        visit = the_visit(record)
        assert visit.pages == (1, 2)
        assert (visit.values["sun.eggs"], visit.values["sun.snails"]) == ("1", "2")


def test_printed_site_number_comes_from_the_code(study: Study, post: Post) -> None:
    said = {"accepted": {"date": "2026-05-20", "sun.eggs": "1"}, "flagged": {}, "sheet": "1010"}
    post(said)
    with Record.open(study) as record:
        assert the_visit(record).site == "1010"
        assert the_visit(record).values["site"] == "1010"


def test_images_of_a_field(study: Study, post: Post) -> None:
    post(says(flagged={"sun.snails": "4"}))
    with Record.open(study) as record:
        for reading_id in (
            decided.pending(record)[0].reading_id,
            row(record, "sun.eggs").reading_id,
        ):
            images = field_images(record, reading_id)
            assert images.boxes.shape == (1, 64, 64)
            assert images.context_png.startswith(b"\x89PNG")


def test_what_an_audit_drew_is_kept_with_its_threshold(study: Study, post: Post) -> None:
    post(says(flagged={"sun.snails": "4"}, threshold=0.97))
    with Record.open(study) as record:
        sample = accepted_sample(record.state(), 100, np.random.default_rng(1))
        assert len(sample) == 6
        eggs = next(s for s in sample if s.field == "sun.eggs")
        other = next(s for s in sample if s.field == "shade.eggs")
        decided.decide(record, eggs.reading_id, Value("2"), by="Ada", blind=True)
        decided.decide(record, other.reading_id, Accept(), by="Ada", blind=True)
        decided.decide(record, decided.pending(record)[0].reading_id, Accept(), by="Ada")
        own = record.audited()
        assert sorted((f.confidence, f.right) for f in own) == [(0.999, False), (0.999, True)]
        assert [f.threshold for f in own] == [0.97, 0.97]
        assert {(f.site, f.visit_date) for f in own} == {("1004", "2026-05-20")}
        assert len(accepted_sample(record.state(), 100, np.random.default_rng(1))) == 4


def test_flagged_fields_are_no_evidence_about_accepted_ones(study: Study, post: Post) -> None:
    post(says(flagged={"sun.snails": "4", "sun.eggs": "9"}))
    with Record.open(study) as record:
        for item in decided.pending(record):
            decided.decide(record, item.reading_id, Value("5"), by="Ada", blind=True)
        assert record.audited() == []


def test_a_field_on_many_photos_of_a_visit_counts_once(study: Study, post: Post) -> None:
    for _ in range(5):
        post(says())
    with Record.open(study) as record:
        readings = [r.reading_id for r in record.readings() if r.field == "sun.eggs"]
        assert len(readings) == 5
        for number, reading_id in enumerate(readings):
            answer = Accept() if number != 2 else Value("8")
            decided.decide(record, reading_id, answer, by="Ada", blind=True)
        own = record.audited()
        assert [f.right for f in own] == [False]


def test_what_was_drawn_stays_evidence_when_photos_are_read_again(study: Study, post: Post) -> None:
    later = says(flagged={"sun.eggs": "3"}, threshold=0.9999)
    post(says(threshold=0.9, on_odd_days=later), today=date(2026, 6, 2))
    with Record.open(study) as record:
        eggs = row(record, "sun.eggs")
        decided.decide(record, eggs.reading_id, Value("2"), by="Ada", blind=True)
    post_again = post(says({"site": "1010"}), again=True, today=date(2026, 6, 1))
    assert post_again.read == 2
    with Record.open(study) as record:
        assert row(record, "shade.eggs").status == "accepted"
        own = record.audited()
        assert [(f.right, f.threshold) for f in own] == [(False, 0.9)]


def test_reading_again_keeps_decisions_and_shows_where_it_differs(study: Study, post: Post) -> None:
    post(says(flagged={"sun.snails": "4"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("6"), by="Ada")
    post_again = post(says({"site": "1010"}), again=True)
    assert post_again.read == 2
    with Record.open(study) as record:
        again = row(record, "sun.snails")
        assert (again.value, again.status, again.later_value) == ("6", "corrected", "4")
        lines = record.history("1004", "2026-05-20")
        story = [(e.what, e.value, e.is_current) for e in lines if e.field == "sun.snails"]
        assert story == [
            ("read, flagged", "4", False),
            ("corrected", "6", True),
            ("read, flagged", "4", False),
        ]


def test_summary(study: Study, post: Post) -> None:
    post(says(flagged={"sun.snails": "4"}))
    post("no markers were found")
    with Record.open(study) as record:
        summary = record.summary()
    assert summary.photos == {"read": 1, "no sheet": 1}
    assert (summary.pages, summary.visits, summary.waiting) == (1, 1, 1)
    assert summary.fields == {"accepted": 6, "flagged": 1}


def test_decisions_stay_with_their_sheet_when_found_in_another_order(
    study: Study, post: Post
) -> None:
    two = [says({"site": site}, flagged={"sun.eggs": "3"}) for site in ("1004", "1010")]
    post(two, today=date(2026, 6, 2))
    with Record.open(study) as record:
        for item, value in zip(decided.pending(record), ("8", "9"), strict=True):
            decided.decide(record, item.reading_id, Value(value), by="Ada")
    post(says({"site": "1022"}), again=True, today=date(2026, 6, 3))
    with Record.open(study) as record:
        eggs = {v.site: v.values["sun.eggs"] for v in record.visits()}
    assert eggs == {"1004": "8", "1010": "9", "1022": "3"}


def test_a_decided_field_says_where_a_newer_reading_differs(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("8"), by="Ada")
        assert words(row(record, "sun.eggs").reasons) == "decided by a person"
    post(says({"site": "1010"}), again=True)
    with Record.open(study) as record:
        assert (
            words(row(record, "sun.eggs").reasons) == "decided by a person; a newer reading says 3"
        )
        assert the_visit_of(record, "1004").values["sun.eggs"] == "8"


def test_a_page_that_is_taken_for_another_one_now(study: Study, post: Post) -> None:
    post(says(sheet="1010", on_odd_days={"sheet": "1004"}), today=date(2026, 6, 2))
    read_batch(study, reader=stand_in.read, jobs=0, again=True, today=date(2026, 6, 3))
    with Record.open(study) as record:
        assert [r.sheet for r in record.readings()] == ["1004"] * 7


def test_a_page_with_decisions_is_never_left_out(study: Study, post: Post) -> None:
    said = says(flagged={"sun.eggs": "3"}, sheet="1010", on_odd_days={"sheet": "1004"})
    post(said, today=date(2026, 6, 2))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("8"), by="Ada")
    read_batch(study, reader=stand_in.read, jobs=0, again=True, today=date(2026, 6, 3))
    with Record.open(study) as record:
        assert {r.sheet for r in record.readings()} == {"1004", "1010"}
        assert the_visit(record).values["sun.eggs"] == "8"


def the_visit_of(record: Record, site: str) -> VisitRow:
    return next(v for v in record.visits() if v.site == site)
