"""What each of two people made of a field before she knew what anybody else had.

A share of the fields that are asked is asked of two people, both blind (``asked_twice`` in the
study file). The first answer of each is kept here as it was typed, and never changed; what holds is
a decision like any other.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, select

from sheet_reader import __version__
from sheet_reader.record.history.answers import Answer, words_of
from sheet_reader.record.history.photos import insert_new
from sheet_reader.record.store import schema
from sheet_reader.study.days import now
from sheet_reader.study.study import Study

Place = tuple[int, str]
"""A field of a page instance."""


@dataclass(frozen=True, slots=True)
class OwnLook:
    """What a person made of a field: a value as the record keeps it, or that there is none (see
    :func:`~sheet_reader.record.history.answers.words_of`); ``after`` is the last decision that was
    there.
    """

    by: str
    said: str
    after: int


def asked_twice(study: Study, place: Place) -> bool:
    """Whether a field is among those asked of two people: always the same ones, as if by lot."""
    if study.asked_twice <= 0:
        return False
    name = f"{study.key}/{place[0]}/{place[1]}".encode()
    lot = int.from_bytes(hashlib.sha256(name).digest()[:6], "big") / 2**48
    return lot < study.asked_twice


def add_look(
    connection: Connection, reading_id: int, place: Place, answer: Answer, read: str | None, by: str
) -> bool:
    """Keep what a person made of a field; False where she has looked before, and nothing is kept.
    ``connection`` is writing.
    """
    return insert_new(
        connection, schema.blind_answers, page_instance_id=place[0], field=place[1],
        reading_id=reading_id, said=words_of(answer, read), by=by, at=now(), program=__version__,
        decisions_before=schema.last_id(connection, schema.decisions),
    )  # fmt: skip


def looks(connection: Connection) -> Mapping[Place, tuple[OwnLook, ...]]:
    """All looks by field, oldest first."""
    c = schema.blind_answers.c
    found: defaultdict[Place, list[OwnLook]] = defaultdict(list)
    query = select(c.page_instance_id, c.field, c.by, c.said, c.decisions_before).order_by(c.id)
    for row in connection.execute(query):
        look = OwnLook(row.by, row.said, row.decisions_before)
        found[row.page_instance_id, row.field].append(look)
    return {place: tuple(made) for place, made in found.items()}
