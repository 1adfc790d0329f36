"""Statements of SQLAlchemy are put into SQL once in each process of tests.

An engine does that for itself, and tests open a thousand of them on records of the same tables: a
third of their time went into it. What they share is the cache that SQLAlchemy documents as the
execution option ``compiled_cache``. Its keys begin with the engine's own dialect object; here the
names of database and driver stand for it, since there is one version of each on a machine.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Engine, event


class Compiled(dict[Any, Any]):
    """Statements that were compiled."""

    def get(self, key: tuple[Any, ...], default: Any = None) -> Any:
        return super().get(_named(key), default)

    def __setitem__(self, key: tuple[Any, ...], compiled: Any) -> None:
        super().__setitem__(_named(key), compiled)


def _named(key: tuple[Any, ...]) -> tuple[Any, ...]:
    dialect, *rest = key
    return dialect.name, dialect.driver, *rest


def share() -> None:
    """From now on, for all engines of this process."""
    compiled = Compiled()

    def use(connection: Connection) -> None:
        connection.execution_options(compiled_cache=compiled)

    event.listen(Engine, "engine_connect", use)
