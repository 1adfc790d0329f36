"""A person's answer as it goes into the record: one or several decisions, kept or undone together.

With an answer stands what the person was told of, so that the same is not asked again: a sum that
does not fit as it is written, photos that show one sheet, boxes for which another photo was asked.
It holds for what was told only: once a value of that sum changes, the sum is asked about anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

from sheet_reader.record.history.sheets import SheetKind
from sheet_reader.record.history.states import FieldState, PageObservation, Rival

PlaceKind = Literal["site", "date"]
NOTHING, UNREADABLE = "nothing written", "can't be read"
"""What an answer says that says no value."""


@dataclass(frozen=True, slots=True)
class Accept:
    """The value that was read is right."""


@dataclass(frozen=True, slots=True)
class Value:
    """It says this: digits, or ISO 8601 for a date; ``typed`` of a sheet typed in by hand."""

    text: str
    typed: bool = False


@dataclass(frozen=True, slots=True)
class LeftEmpty:
    """Nothing is written in the field: not recorded."""


@dataclass(frozen=True, slots=True)
class Illegible:
    """Something is written, but nobody can tell what."""


Answer = Accept | Value | LeftEmpty | Illegible


@dataclass(frozen=True, slots=True)
class SumTold:
    """A sum that does not fit: its ``fields``, the total first, and the ``values`` they keep
    (None: not recorded).
    """

    fields: tuple[str, ...]
    values: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class SameSheet:
    """These pages (of several photos) show one sheet."""

    pages: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PhotoAsked:
    """The field lies outside the picture; the volunteer is asked for another photo."""


Told = SumTold | SameSheet | PhotoAsked


@dataclass(frozen=True, slots=True)
class FieldAnswer:
    """What is decided of one reading. Of ``rivals``, the values of other photos that the person was
    told of, it overrules those that differ from it; "can't be read" overrules none. ``told`` is
    what else she was told of; ``blind`` where she had not seen what was read.
    """

    reading_id: int
    answer: Answer
    rivals: tuple[Rival, ...] = ()
    told: tuple[Told, ...] = ()
    blind: bool = False


@dataclass(frozen=True, slots=True)
class SheetAnswer:
    """What is decided of a page that bears no such field, or as a whole: its ``site`` or ``date``
    is ``value`` (it ``was`` another), it is set ``aside``, counts again (``back``), or was none
    (``withdrawn``). ``page_instance_id`` None: of the whole photo.
    """

    photo_id: int
    page_instance_id: int | None
    kind: SheetKind
    value: str | None = None
    was: str | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """The ids of the decisions of an answer: about fields, and about sheets."""

    fields: tuple[int, ...] = ()
    sheets: tuple[int, ...] = ()


def words_of(answer: Answer, read: str | None) -> str:
    """An answer in a few words, to a field in which ``read`` was read."""
    if isinstance(answer, Value):
        return answer.text
    if isinstance(answer, Accept):
        return read or NOTHING
    return NOTHING if isinstance(answer, LeftEmpty) else UNREADABLE


def place_answer(
    reading_id: int | None,
    page: FieldState | PageObservation,
    kind: PlaceKind,
    value: str,
    was: str,
) -> FieldAnswer | SheetAnswer:
    """That a page has this site or date (ISO 8601), where it ``was`` another: said of its field,
    by a reading of it, where it has one, else of the page.
    """
    if reading_id is not None:
        return FieldAnswer(reading_id, Value(value))
    return SheetAnswer(page.photo_id, page.page_instance_id, kind, value, was or None)


def with_names(told: Iterable[Told], name: Callable[[str], str]) -> tuple[Told, ...]:
    """``told`` with ``name`` of every field in it."""
    return tuple(
        replace(t, fields=tuple(map(name, t.fields))) if isinstance(t, SumTold) else t for t in told
    )


def told_to_json(told: Iterable[Told]) -> str | None:
    """``told`` as JSON, None for nothing.

    >>> told_to_json([SameSheet((1, 2))])
    '[{"same-sheet": [1, 2]}]'
    """
    listed = [_plain(item) for item in told]
    return json.dumps(listed) if listed else None


def _plain(item: Told) -> dict[str, Any]:
    if isinstance(item, SumTold):
        return {"sum-off": dict(zip(item.fields, item.values, strict=True))}
    return {"same-sheet": list(item.pages)} if isinstance(item, SameSheet) else {"photo-asked": ""}


def told_from_json(text: str | None) -> tuple[Told, ...]:
    """The reverse of :func:`told_to_json`; what this version does not know is left out."""
    found: list[Told] = []
    for item in json.loads(text) if text else ():
        if "sum-off" in item:
            found.append(SumTold(tuple(item["sum-off"]), tuple(item["sum-off"].values())))
        elif "same-sheet" in item:
            found.append(SameSheet(tuple(item["same-sheet"])))
        elif "photo-asked" in item:
            found.append(PhotoAsked())
    return tuple(found)
