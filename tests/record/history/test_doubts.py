"""A value that held stays in the table, marked, whatever is learnt later, until it is answered."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import stand_in
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.reasons import Code, because
from sheet_reader.record.history.rows import visit_rows
from sheet_reader.record.history.runs import not_unasked
from sheet_reader.record.history.states import (
    PageObservation,
    StoredReading,
    Thresholds,
    VisitState,
)
from sheet_reader.record.history.study_edits import doubts_of, raised
from sheet_reader.record.history.visits import visits_of
from sheet_reader.study.study import CountField, Study, SumRule

SUM = SumRule("sun.snails", ("sun.eggs", "shade.snails"))
STUDY = replace(stand_in.a_study(Path("ponds")), sums=(SUM,))
FIELDS = ("shade.snails", "sun.snails", "sun.eggs")
UNSURE = (because(Code.UNCERTAIN),)
HIDDEN = (because(Code.HIDDEN, why="outside"),)
READ = st.sampled_from(
    [("accepted", "3"), ("accepted", "8"), ("empty", None), ("flagged", "3"), ("flagged", "8"),
     ("flagged", None)]
)  # fmt: skip
PHOTO = st.tuples(READ, READ, READ)
HIGHEST = st.sampled_from([("highest", n) for n in (2, 5, 99)])
STRICT = st.sampled_from([("threshold", t) for t in (0.5, 0.95)])
STEPS = st.lists(
    st.tuples(st.just("photo"), PHOTO)
    | st.tuples(st.just("again"), st.tuples(st.integers(0, 3), PHOTO))
    | HIGHEST
    | STRICT
    | st.tuples(st.just("sums"), st.booleans()),
    max_size=8,
)


@dataclass
class Book:
    """A record in memory: photos of one visit, each read as often as one likes."""

    pages: list[PageObservation] = field(default_factory=list)
    runs: dict[int, list[dict[str, StoredReading]]] = field(default_factory=dict)
    study: Study = STUDY
    thresholds: Thresholds = field(default_factory=Thresholds)
    number: int = 0

    def do(self, step: str, what: object) -> None:
        """One thing that happens without a person's answer."""
        if step == "photo":
            page = len(self.pages) + 1
            self.pages.append(
                PageObservation(page, page, f"p{page}", 0, "v", "BLANK", 1, None, None, 8, 0.1, 0,
                                "", "m")
            )  # fmt: skip
            self.read(page, what)
        elif step == "again" and self.pages:
            place, photo = what  # type: ignore[misc]
            self.read(1 + place % len(self.pages), photo)
        elif step == "highest":
            counts = (CountField("snails", "Snails", 2, 0, what), *self.study.counts[1:])
            self.study = replace(self.study, counts=counts)
        elif step == "threshold":
            self.thresholds = Thresholds(what, what)
        elif step == "sums":
            self.study = replace(self.study, sums=(SUM,) if what else ())

    def read(self, page: int, photo: object) -> None:
        keys = [("site", "accepted", "1004"), ("date", "accepted", "2026-05-20")]
        counts = [(n, *read) for n, read in zip(FIELDS, photo, strict=True)]  # type: ignore[call-overload]
        former = self.runs.setdefault(page, [])
        sure = {n: r.value for n, r in self.first(page).items()}
        found = []
        for name, status, value in keys + counts:
            self.number += 1
            why = () if status != "flagged" else UNSURE if value else HIDDEN
            found.append(
                StoredReading(name, value, 0.9, status, why, reading_id=self.number,
                              page_instance_id=page)
            )  # fmt: skip
        former.append({r.field: r for r in not_unasked(found, sure)})

    def first(self, page: int) -> dict[str, StoredReading]:
        """The first sure reading of each field."""
        found: dict[str, StoredReading] = {}
        for run in self.runs[page]:
            for name, read in run.items():
                if read.status in ("accepted", "empty"):
                    found.setdefault(name, read)
        return found

    def visits(self) -> list[VisitState]:
        """What holds now, with readings as they are loaded."""
        reads = []
        for page, runs in self.runs.items():
            first = {n: (r.reading_id, r.value) for n, r in self.first(page).items()}
            several = len(runs) > 1
            last = runs[-1].values()
            reads += [replace(r, first_sure=first.get(r.field) if several else None) for r in last]
        return visits_of(self.study, self.pages, reads, [], self.thresholds)

    def values(self) -> dict[str, str]:
        """What stands in the row."""
        row = next(iter(visit_rows(self.study, self.visits())), None)
        return {n: v for n in FIELDS if row and (v := row.values.get(n)) is not None}


@settings(deadline=None, max_examples=examples(200), suppress_health_check=[HealthCheck.too_slow])
@given(STEPS)
def test_no_value_goes_or_changes_by_itself(steps: list[tuple[str, object]]) -> None:
    """Photos, readings anew, ranges, thresholds and sums in any order: what stands in the table
    stays, and where something speaks against it, it is marked and asked about.
    """
    book = Book()
    for step, what in steps:
        before = book.values()
        book.do(step, what)
        assert before.items() <= book.values().items(), step
        for visit in book.visits():
            doubted = {e.reading.field for e in visit.fields if e.status == "doubted"}
            asked = {e.reading.field for e in visit.fields if e.needs_review}
            assert doubted <= asked


def doubted_after(*steps: tuple[str, object]) -> str:
    """What is told of the doubts that the last step raises."""
    book = Book()
    for step, what in steps[:-1]:
        book.do(step, what)
    before = doubts_of(book.visits())
    book.do(*steps[-1])
    return " ".join(raised(before, book.visits()))


FITS = (("accepted", "3"), ("accepted", "6"), ("accepted", "3"))


def test_each_cause_of_a_doubt_is_told() -> None:
    other = (("accepted", "3"), ("accepted", "6"), ("accepted", "8"))
    assert "1 contradicted by another photo" in doubted_after(("photo", FITS), ("photo", other))
    assert "1 read otherwise now" in doubted_after(("photo", FITS), ("again", (0, other)))
    unsure = (("accepted", "3"), ("flagged", "6"), ("accepted", "3"))
    assert "1 less certain now" in doubted_after(("photo", FITS), ("again", (0, unsure)))
    highest = doubted_after(("photo", FITS), ("highest", 5))
    assert highest.startswith("Doubted since this read: 1 value; it stays in the tables, marked")
    assert "1 outside the range of study.toml" in highest
    assert "not certain enough" in doubted_after(("photo", FITS), ("threshold", 0.95))
    off = (("accepted", "3"), ("accepted", "8"), ("accepted", "3"))
    told = doubted_after(("sums", False), ("photo", off), ("sums", True))
    assert "3 in a sum that does not fit" in told
    assert doubted_after(("photo", FITS), ("photo", FITS)) == ""


def test_a_doubt_that_has_lost_its_cause_is_lifted() -> None:
    book = Book()
    for step in (("photo", FITS), ("highest", 5), ("highest", 99)):
        book.do(*step)
    assert not doubts_of(book.visits())
    unsure = (("accepted", "3"), ("flagged", "8"), ("accepted", "3"))
    book.do("again", (0, unsure))
    assert book.values()["sun.snails"] == "6"
    book.do("again", (0, FITS))
    assert not doubts_of(book.visits())
