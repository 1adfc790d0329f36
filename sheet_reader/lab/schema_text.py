"""Writes the frozen text of the record's schema from its tables: for its first release only.

python -m sheet_reader.lab.schema_text

Triggers refuse changes of the history (:data:`~sheet_reader.record.store.schema.APPEND_ONLY`), and
note which rows were written, whoever wrote them: the checksum of a row that was added or changed is
left open (``""``), that of one removed becomes ``-``. Where a row gets the number of one whose
checksum still stands, that one was removed unnoticed.
"""

from __future__ import annotations

from sqlalchemy import Dialect
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.schema import CreateIndex, CreateTable

from sheet_reader.record.store import schema
from sheet_reader.record.store.checksums import TABLES
from sheet_reader.record.store.migrations import BETWEEN, SCRIPTS

DIALECTS: tuple[Dialect, ...] = (
    sqlite.dialect(),
    postgresql.dialect(),  # type: ignore[no-untyped-call]
)


def schema_text(dialect: Dialect) -> str:
    """All statements that make an empty record."""
    made = []
    for table in schema.metadata.sorted_tables:
        made.append(str(CreateTable(table).compile(dialect=dialect)))
        for index in sorted(table.indexes, key=lambda index: str(index.name)):
            made.append(str(CreateIndex(index).compile(dialect=dialect)))
    of_sqlite = dialect.name == "sqlite"
    for name in schema.APPEND_ONLY:
        made += _sqlite_guards(name) if of_sqlite else _postgresql_guards(name)
    for name in TABLES:
        made += _sqlite_notes(name) if of_sqlite else _postgresql_notes(name)
    plain = ("\n".join(line.rstrip() for line in one.strip().splitlines()) for one in made)
    return BETWEEN.join(plain) + "\n"


def _sqlite_guards(table: str) -> list[str]:
    return [
        f"CREATE TRIGGER {table}_keep_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is only ever added to'); END"
        for verb in ("UPDATE", "DELETE")
    ]


def _postgresql_guards(table: str) -> list[str]:
    return [
        f"CREATE FUNCTION {table}_keep() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{table} is only ever added to'; END $$",
        f"CREATE TRIGGER {table}_keep BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table}_keep()",
    ]


def _bodies(table: str) -> dict[str, str]:
    """What each trigger does, in SQL that SQLite and PostgreSQL share."""
    _, owner, field = TABLES[table]
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


def _sqlite_notes(table: str) -> list[str]:
    return [
        f"CREATE TRIGGER {table}_checksum_{verb.lower()} AFTER {verb} ON {table} BEGIN {body} END"
        for verb, body in _bodies(table).items()
    ]


def _postgresql_notes(table: str) -> list[str]:
    statements = []
    for verb, body in _bodies(table).items():
        name = f"{table}_checksum_{verb.lower()}"
        statements += [
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN {body} RETURN NULL; END $$",
            f"CREATE TRIGGER {name} AFTER {verb} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        ]
    return statements


def main() -> None:
    """Write a text for each database."""
    for dialect in DIALECTS:
        path = SCRIPTS / f"version_1_{dialect.name}.sql"
        path.write_text(schema_text(dialect), encoding="utf-8")


if __name__ == "__main__":
    main()
