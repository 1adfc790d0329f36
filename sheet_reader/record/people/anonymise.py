"""The one change that the history allows: who decided, made unknown, and who is named in a reason.

The database refuses every change of a decision (see the schema). Within one writing transaction
the refusal of changes is taken away, the names are replaced, and it is put back; nobody else can
write in between, and an interruption leaves everything as it was.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Table, delete, select, update

from sheet_reader.record.people.people import NOBODY, REMOVED, REPLACED, Person
from sheet_reader.record.store import schema

DECISIONS = (schema.decisions, schema.sheet_decisions, schema.meanings, schema.blind_answers)


def decisions_naming(connection: Connection, who: Person) -> tuple[list[str], int]:
    """Under which name this person took each of her decisions, and how many reasons name her."""
    takers: list[str] = []
    reasons = 0
    for table in DECISIONS:
        for named in _naming(connection, table, who).values():
            takers += [named["by"]] if "by" in named else []
            reasons += "reason" in named
    return takers, reasons


def at_work(connection: Connection, who: Person) -> int:
    """How many questions and photos programs of this person hold now."""
    return len(_leases(connection, who)) + len(_naming(connection, schema.photos, who))


def labels_naming(connection: Connection, who: Person) -> int:
    """How many labels of sites, as they were printed or read, name this person."""
    return len(_naming(connection, schema.site_labels, who))


def _leases(connection: Connection, who: Person) -> list[str]:
    rows = connection.execute(select(schema.leases))
    return [row.place for row in rows if who.named_in(row.by) or who.named_in(row.holder)]


def forget_names(connection: Connection, who: Person) -> int:
    """Replace what names this person in decisions and notes of programs at work; nothing else
    changes. Her leases end. Gives the number of decisions.

    ``connection`` must be inside a writing transaction.
    """
    hers = schema.leases.c.place.in_(_leases(connection, who))
    connection.execute(delete(schema.leases).where(hers))
    _forget(connection, schema.photos, who)
    forgotten = 0
    for table in (*DECISIONS, schema.site_labels):
        if _naming(connection, table, who):
            with _changes_allowed(connection, table.name):
                changed = _forget(connection, table, who)
            forgotten += changed if table in DECISIONS else 0
    return forgotten


def _naming(connection: Connection, table: Table, who: Person) -> dict[int, dict[str, str]]:
    """The columns that name this person, with what they say, by the row's id."""
    columns = [c for c in table.c if f"{table.name}.{c.name}" in REPLACED]
    found: dict[int, dict[str, str]] = {}
    for number, *texts in connection.execute(select(table.c.id, *columns).order_by(table.c.id)):
        said = zip(columns, texts, strict=True)
        if named := {c.name: text for c, text in said if who.named_in(text)}:
            found[number] = named
    return found


def _forget(connection: Connection, table: Table, who: Person) -> int:
    naming = _naming(connection, table, who)
    for number, named in naming.items():
        new = {name: REPLACED[f"{table.name}.{name}"] for name in named}
        if table is schema.blind_answers:
            new["by"] = _other_nobody(connection, number)
        if table is schema.site_labels:
            new["label"] = f"{REMOVED} {number}"  # a site's labels stay different ones
        connection.execute(update(table).where(table.c.id == number).values(new))
    return len(naming)


def _other_nobody(connection: Connection, number: int) -> str:
    """A name for nobody that no other blind answer to this question bears: two people stay two."""
    b = schema.blind_answers.c
    row = connection.execute(select(b.page_instance_id, b.field).where(b.id == number)).one()
    same = (b.page_instance_id == row.page_instance_id) & (b.field == row.field)
    taken = set(connection.execute(select(b.by).where(same)).scalars())
    names = [NOBODY, *(f"{NOBODY} {n}" for n in range(2, len(taken) + 2))]
    return next(name for name in names if name not in taken)


@contextmanager
def _changes_allowed(connection: Connection, name: str) -> Iterator[None]:
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"ALTER TABLE {name} DISABLE TRIGGER {name}_keep")
        yield
        connection.exec_driver_sql(f"ALTER TABLE {name} ENABLE TRIGGER {name}_keep")
        return
    guard = f"{name}_keep_update"
    sql = connection.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (guard,)
    ).scalar_one()
    connection.exec_driver_sql(f"DROP TRIGGER {guard}")
    yield
    connection.exec_driver_sql(sql)
