"""Values typed for a whole sheet by field name, checked as in review. Pure functions."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sheet_reader.errors import UsageError
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.study.model import FieldSpec, Study

NOTHING, UNREADABLE = ("n", ""), ("x",)
LOOK_AGAIN = "look again; --unusual takes it as it is"


@dataclass(frozen=True, slots=True)
class TypedValue:
    """What was typed for a field: ``text`` as the record keeps it, None for "not recorded", or
    that nobody can read it; ``doubt`` says what is unusual about it, "" if nothing is.
    """

    spec: FieldSpec
    text: str | None
    unreadable: bool = False
    doubt: str = ""


def field_named(study: Study, name: str) -> FieldSpec:
    """The field of this name; "site" and "date" mean those fields whatever they are called.

    Raises :class:`UsageError`, with the names nearest to it.
    """
    by_name = {spec.name: spec for spec in study.fields}
    for spec in study.fields:
        if spec.kind in ("site", "date"):
            by_name.setdefault(spec.kind, spec)
    if name in by_name:
        return by_name[name]
    near = difflib.get_close_matches(name, by_name, n=3, cutoff=0.5) or list(by_name)[:3]
    raise UsageError(
        f"the study has no field “{name[:60]}”", remedy=f"there are {', '.join(near)} and others"
        if len(by_name) > len(near) else f"there are {', '.join(near)}",
    )  # fmt: skip


def understood(spec: FieldSpec, typed: str, study: Study, today: date) -> TypedValue:
    """What ``typed`` means for a field: a value, "n" or nothing for "not recorded", or "x" for
    "can't be read". Raises :class:`UsageError` for what can't be one.
    """
    typed = typed.strip()
    if typed.lower() in NOTHING:
        return TypedValue(spec, None)
    if typed.lower() in UNREADABLE:
        return TypedValue(spec, None, unreadable=True)
    value = understand(typed, spec, study, today)
    if isinstance(value, Refusal):
        raise UsageError(f"{spec.label}: {value.message}")
    return TypedValue(spec, value.text, doubt=value.doubt)


def assigned(
    study: Study, texts: Sequence[str], today: date, *, unusual: bool = False
) -> dict[str, TypedValue]:
    """The values of texts like ``field=value``, by field name.

    Raises :class:`UsageError` for a text that is none, a field given twice, what can't be a value,
    and, unless ``unusual`` ones are wanted, for a value that is.
    """
    found: dict[str, TypedValue] = {}
    for text in texts:
        name, sign, typed = text.partition("=")
        if not sign:
            raise UsageError(f"“{text[:60]}” sets nothing", remedy="write it as field=value")
        value = understood(field_named(study, name.strip()), typed, study, today)
        if value.spec.name in found:
            raise UsageError(f"{value.spec.name} is set twice")
        if value.doubt and not unusual:
            raise UsageError(f"{value.spec.label}: {value.doubt}", remedy=LOOK_AGAIN)
        found[value.spec.name] = value
    return found
