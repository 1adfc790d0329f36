"""What people decided about whole sheets and photos: set aside, taken back, of another place.

A decision about a photo is one about every sheet in it; of all that are about a sheet the latest
holds. They are kept by :mod:`sheet_reader.record.history.deciding`, as those about fields are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from sqlalchemy import ColumnElement, Connection, Table, select

from sheet_reader.record.store import schema

SheetKind = Literal["aside", "back", "site", "date", "withdrawn", "undo"]
ASIDE, BACK, SITE, DATE, UNDO = "aside", "back", "site", "date", "undo"
WITHDRAWN = "withdrawn"
"""Of a sheet that a person pointed at: it was not there, so what was read of it never counts again.
"""


@dataclass(frozen=True, slots=True)
class SheetDecision:
    """A decision that was not undone; ``page_instance_id`` None: about the whole photo."""

    decision_id: int
    photo_id: int
    page_instance_id: int | None
    kind: str
    value: str | None
    reason: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class Standing:
    """What holds of sheets and photos now.

    ``aside`` are the page instances that count nowhere, ``photos_aside`` the photos that are set
    aside whole, each with the decision by which; ``sites`` and ``dates`` what was decided of page
    instances that have no such field; ``withdrawn`` are page instances that are none.
    """

    aside: dict[int, SheetDecision]
    photos_aside: dict[int, SheetDecision]
    sites: dict[int, str]
    dates: dict[int, str]
    withdrawn: set[int] = field(default_factory=set)


def stands(table: Table) -> ColumnElement[bool]:
    """Of decisions, about fields or sheets: neither taken back nor the taking back of one."""
    undone = select(table.c.undoes).where(table.c.undoes.is_not(None))
    return (table.c.kind != UNDO) & table.c.id.not_in(undone)


def decided_of_sheets(connection: Connection) -> list[SheetDecision]:
    """Every decision about a sheet or photo that was not undone, oldest first."""
    c = schema.sheet_decisions.c
    query = (
        select(c.id, c.photo_id, c.page_instance_id, c.kind, c.value, c.reason, c.by, c.at)
        .where(stands(schema.sheet_decisions))
        .order_by(c.id)
    )
    return [SheetDecision(*row) for row in connection.execute(query)]


def standing(connection: Connection) -> Standing:
    """What the decisions about sheets and photos come to."""
    decided = decided_of_sheets(connection)
    if not decided:
        return Standing({}, {}, {}, {})
    s = schema.page_instances.c
    pages: dict[int, list[int]] = {}
    for row in connection.execute(select(s.id, s.photo_id)):
        pages.setdefault(row.photo_id, []).append(row.id)
    return stood(decided, pages)


def stood(decided: Iterable[SheetDecision], pages: dict[int, list[int]]) -> Standing:
    """The same from the decisions, oldest first, and the page instances by photo."""
    found = Standing({}, {}, {}, {})
    for d in decided:
        own = d.page_instance_id
        about = pages.get(d.photo_id, []) if own is None else [own]
        if d.kind == ASIDE:
            found.aside.update(dict.fromkeys(about, d))
            if own is None:
                found.photos_aside[d.photo_id] = d
        elif d.kind == BACK:
            for page in about:
                found.aside.pop(page, None)
            found.photos_aside.pop(d.photo_id, None)
        elif d.kind == WITHDRAWN:
            found.withdrawn.update(about)
        elif own is not None and d.value is not None:
            (found.sites if d.kind == SITE else found.dates)[own] = d.value
    return found
