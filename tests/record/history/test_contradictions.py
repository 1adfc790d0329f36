"""Several photos of one sheet that say different things, through the record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import permutations

import decided
import numpy as np
import pytest
import stand_in
from stand_in import says
from thorough import every

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.history import deciding, found, photos, runs
from sheet_reader.record.history.answers import Accept, Answer, Illegible, LeftEmpty, Value
from sheet_reader.record.history.rows import accepted_sample
from sheet_reader.record.history.states import FieldState, VisitRow
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name, words

Post = Callable[..., BatchSummary]
FIELD, DAY = "sun.snails", "2026-05-20"
FIRST, SECOND = "photo-0001", "photo-0002"


def line(record: Record, photo: str, field: str = FIELD) -> FieldState:
    return next(r for r in record.readings() if (r.field, r.photo) == (field, photo))


def visit_of(record: Record) -> VisitRow:
    return next(v for v in record.visits() if v.visit_date == DAY)


def answer(record: Record, photo: str, field: str, what: Answer) -> None:
    decided.decide(record, line(record, photo, field).reading_id, what, by="Ada")


def asked(record: Record) -> FieldState:
    (item,) = decided.pending(record)
    assert item.field == FIELD
    return item


FLAGGED_THEN_21 = says(flagged={FIELD: "27", "date": DAY})
SURE_123 = says({FIELD: "123"}, flagged={"date": DAY})
STEPS = ("photo A", "photo B", "21 on A", "date of A", "date of B")
ORDERS = [
    order
    for order in permutations(STEPS)
    if order.index("photo A") < min(order.index("21 on A"), order.index("date of A"))
    and order.index("photo B") < order.index("date of B")
]


@pytest.mark.parametrize("order", every(4, [(order,) for order in ORDERS]), ids=", ".join)
def test_a_decision_of_21_never_overrides_the_123_of_another_photo(
    study: Study, post: Post, order: tuple[str, ...]
) -> None:
    """Whatever comes first: the photos, the answer, or the dates that join them."""
    arrived = [step for step in order if step.startswith("photo")]

    def called(letter: str) -> str:
        return neutral_name(1 + arrived.index(f"photo {letter}"))

    for step in order:
        if step.startswith("photo"):
            post(FLAGGED_THEN_21 if step == "photo A" else SURE_123, f"{step}.png")
            continue
        with Record.open(study) as record:
            photo = called(step[-1])
            if step == "21 on A":
                answer(record, photo, FIELD, Value("21"))
            else:
                answer(record, photo, "date", Value(DAY))
    with Record.open(study) as record:
        item = asked(record)
        said = f"21 was decided from {called('A')}, {called('B')} reads 123: which is right?"
        assert words(item.reasons) == said
        row = visit_of(record)
        assert (row.values[FIELD], row.statuses[FIELD], row.waiting) == ("21", "doubted", 1)
        a, b = line(record, called("A")), line(record, called("B"))
        assert (a.value, a.status) == ("21", "doubted")
        assert (b.value, b.status) == ("123", "flagged")


def joined(study: Study, post: Post) -> None:
    """21 decided in the first photo, 123 accepted in the second, which joins by its date."""
    post(says(flagged={FIELD: "27"}))
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Value("21"))
    post(SURE_123)
    with Record.open(study) as record:
        answer(record, SECOND, "date", Value(DAY))


@pytest.mark.parametrize(
    ("said", "value", "status"),
    [
        (Value("21"), "21", "corrected"),
        (Accept(), "123", "confirmed"),
        (Value("55"), "55", "corrected"),
        (LeftEmpty(), None, "empty"),
    ],
)
def test_once_answered_with_both_known_it_is_not_asked_again(
    study: Study, post: Post, said: Answer, value: str | None, status: str
) -> None:
    joined(study, post)
    with Record.open(study) as record:
        decided.decide(record, asked(record).reading_id, said, by="Ada")
    for _ in range(2):
        with Record.open(study) as record:
            assert decided.pending(record) == []
            assert visit_of(record).values[FIELD] == value
            assert line(record, SECOND).status == status
            answer(record, SECOND, "date", Value(DAY))
        read_batch(study, reader=stand_in.read, jobs=0, again=True)


def test_a_photo_is_never_corrected_to_what_was_decided_on_another(
    study: Study, post: Post
) -> None:
    post(says(flagged={FIELD: "27"}))
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Value("21"))
    for number, flagged in enumerate(("21", "72", None), start=2):
        post(says(flagged={FIELD: flagged}), f"photo{number}.png")
    with Record.open(study) as record:
        assert decided.pending(record) == []
        lines = [line(record, neutral_name(number)) for number in (1, 2, 3, 4)]
    assert [(r.value, r.status) for r in lines] == [
        ("21", "corrected"), ("21", "confirmed"), ("72", "unreadable"), (None, "unreadable"),
    ]  # fmt: skip
    assert words(lines[1].reasons) == "photo-0001 says the same"
    assert words(lines[2].reasons) == "21 was decided from photo-0001"


def test_every_further_photo_that_contradicts_raises_a_question(study: Study, post: Post) -> None:
    joined(study, post)
    with Record.open(study) as record:
        decided.decide(record, asked(record).reading_id, Illegible(), by="Ada")
    post(says({FIELD: "77"}))
    with Record.open(study) as record:
        decided.decide(record, asked(record).reading_id, Value("21"), by="Ada")
        decided.undo_last(record, "Ada")
        answer(record, "photo-0003", FIELD, Value("21"))
        assert decided.pending(record) == []
    post(says({FIELD: "123"}))
    with Record.open(study) as record:
        assert "photo-0004 reads 123" in words(asked(record).reasons)


def test_a_disagreement_that_was_settled_stays_settled(study: Study, post: Post) -> None:
    post(says({FIELD: "3"}))
    post(says({FIELD: "8"}, blur=0.2))
    with Record.open(study) as record:
        item = asked(record)
        assert item.rivals[0].value == "8"
        decided.decide(record, item.reading_id, Accept(), by="Ada")
        assert decided.pending(record) == []
        overruled = line(record, SECOND)
        assert (overruled.value, overruled.status) == ("8", "unreadable")
        assert words(overruled.reasons) == "3 was decided from photo-0001"
    read_batch(study, reader=stand_in.read, jobs=0, again=True)
    with Record.open(study) as record:
        assert decided.pending(record) == []
        assert visit_of(record).values[FIELD] == "3"
        decided.undo_last(record, "Ada")
        assert "disagree" in words(asked(record).reasons)


def test_two_decisions_taken_apart_are_asked_about_when_their_visits_merge(
    study: Study, post: Post
) -> None:
    post(says(flagged={FIELD: "27"}))
    post(says(flagged={FIELD: "123", "date": DAY}))
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Value("21"))
        answer(record, SECOND, FIELD, Accept())
        answer(record, SECOND, "date", Value(DAY))
        item = asked(record)
        assert "21 was decided from photo-0001" in words(item.reasons)
        assert "123 was decided from photo-0002" in words(item.reasons)
        assert visit_of(record).statuses[FIELD] == "doubted"
        decided.decide(record, item.reading_id, Value("21"), by="Ada")
        assert decided.pending(record) == []
        assert visit_of(record).values[FIELD] == "21"


def test_an_answer_given_before_another_photo_was_shown_knows_nothing_of_it(
    study: Study, post: Post
) -> None:
    """The photo is read by another run while the question is on the screen."""
    post(says(flagged={FIELD: "27"}))
    with Record.open(study) as record:
        item = asked(record)
        post(says({FIELD: "123"}))
        decided.decide(record, item.reading_id, Value("21"), by="Ada", rivals=item.rivals)
        assert "photo-0002 reads 123" in words(asked(record).reasons)


def test_a_correction_in_an_audit_is_held_against_the_other_photo(study: Study, post: Post) -> None:
    """An audit shows one picture and no reading, so nobody was told of the other photo."""
    for _ in range(2):
        post(says({FIELD: "12"}))
    with Record.open(study) as record:
        sample = accepted_sample(record.state(), 100, np.random.default_rng(1))
        item = next(s for s in sample if s.field == FIELD)
        number, rivals = item.reading_id, item.rivals
        decided.decide(record, number, Value("21"), by="Ada", blind=True, rivals=rivals)
        assert "reads 12" in words(asked(record).reasons)
        row = visit_of(record)
        assert (row.values[FIELD], row.statuses[FIELD]) == ("21", "doubted")


@pytest.fixture
def an_hour_back(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Put the clock back by an hour more at each call."""
    hours = [0]

    def now() -> str:
        return (datetime.now(UTC) - timedelta(hours=hours[0])).isoformat(timespec="milliseconds")

    def back() -> None:
        hours[0] += 1

    for module in (found, photos, runs, deciding):
        monkeypatch.setattr(module, "now", now)
    return back


