"""Triggers by which the database itself refuses to change or remove what was read and decided."""

from __future__ import annotations

from sqlalchemy import Connection


def guard(connection: Connection, *tables: str) -> None:
    """Let rows of ``tables`` be added only."""
    for table in tables:
        if connection.dialect.name == "sqlite":
            for verb in ("UPDATE", "DELETE"):
                connection.exec_driver_sql(
                    f"CREATE TRIGGER {table}_keep_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table} is only ever added to'); END"
                )
        else:
            connection.exec_driver_sql(
                f"CREATE FUNCTION {table}_keep() RETURNS trigger LANGUAGE plpgsql AS "
                f"$$ BEGIN RAISE EXCEPTION '{table} is only ever added to'; END $$"
            )
            connection.exec_driver_sql(
                f"CREATE TRIGGER {table}_keep BEFORE UPDATE OR DELETE ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION {table}_keep()"
            )
