"""Two people at one record: nobody is asked what another is shown, and no answer is doubled."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import decided
import pytest
import waiting_record

from sheet_reader.answers.replies import Reply
from sheet_reader.errors import OvertakenError
from sheet_reader.record.history.answers import Accept, FieldAnswer, Value
from sheet_reader.record.store.claims import LEASE_LASTS, Leases
from sheet_reader.record.store.store import Record
from sheet_reader.review.sitting import AT_ONCE, Sitting, token_of
from sheet_reader.review.source import RecordQuestions

SHEETS, EACH = 5, 4


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        waiting_record.fill(record, SHEETS, EACH)
        yield record


class Clock:
    def __init__(self) -> None:
        self.moment = datetime(2026, 6, 1, tzinfo=UTC)

    def __call__(self) -> str:
        return self.moment.isoformat()


def sitting(record: Record, by: str, clock: Any = None) -> Sitting:
    leases = Leases(record, by, clock) if clock else Leases(record, by)
    return Sitting(RecordQuestions(record), by, leases=leases)


def accept(card: Any) -> Reply:
    return Reply((FieldAnswer(card.reading.reading_id, Accept()),))


def test_no_field_is_shown_to_two_at_once_and_both_names_stand(record: Record) -> None:
    people = {by: sitting(record, by) for by in ("Ada", "Kim")}
    seen: dict[str, set[str]] = {"Ada": set(), "Kim": set()}
    for turn in range(4 * SHEETS * EACH):
        by = ("Ada", "Kim", "Kim")[turn % 3]
        one = people[by]
        cards = one.open()
        if not cards:
            continue
        assert one.shown(cards)
        other = people["Kim" if by == "Ada" else "Ada"]
        assert token_of(cards[0]) not in {token_of(card) for card in other.open()}
        seen[by].add(token_of(cards[0]))
        one.keep(cards[0], accept(cards[0]))
    assert not seen["Ada"] & seen["Kim"]
    assert len(seen["Ada"] | seen["Kim"]) == SHEETS * EACH
    assert decided.pending(record) == []
    names = [e.by for v in record.visits() for e in record.history(v.site, v.visit_date)]
    assert {"Ada", "Kim"} <= set(names)


def test_a_lease_runs_out_and_is_given_back(record: Record) -> None:
    clock = Clock()
    ada, kim = sitting(record, "Ada", clock), sitting(record, "Kim", clock)
    everything = ada.open()
    assert ada.shown(everything)
    assert len(kim.open()) == len(everything) - AT_ONCE
    assert kim.elsewhere == {token_of(card): "Ada" for card in everything[:AT_ONCE]}
    clock.moment += LEASE_LASTS - timedelta(seconds=1)
    assert len(kim.open()) < len(everything)
    clock.moment += timedelta(seconds=1)
    assert len(kim.open()) == len(everything)
    assert kim.shown(everything)
    assert not ada.shown(everything)
    kim.close()
    assert len(ada.open()) == len(everything)


def test_a_lease_of_a_dead_process_is_void(record: Record) -> None:
    dead = Leases(record, "Ada")
    host, _, nonce = dead.holder.rsplit("/", 2)
    dead.holder = f"{host}/{2**22 + 1}/{nonce}"  # above the highest number that Linux gives
    kim = sitting(record, "Kim")
    everything = kim.open()
    dead.hold([token_of(card) for card in everything])
    assert len(kim.open()) == len(everything)


def test_an_answer_that_comes_second_is_not_kept(record: Record) -> None:
    ada, kim = Sitting(RecordQuestions(record), "Ada"), Sitting(RecordQuestions(record), "Kim")
    card, other = ada.open()[0], kim.open()[0]
    assert card.key == other.key
    kim.keep(other, Reply((FieldAnswer(other.place.reading_id, Value("31")),)))
    with pytest.raises(OvertakenError, match="Kim has just answered"):
        ada.keep(card, accept(card))
    values = [e.decision.by for v in record.state() for e in v.fields if e.decision]
    assert values == ["Kim"]
    assert ada.answered == []
    second = ada.open()[0]
    ada.keep(second, accept(second))
    assert len(ada.answered) == 1