def test_a_contradiction_is_asked_about_with_the_clock_an_hour_back(
    study: Study, post: Post, an_hour_back: Callable[[], None]
) -> None:
    post(says(flagged={FIELD: "27"}))
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Value("21"))
    an_hour_back()
    post(says({FIELD: "123"}))
    with Record.open(study) as record:
        assert "21 was decided from photo-0001, photo-0002 reads 123" in words(
            asked(record).reasons
        )


def test_a_new_photo_serves_after_cannot_be_read_with_the_clock_an_hour_back(
    study: Study, post: Post, an_hour_back: Callable[[], None]
) -> None:
    post(says(flagged={FIELD: None}))
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Illegible())
    an_hour_back()
    post(says({FIELD: "12"}))
    with Record.open(study) as record:
        assert decided.pending(record) == []
        assert visit_of(record).values[FIELD] == "12"


def test_the_history_follows_the_record_and_not_the_clock(
    study: Study, post: Post, an_hour_back: Callable[[], None]
) -> None:
    post(says(flagged={FIELD: "27"}))
    an_hour_back()
    with Record.open(study) as record:
        answer(record, FIRST, FIELD, Value("21"))
    an_hour_back()
    post(says({FIELD: "123"}))
    with Record.open(study) as record:
        story = [
            (e.what, e.value, e.is_current) for e in record.history("1004", DAY) if e.field == FIELD
        ]
        assert story == [
            ("read, flagged", "27", False),
            ("corrected", "21", True),
            ("read, accepted", "123", False),
        ]
        an_hour_back()
        decided.decide(record, asked(record).reading_id, Value("21"), by="Ada")
        entries = [e for e in record.history("1004", DAY) if e.field == FIELD]
        assert [e.is_current for e in entries] == [False, False, False, True]
        assert [e.at for e in entries] == sorted((e.at for e in entries), reverse=True)


