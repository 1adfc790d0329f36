"""A share of the fields is asked of two people, both blind; what differs is asked openly."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import waiting_record
from page_server import TODAY
from rich.console import Console

from sheet_reader.errors import StudyError
from sheet_reader.record.history.blind_answers import asked_twice, looks
from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.queue import keyed_blind
from sheet_reader.review.session import Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal
from sheet_reader.study.reader import read_study

SHEETS, EACH = 3, 4


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    study = replace(waiting_record.bean_study(tmp_path / "beans"), asked_twice=1.0)
    with Record.open(study) as record:
        waiting_record.fill(record, SHEETS, EACH)
        yield record


def seat(record: Record, by: str) -> PageReview:
    return PageReview(RecordQuestions(record, by=by), by, TODAY)


def answer_all(seat: PageReview, values: list[str]) -> list[dict]:
    """Type these values, one after the other, sure where asked; gives the cards shown."""
    cards = []
    for value in values:
        view = seat.say({"act": "show"})
        cards.append(view["card"])
        said = {"act": "value", "card": view["card"]["token"], "text": value}
        view = seat.say(said)
        if "look" in view:
            seat.say(said | {"sure": True})
    return cards


def test_both_are_blind_and_what_differs_is_asked_openly(record: Record) -> None:
    read = [card.reading.value for card in RecordQuestions(record).cards()]
    ada, kim = seat(record, "Ada"), seat(record, "Kim")
    cards = answer_all(ada, read)
    assert all(card["blind"] and "read" not in card for card in cards)
    assert ada.say({"act": "show"})["card"] is None, "nobody is asked twice herself"
    second = ["33", *read[1:]]
    cards = answer_all(kim, second)
    assert all(card["blind"] for card in cards)
    assert "33" not in {e.value for v in record.state() for e in v.fields}
    view = kim.say({"act": "show"})
    assert view["card"]["why"].endswith(f"(Ada: {read[0]}, Kim: 33).")
    assert not view["card"]["blind"]
    assert "type which" in kim.say({"act": "take", "card": view["card"]["token"]})["refused"]
    view = kim.say({"act": "value", "card": view["card"]["token"], "text": "33"})
    assert view["card"] is None
    assert "12 asked of two people: 11 answered alike; Cohen's kappa 0.9" in (
        view["progress"]["agreement"]
    )
    assert "33" in {e.value for v in record.state() for e in v.fields}


def test_the_first_answer_of_each_is_kept_as_typed(record: Record) -> None:
    (first, *_) = RecordQuestions(record).cards()
    ada = seat(record, "Ada")
    token = ada.say({"act": "show"})["card"]["token"]
    assert "look" in ada.say({"act": "value", "card": token, "text": "31"})
    ada.say({"act": "value", "card": token, "text": str(first.reading.value)})
    with record.reading() as connection:
        ((look,),) = looks(connection).values()
    assert (look.by, look.said) == ("Ada", "31")


def test_the_terminal_asks_twice_as_well(record: Record) -> None:
    read = [card.reading.value for card in RecordQuestions(record).cards()]
    for by in ("Ada", "Kim"):
        lines, out = iter(read), io.StringIO()
        terminal = Terminal(
            RecordQuestions(record, by=by), Console(file=out, width=100, markup=False),
            lambda lines=lines: next(lines), lambda _path: 1, TODAY, "plain", record.folder,
        )  # fmt: skip
        Review(terminal, by).run()
        assert "Read:" not in out.getvalue()
    found = RecordQuestions(record).agreement()
    assert (found.fields, found.same) == (SHEETS * EACH, SHEETS * EACH)


def test_the_share_is_drawn_as_if_by_lot_and_always_the_same(record: Record) -> None:
    places = [(page, f"field{n}") for page in range(50) for n in range(40)]
    study = replace(record.study, asked_twice=0.2)
    chosen = [place for place in places if asked_twice(study, place)]
    assert 340 < len(chosen) < 460  # 2,000 draws at 0.2: four standard deviations
    assert chosen == [place for place in places if asked_twice(study, place)]
    more = replace(study, asked_twice=0.4)
    assert all(asked_twice(more, place) for place in chosen)
    nobody = replace(study, asked_twice=0.0)
    assert not any(asked_twice(nobody, place) for place in places)
    assert not any(keyed_blind(card, nobody) for card in RecordQuestions(record).cards())


def test_the_study_file_says_how_many(tmp_path: Path) -> None:
    study = waiting_record.bean_study(tmp_path / "beans")
    file = study.folder / "study.toml"
    text = file.read_text("utf-8")
    file.write_text(f"{text}\n[review]\nasked_twice = 0.1\n", "utf-8")
    assert read_study(study.folder).asked_twice == 0.1
    file.write_text(f"{text}\n[review]\nasked_twice = 2\n", "utf-8")
    with pytest.raises(StudyError):
        read_study(study.folder)
