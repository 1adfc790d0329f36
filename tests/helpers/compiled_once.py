"""Statements of SQLAlchemy are put into SQL once in each process of tests.

An engine does that for itself, and tests open a thousand of them on records of the same tables: a
third of their time went into it. What they share is the cache that SQLAlchemy documents as the
execution option ``compiled_cache``; its keys begin with the engine's own dialect object, which is
left out here, for all of these are SQLite's.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Engine, event


class Compiled(dict[Any, Any]):
    """Statements that were compiled, by all of SQLAlchemy's key but the dialect."""

    def get(self, key: tuple[Any, ...], default: Any = None) -> Any:
        return super().get(key[1:], default)

    def __setitem__(self, key: tuple[Any, ...], compiled: Any) -> None:
        super().__setitem__(key[1:], compiled)


def share() -> None:
    """From now on, for all engines on SQLite."""
    compiled = Compiled()

    def use(connection: Connection) -> None:
        if connection.dialect.name == "sqlite":
            connection.execution_options(compiled_cache=compiled)

    event.listen(Engine, "engine_connect", use)
