"""What letters asked of volunteers, and the answers to them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import func, insert, or_, select

from sheet_reader.record.people.remarks import Place, Remark, add_to_visit
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now

SIGN = 8
GOES_ALONG = frozenset({"thanks", "advice"})
"""How items begin that ask nothing: an answer is not about them."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing that a letter says of a visit; ``item`` tells things of one visit apart."""

    site: str
    visit_date: str
    item: str


def asked_before(record: Record) -> set[Asked]:
    """All that letters have asked so far."""
    d = schema.drafts.c
    with record.reading() as connection:
        return {Asked(*row) for row in connection.execute(select(d.site, d.visit_date, d.item))}


def note_drafts(record: Record, letters: Mapping[str, Iterable[Asked]]) -> None:
    """Keep what each letter (by its mark) asks, all of them or none."""
    at = now()
    rows = [
        {"letter": letter, "site": a.site, "visit_date": a.visit_date, "item": a.item,
         "drafted_at": at}
        for letter, asked in letters.items()
        for a in asked
    ]  # fmt: skip
    if rows:
        with record.writing() as connection:
            connection.execute(insert(schema.drafts), rows)


def keep_answer(record: Record, letters: Iterable[str], answer: Remark) -> list[Place] | None:
    """Keep an answer with every visit that the letters it answers ask about; a letter may be named
    by the first SIGN characters of its mark.

    Gives those it was new to, [] where it is known already, None where no letter of ours is
    answered.
    """
    d = schema.drafts.c
    named = list(letters)
    ours = or_(d.letter.in_(named), func.substr(d.letter, 1, SIGN).in_(named))
    query = select(d.site, d.visit_date, d.item).where(ours)
    with record.writing() as connection:
        places = sorted({
            (row.site, row.visit_date) for row in connection.execute(query)
            if row.item.partition(":")[0] not in GOES_ALONG
        })  # fmt: skip
        if not places:
            return None
        return [place for place in places if add_to_visit(connection, place, answer)]


def senders(record: Record) -> dict[int, tuple[str, ...]]:
    """Who sent each photo, by its number: addresses as they stood in the mail."""
    o = schema.origins.c
    found: dict[int, list[str]] = defaultdict(list)
    with record.reading() as connection:
        query = select(o.photo_id, o.sender).where(o.sender != "").order_by(o.id)
        for row in connection.execute(query):
            found[row.photo_id].append(row.sender)
    return {photo_id: tuple(dict.fromkeys(names)) for photo_id, names in found.items()}