@pytest.mark.parametrize("first", ["A", "B"])
def test_cannot_be_read_in_one_photo_does_not_blank_the_3_of_another(
    study: Study, post: Post, first: str
) -> None:
    photos = {"A": says(flagged={"sun.eggs": None}), "B": says({"sun.eggs": "3"}, blur=0.3)}
    post(photos.pop(first), f"{first}.png")
    post(*photos.values(), name=f"{'AB'.replace(first, '')}.png")
    with Record.open(study) as record:
        a, b = (neutral_name(1 + (letter != first)) for letter in "AB")
        answer(record, a, "sun.eggs", Illegible())
        assert decided.pending(record) == []
        assert visit_of(record).values["sun.eggs"] == "3"
        assert line(record, a, "sun.eggs").status == "unreadable"
        assert line(record, b, "sun.eggs").status == "accepted"


def test_a_sure_reading_that_nobody_could_read_still_raises_doubt(study: Study, post: Post) -> None:
    post(says({FIELD: "3"}))
    post(says({FIELD: "8"}, blur=0.2))
    with Record.open(study) as record:
        decided.decide(record, asked(record).reading_id, Illegible(), by="Ada")
        item = asked(record)
        assert item.photo == SECOND
        assert "nobody could read photo-0001, taken for 3, photo-0002 reads 8" in words(
            item.reasons
        ) or (
            "photo-0002 reads 8, nobody could read photo-0001, taken for 3" in words(item.reasons)
        )
        decided.decide(record, item.reading_id, Illegible(), by="Ada")
        assert decided.pending(record) == []
        assert visit_of(record).statuses[FIELD] == "unreadable"


HIDDEN = {"sun.eggs": [{"code": "hidden", "why": "outside"}]}


def test_a_hidden_field_is_not_asked_about_where_another_photo_shows_it(
    study: Study, post: Post
) -> None:
    post(says(flagged={"sun.eggs": None}, reasons=HIDDEN))
    post(says(flagged={"sun.eggs": "3"}, blur=0.3))
    with Record.open(study) as record:
        (item,) = decided.pending(record)
        assert (item.photo, item.read_value) == (SECOND, "3")
        decided.decide(record, item.reading_id, Illegible(), by="Ada")
        assert decided.pending(record) == []
        assert visit_of(record).statuses["sun.eggs"] == "unreadable"


def test_a_value_typed_for_a_hidden_field_does_not_override_a_photo_that_shows_it(
    study: Study, post: Post
) -> None:
    post(says(flagged={"sun.eggs": None, "date": DAY}, reasons=HIDDEN))
    post(says({"sun.eggs": "3"}))
    with Record.open(study) as record:
        answer(record, FIRST, "sun.eggs", Value("5"))
        answer(record, FIRST, "date", Value(DAY))
        (item,) = decided.pending(record)
        assert (
            words(item.reasons)
            == "5 was decided from photo-0001, photo-0002 reads 3: which is right?"
        )
