from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

import pytest
import stand_in
from stand_in import says

from sheet_reader.decode.types import FieldReading, PageReading
from sheet_reader.intake.types import Picture
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.read_with_history import doubted_page
from sheet_reader.reading.site_history import Earlier, takes_history
from sheet_reader.record.model import BatchSummary, LeftEmpty, Value
from sheet_reader.record.store import Record
from sheet_reader.sheet.model import SheetCode
from sheet_reader.study.model import Study

Post = Callable[..., BatchSummary]
SEEN: list[Any] = []


def read_with_history(
    picture: Picture, study: Study, book: object, today: date, *, history: Any = None
) -> list[Any]:
    SEEN.append(history)
    return stand_in.read(picture, study, book, today)


def test_only_earlier_visits_of_the_site_count(study: Study, post: Post) -> None:
    post(says({"date": "2026-05-06", "sun.eggs": "1"}))
    post(says({"date": "2026-05-13"}, flagged={"sun.eggs": "2"}))
    post(says({"date": "2026-05-20", "sun.eggs": None}))
    post(says({"date": "2026-05-13", "site": "1010", "sun.eggs": "30"}))
    with Record.open(study) as record:
        record.decide(record.pending()[0].reading_id, Value("5"), by="Ada")
        earlier = Earlier.of(study, record.state())
    assert earlier.before([("1004", "2026-05-06")]) == {}
    assert earlier.before([("1004", "2026-05-13")])["1004"]["sun.eggs"] == [1]
    assert earlier.before([("1004", "2026-06-01")])["1004"]["sun.eggs"] == [1, 5]
    assert earlier.before([("1004", "2026-06-01")])["1004"]["sun.snails"] == [12, 12, 12]
    assert "helpers" not in earlier.before([("1004", "2026-06-01")])["1004"]
    both = [("1004", "2026-06-01"), ("1004", "2026-05-10")]
    assert earlier.before(both)["1004"]["sun.eggs"] == [1]


def test_a_value_a_person_took_away_is_no_history(study: Study, post: Post) -> None:
    post(says({"date": "2026-05-06"}, flagged={"sun.eggs": "7"}))
    with Record.open(study) as record:
        record.decide(record.pending()[0].reading_id, LeftEmpty(), by="Ada")
        earlier = Earlier.of(study, record.state())
    assert "sun.eggs" not in earlier.before([("1004", "2026-06-01")])["1004"]


def test_a_sheet_is_read_with_what_came_before_it(study: Study) -> None:
    SEEN.clear()
    for number, day in enumerate(("2026-05-06", "2026-05-13", "2026-05-13")):
        said = says({"date": day, "sun.eggs": str(number)})
        path = study.folder / "inbox" / f"p{number}.png"
        path.write_bytes(stand_in.photo(said, seed=number))
    read_batch(study, reader=read_with_history, jobs=0)
    told = [h["1004"]["sun.eggs"] if h else None for h in SEEN]
    assert told == [None, None, [0], None, [0]], "the second photo of a sheet saw the first"


def field(status: str, value: str | None, reason: str = "") -> FieldReading:
    return FieldReading("sun.eggs", value, 0.9, status, reason)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (("accepted", "7"), ("accepted", "7"), ("accepted", "7", "")),
        (
            ("accepted", "7"),
            ("flagged", "1", "the box could be 1 or 7"),
            (
                "flagged",
                "1",
                "the site's earlier counts speak against 7: the box could be 1 or 7",
            ),
        ),
        (
            ("accepted", "7"),
            ("accepted", "1"),
            ("flagged", "1", "the site's earlier counts speak against 7"),
        ),
        (("flagged", "7", "why"), ("accepted", "7"), ("flagged", "7", "why")),
        (("flagged", "7", "why"), ("accepted", "1"), ("flagged", "7", "why")),
        (("empty", None), ("flagged", "1"), ("empty", None, "")),
    ],
)
def test_earlier_counts_raise_doubts_and_lay_none(
    first: tuple[str, ...], second: tuple[str, ...], expected: tuple[str, ...]
) -> None:
    code = SheetCode("ponds", "v1", "BLANK", 1)
    one, other = (PageReading(code, (field(*f),), None, None) for f in (first, second))
    (f,) = doubted_page(one, other).fields
    assert (f.status, f.value, f.reason) == expected


def test_readers_that_take_history() -> None:
    assert takes_history(read_with_history)
    assert takes_history(partial(read_with_history, history={}))
    assert not takes_history(stand_in.read)
