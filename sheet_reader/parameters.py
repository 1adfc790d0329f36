"""How a room keeps its thresholds: frozen dataclasses that tell unit, origin and meaning."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field, fields, is_dataclass
from typing import Any, NamedTuple, TypeVar

ORIGINS = ("measured", "standard", "choice")
"""An origin begins with one of these and a colon, then says on what, which, or why."""
SIMULATED = "measured: simulated photographs, seeds 7000-7071 typical and 8000-8095 hard"
UNTRIED = "choice: works on the simulated photographs; neighbours were not compared"
_Value = TypeVar("_Value")


class Described(NamedTuple):
    """A threshold as a table shows it; ``name`` is "group.field"."""

    name: str
    value: Any
    unit: str
    origin: str
    meaning: str


def parameter(value: _Value, unit: str, origin: str, meaning: str) -> _Value:
    """A field of a parameter object with its default ``value``; for dataclass bodies only.

    Raises ValueError where ``origin`` does not begin with one of :data:`ORIGINS`.
    """
    if origin.split(":")[0] not in ORIGINS or not unit or not meaning:
        raise ValueError(f"a threshold needs a unit, a meaning and an origin: {origin!r}")
    told: _Value = field(
        default=value, metadata={"unit": unit, "origin": origin, "meaning": meaning}
    )
    return told


def described(parameters: Any, group: str = "") -> Iterator[Described]:
    """Every threshold of a parameter object, those of its groups included."""
    for each in fields(parameters):
        value, name = getattr(parameters, each.name), f"{group}{each.name}"
        if is_dataclass(value):
            yield from described(value, f"{name}.")
        elif "unit" in each.metadata:
            told = each.metadata
            yield Described(name, value, told["unit"], told["origin"], told["meaning"])
