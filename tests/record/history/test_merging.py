"""Putting photos together, whatever the order in which they came, were answered and joined."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import stand_in
from decided import waiting
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sheet_reader.reasons import Code, Occlusion, because, in_words
from sheet_reader.record.history.rows import visit_rows
from sheet_reader.record.history.states import (
    Decision,
    FieldState,
    PageObservation,
    Rival,
    StoredReading,
    VisitState,
)
from sheet_reader.record.history.visits import visits_of

STUDY = stand_in.a_study(Path("ponds"))
FIELD, DAY, OTHER_DAY = "sun.eggs", "2026-05-20", "2026-05-27"
SURE = ("accepted", "empty", "confirmed", "corrected")
UNHURRIED = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
READ = st.sampled_from(
    [("accepted", "3"), ("accepted", "8"), ("empty", None), ("flagged", "3"), ("flagged", "8"),
     ("flagged", None), ("hidden", None)]
)  # fmt: skip
DECIDED = st.sampled_from(
    [("accept", "3"), ("value", "8"), ("value", "21"), ("empty", None), ("unreadable", None)]
)


@dataclass(frozen=True)
class Photo:
    """A photo of a sheet: how its field and its date were read, and what a person said of them."""

    read: tuple[str, str | None]
    date: tuple[str, str]
    blur: float
    said: tuple[str, str | None] | None = None
    said_of_date: str | None = None


PHOTOS = st.lists(
    st.builds(
        Photo,
        READ,
        st.tuples(st.sampled_from(["accepted", "flagged"]), st.sampled_from([DAY, OTHER_DAY])),
        st.sampled_from([0.1, 0.2]),
        st.none() | DECIDED,
        st.sampled_from([None, DAY, OTHER_DAY]),
    ),
    min_size=1,
    max_size=4,
)


@dataclass
class Book:
    """A record in memory; ids are given in the order in which things come in."""

    pages: list[PageObservation] = field(default_factory=list)
    reads: list[StoredReading] = field(default_factory=list)
    decisions: dict[tuple[int, str], Decision] = field(default_factory=dict)
    count: int = 0

    def photo(self, photo: Photo) -> int:
        number = len(self.pages) + 1
        self.pages.append(
            PageObservation(number, number, f"p{number}", 0, "v", "BLANK", 1, None, None, 8,
                            photo.blur, 0, "", "m")
        )  # fmt: skip
        status, value = photo.read
        self._read(number, "site", "accepted", "1004", 1)
        self._read(number, "date", *photo.date, 2)
        self._read(number, FIELD, status, value, 3)
        return number

    def _read(self, number: int, name: str, status: str, value: str | None, place: int) -> None:
        hidden = because(Code.HIDDEN, why=Occlusion.OUTSIDE)
        reasons = (hidden,) if status == "hidden" else in_words("why")
        shown: Any = "flagged" if status == "hidden" else status
        self.reads.append(
            StoredReading(
                name,
                value,
                0.9,
                shown,
                reasons,
                reading_id=10 * number + place,
                page_instance_id=number,
            )
        )

    def say(self, instance: int, name: str, kind: str, value: str | None, rivals: Any = ()) -> None:
        self.count += 1
        told = frozenset(r for r in rivals if r.value != value and kind != "unreadable")
        reading = next(r for r in self.reads if (r.page_instance_id, r.field) == (instance, name))
        self.decisions[instance, name] = Decision(
            self.count, instance, name, reading.reading_id, kind, value, "a", False, told
        )

    def visits(self) -> list[VisitState]:
        return visits_of(STUDY, self.pages, self.reads, self.decisions.values())

    def values(self) -> dict[tuple[str, str], str]:
        """What stands in the table, by site and date."""
        rows = [row for row in visit_rows(STUDY, self.visits()) if row.site and row.visit_date]
        return {(r.site, r.visit_date): v for r in rows if (v := r.values[FIELD]) is not None}

    def rows(self) -> dict[tuple[str, str], list[tuple[str | None, int]]]:
        """Value and number of waiting fields by site and date; the loose pages in any order."""
        found: dict[tuple[str, str], list[tuple[str | None, int]]] = {}
        for row in visit_rows(STUDY, self.visits()):
            place = found.setdefault((row.site, row.visit_date), [])
            # which of two stays while one is asked about, "nothing" too, goes by their order
            asked = row.statuses[FIELD] in ("doubted", "flagged")
            place.append(("asked" if asked else row.values[FIELD], row.waiting))
        return {key: sorted(found[key], key=str) for key in found}


def told(photos: list[Photo], arriving: list[int], answering: list[int]) -> Book:
    """The photos come in one order and their answers in another."""
    book, number = Book(), {}
    for place in arriving:
        number[place] = book.photo(photos[place])
    for place in answering:
        photo = photos[place]
        if photo.said:
            book.say(number[place], FIELD, *photo.said)
        if photo.said_of_date:
            book.say(number[place], "date", "value", photo.said_of_date)
    return book


@UNHURRIED
@given(PHOTOS, st.data())
def test_rows_are_the_same_whatever_the_order_of_photos_and_answers(
    photos: list[Photo], data: st.DataObject
) -> None:
    usual = list(range(len(photos)))
    orders = st.permutations(usual)
    other = told(photos, data.draw(orders), data.draw(orders))
    assert told(photos, usual, usual).rows() == other.rows()


def own_value(e: FieldState) -> str | None:
    return e.decision.value if e.decision else e.reading.value


def standing(e: FieldState) -> str:
    """How a field stands in its own photo."""
    kinds = {"accept": "confirmed", "value": "corrected"}
    return kinds.get(e.decision.kind, e.decision.kind) if e.decision else e.reading.status


def check(visit: VisitState) -> None:
    """No value is overridden, blanked or put down to another photo without a person."""
    here = [e for e in visit.fields if e.reading.field == FIELD]
    (serving,) = [e for e in here if e.is_current]
    asked = [e for e in here if e.needs_review]
    assert len(asked) == (serving.status in ("flagged", "doubted"))
    assert serving.status != "flagged" or asked == [serving]
    for e in here:
        assert e.value == own_value(e), "a photo's line shows that photo's value"
        if e.status in ("corrected", "confirmed") and e.decision:
            assert e.status == standing(e)
        if e.status == "corrected":
            assert e.decision, "nothing is corrected from another photo"
    sure = {
        Rival(e.observation.page_instance_id, own_value(e)) for e in here if standing(e) in SURE
    }
    if serving.status == "unreadable":
        assert not sure, "what can't be read in one photo blanks no other"
    elif serving.status not in ("flagged", "doubted"):
        same = [e.decision for e in here if e.decision and e.decision.value == serving.value]
        known = {rival for decided in same for rival in decided.overruled}
        assert {r for r in sure if r.value != serving.value} <= known, "overridden in silence"


@UNHURRIED
@given(PHOTOS, st.data())
def test_nothing_is_overridden_in_silence_and_questions_come_to_an_end(
    photos: list[Photo], data: st.DataObject
) -> None:
    """Photos come while somebody answers whatever is asked, this way or that."""
    book, coming = Book(), list(photos)
    answers = 0
    while coming or waiting(STUDY, book.visits()):
        asked = waiting(STUDY, book.visits())
        if coming and (not asked or data.draw(st.booleans())):
            before = book.values()
            book.photo(coming.pop(0))
            assert before.items() <= book.values().items(), "a photo changes no value"
        else:
            _answer(book, data.draw(st.sampled_from(asked)), data)
            answers += 1
        for visit in book.visits():
            check(visit)
    assert answers <= 3 * len(photos), "each field of each photo is asked about once, or again late"


def _answer(book: Book, item: FieldState, data: st.DataObject) -> None:
    if item.field == "date":
        book.say(
            item.page_instance_id, "date", "value", data.draw(st.sampled_from([DAY, OTHER_DAY]))
        )
        return
    kind, value = data.draw(DECIDED)
    if kind == "accept":
        kind, value = ("accept", item.read_value) if item.read_value else ("empty", None)
    book.say(item.page_instance_id, FIELD, kind, value, item.rivals)


@UNHURRIED
@given(PHOTOS)
def test_an_accepted_value_that_nothing_contradicts_serves(photos: list[Photo]) -> None:
    """Whatever is hidden, illegible or given up in the other photos."""
    book = Book()
    for photo in photos:
        if photo.read[0] not in ("accepted", "empty"):
            number = book.photo(Photo(("hidden", None), ("accepted", DAY), photo.blur))
            if photo.said_of_date:
                book.say(number, FIELD, "unreadable", None)
    book.photo(Photo(("accepted", "3"), ("accepted", DAY), 0.9))
    assert book.rows() == {("1004", DAY): [("3", 0)]}
