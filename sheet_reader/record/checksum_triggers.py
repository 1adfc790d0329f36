"""Triggers that note which rows were written, whoever wrote them.

They leave the checksum of a row that was added or changed open (``""``), that of one removed as
``-``. Where a row gets the number of one whose checksum still stands, that one was removed
unnoticed.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, inspect

OWNERS = {
    "photos": ("NULL", "''"),
    "origins": ("NEW.photo_id", "''"),
    "mail_messages": ("NULL", "''"),
    "page_instances": ("NEW.photo_id", "''"),
    "reading_runs": ("NEW.page_instance_id", "''"),
    "readings": ("NEW.run_id", "NEW.field"),
    "decisions": ("NEW.page_instance_id", "NEW.field"),
    "overruled": ("NEW.page_instance_id", "''"),
    "sheet_decisions": ("NEW.photo_id", "''"),
    "drafts": ("NULL", "''"),
    "remarks": ("NEW.page_instance_id", "''"),
    "meanings": ("NULL", "''"),
    "wordings": ("NULL", "''"),
    "site_labels": ("NULL", "''"),
    "blind_answers": ("NEW.page_instance_id", "NEW.field"),
    "about": ("NULL", "''"),
}
"""For each checked table, what a checksum notes beside the row: its owner (a row), its field."""


def there(connection: Connection) -> list[str]:
    """The checked tables that a record of its version has."""
    known = inspect(connection)
    return [table for table in OWNERS if known.has_table(table)]


def create(connection: Connection, tables: Iterable[str]) -> None:
    """Create the triggers of these checked tables."""
    for table in tables:
        statements = _sqlite(table) if connection.dialect.name == "sqlite" else _postgresql(table)
        for statement in statements:
            connection.exec_driver_sql(statement)


def _bodies(table: str) -> dict[str, str]:
    """What each trigger does, in SQL that SQLite and PostgreSQL share."""
    owner, field = OWNERS[table]
    of = f"table_name = '{table}' AND row_id"
    closed, is_open = "length(digest) = 32", "digest IN ('', '-')"
    return {
        "INSERT": (
            f"UPDATE row_checksums SET digest = 'reused' WHERE {of} = NEW.id AND {closed}; "
            f"UPDATE row_checksums SET owner = {owner}, field = {field}, digest = '' "
            f"WHERE {of} = NEW.id AND {is_open}; "
            f"INSERT INTO row_checksums SELECT '{table}', NEW.id, {owner}, {field}, '' "
            f"WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE {of} = NEW.id);"
        ),
        "UPDATE": f"UPDATE row_checksums SET digest = '' WHERE {of} IN (OLD.id, NEW.id) AND "
        f"{closed};",
        "DELETE": (
            f"UPDATE row_checksums SET digest = '-' WHERE {of} = OLD.id "
            f"AND ({closed} OR {is_open});"
        ),
    }


def _sqlite(table: str) -> list[str]:
    return [
        f"CREATE TRIGGER {table}_checksum_{verb.lower()} AFTER {verb} ON {table} BEGIN {body} END"
        for verb, body in _bodies(table).items()
    ]


def _postgresql(table: str) -> list[str]:
    statements = []
    for verb, body in _bodies(table).items():
        name = f"{table}_checksum_{verb.lower()}"
        statements += [
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN {body} RETURN NULL; END $$",
            f"CREATE TRIGGER {name} AFTER {verb} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        ]
    return statements
