"""Properties of putting photos together that hold whatever was read and decided."""

from __future__ import annotations

from pathlib import Path

import stand_in
from decided import waiting
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.reasons import in_words
from sheet_reader.record.history.rows import reading_rows, visit_rows
from sheet_reader.record.history.states import Decision, PageObservation, StoredReading
from sheet_reader.record.history.visits import visits_of

STUDY = stand_in.a_study(Path("ponds"))
VALUES = st.sampled_from(["3", "8", None])
FIELD = "sun.eggs"


def seen(number: int) -> PageObservation:
    return PageObservation(
        number, number, f"p{number}", 0, "v", "BLANK", 1, None, None, 8, 0.1, 0, "", "m"
    )


def known(number: int) -> list[StoredReading]:
    """Site and date, the same in every photo."""
    both = (("site", "1004"), ("date", "2026-05-20"))
    return [
        StoredReading(
            name, value, 0.999, "accepted", reading_id=10 * number + k, page_instance_id=number
        )
        for k, (name, value) in enumerate(both)
    ]


@st.composite
def photos(draw: st.DrawFn) -> tuple[list[PageObservation], list[StoredReading], list[Decision]]:
    count = draw(st.integers(1, 4))
    reads, decided = [], []
    for number in range(count):
        status = draw(st.sampled_from(["accepted", "flagged"]))
        value = draw(VALUES)
        if status == "accepted" and value is None:
            status = "empty"
        read = StoredReading(
            FIELD,
            value,
            0.9,
            status,
            in_words("why"),
            reading_id=10 * number + 5,
            page_instance_id=number,
        )
        reads += [*known(number), read]
        if draw(st.booleans()):
            kind = draw(st.sampled_from(["accept", "value", "empty", "unreadable"]))
            text = {"accept": value or "3", "value": "8"}.get(kind)
            turn = 10 * draw(st.integers(1, 9)) + number
            decided.append(Decision(turn, number, FIELD, read.reading_id, kind, text, "a", False))
    return [seen(n) for n in range(count)], reads, decided


@given(photos())
def test_what_always_holds(
    drawn: tuple[list[PageObservation], list[StoredReading], list[Decision]],
) -> None:
    visits = visits_of(STUDY, *drawn)
    (visit,) = visits
    (row,) = visit_rows(STUDY, visits)
    here = [e for e in visit.fields if e.reading.field == FIELD]
    serving = [e for e in here if e.is_current]
    asking = [e for e in here if e.needs_review]
    assert len(serving) == 1, "one value of a field serves"
    assert len(here) == len(drawn[0]), "no photo is lost"
    assert row.waiting == len({e.reading.field for e in visit.fields if e.needs_review})
    assert all(e.status in ("flagged", "doubted") for e in asking)
    assert len(waiting(STUDY, visits)) == len([e for e in visit.fields if e.needs_review])
    if row.values[FIELD] is not None:
        assert row.values[FIELD] in {e.reading.value for e in here} | {d.value for d in drawn[2]}
    read_values = {e.reading.value for e in here if e.reading.status != "flagged"}
    if not drawn[2] and len(read_values) > 1:
        assert row.statuses[FIELD] in ("doubted", "flagged"), "none is taken unasked"
        assert len(asking) == 1
    if not drawn[2] and not read_values:
        assert row.values[FIELD] is None, "doubtful values never serve"
        assert len(asking) == 1
    assert len(reading_rows(visits)) == len(drawn[1])


@given(photos())
def test_the_order_of_rows_does_not_matter(
    drawn: tuple[list[PageObservation], list[StoredReading], list[Decision]],
) -> None:
    pages, reads, decided = drawn
    turned = visits_of(STUDY, pages[::-1], reads[::-1], decided[::-1])
    assert visits_of(STUDY, pages, reads, decided) == turned
