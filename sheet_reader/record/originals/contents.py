"""What one record knows that another does not: photos, answers, remarks, erasures."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, select

from sheet_reader.record.people.people import DECISIONS
from sheet_reader.record.store import schema


@dataclass(frozen=True, slots=True)
class Contents:
    """What a record knows: photos by the hash of their bytes (those made anonymous since too),
    decisions, and what people remarked, each told apart by what it says.
    """

    study: str
    photos: frozenset[str]
    forgotten: frozenset[str]
    decisions: frozenset[tuple[object, ...]]
    remarks: frozenset[tuple[object, ...]]
    last: str


def contents_of(connection: Connection) -> Contents:
    """All that a record knows."""
    p, r, s = schema.photos.c, schema.remarks.c, schema.page_instances.c
    photos = connection.execute(select(p.sha256, p.forgotten_at)).all()
    decided: set[tuple[object, ...]] = set()
    for table in DECISIONS:
        said = [c for c in table.c if c.name in ("field", "kind", "value", "said", "former", "at")]
        decided.update(tuple(row) for row in connection.execute(select(*said)))
    remarks = connection.execute(select(r.mark, r.site, r.visit_date)).all()
    times = [str(said[-1]) for said in decided] + [
        str(at) for at in connection.execute(select(p.received_at)).scalars()
    ]
    study = connection.execute(select(s.study).order_by(s.id.desc()).limit(1)).scalar()
    return Contents(
        str(study or ""),
        frozenset(row.sha256 for row in photos),
        frozenset(row.sha256 for row in photos if row.forgotten_at),
        frozenset(decided),
        frozenset(tuple(row) for row in remarks),
        max(times, default=""),
    )


def lacks(restored: Contents, present: Contents) -> Iterator[str]:
    """A line for each kind of thing that the present record knows and the restored one does not."""

    def told(singular: str, more: Collection[object]) -> str:
        return f"{len(more):,} {singular}{'' if len(more) == 1 else 's'}"

    if more := present.photos - restored.photos:
        yield f"{told('photo', more)} that came since"
    if decisions := present.decisions - restored.decisions:
        yield f"{told('answer', decisions)} given since"
    if remarks := present.remarks - restored.remarks:
        yield f"{told('remark', remarks)} made since"
    if back := (present.forgotten - restored.forgotten) & restored.photos:
        yield f"what was erased since: {told('photo', back)} would name people again, erase anew"
