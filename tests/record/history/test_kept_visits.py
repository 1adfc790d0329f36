"""What is kept between looks at a record is what a look from the start would find."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import decided
import pytest
import waiting_record

from sheet_reader.record.history.answers import Accept, Illegible, LeftEmpty, Value
from sheet_reader.record.history.kept_visits import KeptVisits
from sheet_reader.record.history.loading import load_visits
from sheet_reader.record.store.store import Record
from sheet_reader.review.queue import Queue, cards_of


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        waiting_record.fill(record, 4, 3)
        yield record


def random_answer(record: Record, rng: random.Random) -> None:
    """Somebody decides something: mostly of a count, now and then of a site or date, or undoes."""
    rows = [row for row in record.readings() if not row.field.startswith("helpers")]
    row = rng.choice(rows)
    if rng.random() < 0.2:
        decided.undo_last(record, "Kim")
    elif row.field == "site":
        decided.decide(record, row.reading_id, Value(rng.choice(record.study.sites).number), "Kim")
    elif "." in row.field:
        answers = (Accept(), Value("5"), Value("400"), LeftEmpty(), Illegible())
        decided.decide(record, row.reading_id, rng.choice(answers), "Kim")
    else:
        decided.decide(record, row.reading_id, Value(f"2026-05-{rng.randint(10, 28)}"), "Kim")


def test_after_each_answer_visits_and_cards_are_those_of_a_look_from_the_start(
    record: Record,
) -> None:
    rng, queue = random.Random(3), Queue(record.study)
    kept = KeptVisits(record.study, record.thresholds)
    for _ in range(30):
        random_answer(record, rng)
        if rng.random() < 0.3:  # several answers between two looks
            random_answer(record, rng)
        with record.reading() as connection:
            from_the_start = load_visits(connection, record.study, record.thresholds)
            visits = kept.look(connection).visits
        assert visits == record.state()
        assert visits == from_the_start
        assert queue.cards(visits) == cards_of(record.study, from_the_start)


def test_an_answer_about_a_count_leaves_other_visits_the_same_objects(record: Record) -> None:
    before = record.state()
    (asked, *_) = decided.pending(record)
    decided.decide(record, asked.reading_id, Accept(), "Kim")
    same = [old is new for old, new in zip(before, record.state(), strict=True)]
    assert same.count(False) == 1


def test_a_photo_that_comes_in_between_is_seen(record: Record) -> None:
    assert len(record.state()) == 4
    waiting_record.fill(record, 2, 1, first=4)
    assert len(record.state()) == 6
