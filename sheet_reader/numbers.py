"""The thresholds of each room: ``numbers.toml`` in its folder, a line each, as one frozen object.

``from sheet_reader.numbers import VISION`` gives the object of the room of that name. A line is
``name = [value, unit, origin, meaning]``; an origin begins with one of :data:`ORIGINS` and a colon,
then says on what, which, or why. A change holds for everybody: nobody sets a value in passing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import field, fields, is_dataclass, make_dataclass
from functools import cache
from importlib import resources
from typing import Any, NamedTuple

ORIGINS = ("measured", "standard", "choice")


class Described(NamedTuple):
    """A threshold as a table shows it; ``name`` is "group.field"."""

    name: str
    value: Any
    unit: str
    origin: str
    meaning: str


def frozen(table: dict[str, Any], name: str) -> Any:
    """The rows of ``table`` as attributes of a frozen object; tables in it are objects of it.

    Raises ValueError where a row lacks its unit, its meaning or a known origin.
    """
    made: list[Any] = []
    for key, row in table.items():
        if isinstance(row, dict):
            made.append((key, Any, field(default=frozen(row, f"{name}.{key}"))))
            continue
        value, *told = row
        if len(told) != 3 or not all(told) or told[1].split(":")[0] not in ORIGINS:
            raise ValueError(f"{name}.{key} needs a unit, an origin and a meaning: {told!r}")
        metadata = dict(zip(("unit", "origin", "meaning"), told, strict=True))
        made.append((key, Any, field(default=_tuples(value), metadata=metadata)))
    return make_dataclass("Numbers", made, frozen=True, slots=True)()


def _tuples(value: Any) -> Any:
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def described(numbers: Any, group: str = "") -> Iterator[Described]:
    """Every threshold of a room's object, those of its groups included."""
    for each in fields(numbers):
        value, name = getattr(numbers, each.name), f"{group}{each.name}"
        if is_dataclass(value):
            yield from described(value, f"{name}.")
        else:
            yield Described(name, value, **each.metadata)


def __getattr__(room: str) -> Any:
    return _of(room)


@cache
def _of(room: str) -> Any:
    path = resources.files("sheet_reader").joinpath(room.lower(), "numbers.toml")
    if not room.isupper() or not path.is_file():
        raise AttributeError(f"no room has the thresholds {room}")
    return frozen(tomllib.loads(path.read_text("utf-8")), room)
