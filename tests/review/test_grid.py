"""Many fields at once: only likely ones, with known-wrong ones planted that are never kept."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import decided
import pytest
import waiting_record
from page_server import TODAY

from sheet_reader.reasons import Code, because
from sheet_reader.record.store.store import Record
from sheet_reader.review.browser.conversation import PageReview
from sheet_reader.review.grid import LEAST, GridRounds, make_grid
from sheet_reader.review.source import RecordQuestions

FIELD = "pinched.plants"
LIKELY = 6


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    """Six fields read as 17 with much certainty, one with little, and settled others."""
    with Record.open(waiting_record.bean_study(tmp_path / "beans")) as record:
        for week in range(LIKELY + 1):
            add(record, week, 0.95 if week < LIKELY else 0.7)
        yield record


def add(record: Record, week: int, confidence: float) -> None:
    study = record.study
    names = {s.kind.name: s.name for s in study.fields if s.kind.name in ("site", "date")}
    values = {s.name: "11" for s in study.fields} | {FIELD: "17"}
    values |= {rule.total: "33" for rule in study.sums}
    values[names["site"]] = study.sites[week % len(study.sites)].number
    values[names["date"]] = (study.season.first + timedelta(days=7 * week)).isoformat()
    said = {name: (value, "accepted") for name, value in values.items()}
    said[FIELD] = ("17", "flagged")
    why = {FIELD: (because(Code.UNCERTAIN),)}
    sheet = waiting_record.drawn(study, values)
    page = waiting_record.found_page(study, sheet, said, reasons=why, confidence=confidence)
    waiting_record.read_in(record, waiting_record.take_in(record, sheet, f"{week}"), page)


def seat_on(record: Record) -> PageReview:
    return PageReview(RecordQuestions(record), "Kim", TODAY, grids=GridRounds(random.Random(4)))


def kept(record: Record) -> list[tuple[str, str | None]]:
    return [(e.reading.field, e.value) for v in record.state() for e in v.fields if e.decision]


def planted_in(seat: PageReview) -> list[int]:
    assert seat.grids.now is not None
    return sorted(seat.grids.now.planted)


def test_the_grid_holds_likely_fields_of_one_number_and_planted_ones(record: Record) -> None:
    seat = seat_on(record)
    view = seat.say({"act": "grid"})
    grid = seat.grids.now
    assert grid is not None
    assert (view["grid"]["value"], len(view["grid"]["tiles"])) == ("17", LIKELY + 1)
    fields = [tile.field for tile in grid.tiles if tile.field]
    assert {f.value for f in fields} == {"17"}
    assert min(f.reading.confidence for f in fields) > 0.9
    (planted,) = (grid.tiles[n] for n in grid.planted)
    assert planted.value == "11"
    names = {r.reading_id: r.field for r in record.readings()}
    boxes = {s.name: s.boxes for s in record.study.fields}
    assert len({boxes[names[tile.reading_id]] for tile in grid.tiles}) == 1, "boxes give it away"
    assert view["grid"].keys() == {"value", "tiles", "number"}, "nothing tells what is planted"
    assert all(tile.startswith("/picture/boxes/") for tile in view["grid"]["tiles"])


def test_what_is_left_is_kept_and_the_odd_one_is_asked_by_itself(record: Record) -> None:
    seat = seat_on(record)
    view = seat.say({"act": "grid"})
    planted = planted_in(seat)
    odd = next(n for n in range(LIKELY + 1) if n not in planted)
    message = {"act": "grid_done", "number": view["grid"]["number"], "picked": [*planted, odd]}
    told = seat.say(message)["grid_told"]
    assert (told["missed"], told["kept"]) == ([], LIKELY - 1)
    assert "0 of 1 planted ones missed" in told["sentence"]
    assert kept(record) == [(FIELD, "17")] * (LIKELY - 1)
    assert len(decided.pending(record)) == 2
    again = seat.say(message)
    assert "settled by now" in again["said"]
    assert seat.say({"act": "back"})["card"]["kind"] == "sum"


def test_whoever_misses_a_planted_one_is_asked_each_by_itself(record: Record) -> None:
    seat = seat_on(record)
    view = seat.say({"act": "grid"})
    told = seat.say({"act": "grid_done", "number": view["grid"]["number"], "picked": []})
    assert [one["value"] for one in told["grid_told"]["missed"]] == ["11"]
    assert "1 of 1 planted ones missed" in told["grid_told"]["sentence"]
    assert kept(record) == []
    assert "grid" not in seat.say({"act": "grid"})
    assert seat.say({"act": "show"})["progress"]["waiting"] == LIKELY + 1


def test_planted_ones_never_enter_the_record(record: Record) -> None:
    before = {r.reading_id: r.value for r in record.readings() if r.field != FIELD}
    seat = seat_on(record)
    view = seat.say({"act": "grid"})
    seat.say({"act": "grid_done", "number": view["grid"]["number"], "picked": planted_in(seat)})
    assert {r.reading_id: r.value for r in record.readings() if r.field != FIELD} == before
    assert {field for field, _ in kept(record)} == {FIELD}


@pytest.mark.parametrize("picked", [None, "all", [[]], [-1, 99], [0.5], {"0": 1}])
def test_odd_messages_keep_nothing(record: Record, picked: Any) -> None:
    seat = seat_on(record)
    view = seat.say({"act": "grid"})
    seat.say({"act": "grid_done", "number": "1", "picked": planted_in(seat)})
    seat.say({"act": "grid_done", "number": view["grid"]["number"], "picked": picked})
    assert kept(record) == []


def test_few_fields_or_nothing_known_give_no_grid(record: Record) -> None:
    source, rng = RecordQuestions(record), random.Random(1)
    cards = source.cards()
    study, visits = record.study, source.visits()
    assert make_grid(study, visits, cards[: LEAST - 1], rng) is None
    assert make_grid(study, [], cards, rng) is None
    readings = frozenset(card.place.reading_id for card in cards[:3])
    assert make_grid(study, visits, cards, rng, readings) is None
