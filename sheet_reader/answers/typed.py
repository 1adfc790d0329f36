"""What is typed for the fields of a whole sheet, and what it comes to: one way for every command
and the page. Pure functions.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sheet_reader.errors import UsageError
from sheet_reader.record.history.answers import (
    UNREADABLE,
    FieldAnswer,
    Illegible,
    LeftEmpty,
    PlaceKind,
    SheetAnswer,
    SumTold,
    Value,
)
from sheet_reader.record.history.mending import moved
from sheet_reader.record.history.row_sums import sums_off
from sheet_reader.record.history.states import FieldState, Rival, VisitState
from sheet_reader.study.kinds import Refusal
from sheet_reader.study.study import FieldSpec, Study

LOOK_AGAIN = "look again; --unusual takes it as it is"


@dataclass(frozen=True, slots=True)
class TypedAnswer:
    """What was typed for a field, as an answer; ``doubt`` says what is unusual, "" if nothing is.
    """

    spec: FieldSpec
    answer: Value | LeftEmpty | Illegible
    doubt: str = ""

    @property
    def text(self) -> str | None:
        """The value as the record keeps it, None for none."""
        return self.answer.text if isinstance(self.answer, Value) else None

    @property
    def unreadable(self) -> bool:
        """Whether nobody can read what is written."""
        return isinstance(self.answer, Illegible)

    @property
    def shown(self) -> str:
        """In words."""
        return UNREADABLE if self.unreadable else self.text or "not recorded"


TypedAnswers = Mapping[str, TypedAnswer]
"""What was typed, by the field's name."""


def typed_answer(
    study: Study, spec: FieldSpec, typed: str, today: date
) -> TypedAnswer | Refusal:
    """What ``typed`` means for a field: a value, "n" or nothing for "not recorded", or "x" for
    "can't be read".
    """
    typed = typed.strip()
    if typed.lower() in ("n", ""):
        return TypedAnswer(spec, LeftEmpty())
    if typed.lower() == "x":
        return TypedAnswer(spec, Illegible())
    value = spec.kind.check(study, spec, typed, today=today)
    if isinstance(value, Refusal):
        return Refusal(f"{spec.label}: {value.message}", value.near)
    return TypedAnswer(spec, Value(value.text), value.doubt)


def place_typed(text: str, count: int) -> int | None:
    """The place, from 0, that a typed number from 1 to ``count`` names; None for any other text."""
    return {str(place + 1): place for place in range(count)}.get(text.lstrip("0"))


def field_named(study: Study, name: str) -> FieldSpec:
    """The field of this name; "site" and "date" mean those fields whatever they are called.

    Raises :class:`UsageError`, with the names nearest to it.
    """
    by_name = {spec.name: spec for spec in study.fields}
    for spec in study.fields:
        if spec.kind.is_key:
            by_name.setdefault(spec.kind.name, spec)
    if name in by_name:
        return by_name[name]
    near = difflib.get_close_matches(name, by_name, n=3, cutoff=0.5) or list(by_name)[:3]
    raise UsageError(
        f"the study has no field “{name[:60]}”", remedy=f"there are {', '.join(near)} and others"
        if len(by_name) > len(near) else f"there are {', '.join(near)}",
    )  # fmt: skip


def assigned(
    study: Study, texts: Sequence[str], today: date, *, unusual: bool = False
) -> dict[str, TypedAnswer]:
    """The answers of texts like ``field=value``, by field name.

    Raises :class:`UsageError` for a text that is none, a field given twice, what can't be a value,
    and, unless ``unusual`` ones are wanted, for a value that is.
    """
    found: dict[str, TypedAnswer] = {}
    for text in texts:
        name, sign, typed = text.partition("=")
        if not sign:
            raise UsageError(f"“{text[:60]}” sets nothing", remedy="write it as field=value")
        value = typed_answer(study, field_named(study, name.strip()), typed, today)
        if isinstance(value, Refusal):
            raise UsageError(value.message)
        if value.spec.name in found:
            raise UsageError(f"{value.spec.name} is set twice")
        if value.doubt and not unusual:
            raise UsageError(f"{value.spec.label}: {value.doubt}", remedy=LOOK_AGAIN)
        found[value.spec.name] = value
    return found


def sums_off_in(study: Study, typed: TypedAnswers) -> dict[SumTold, str]:
    """The sums of a whole sheet as typed that do not fit, each in words."""
    values = {name: answer.text for name, answer in typed.items()}
    return sums_off(study, values, values)


@dataclass(frozen=True, slots=True)
class ChosenSheets:
    """The sheets that are put right: all pages of a visit, or one sheet of a photo, and the visit
    they are of. ``fields`` are the states that a change is about, by field name.
    """

    visit: VisitState
    pages: tuple[int, ...]
    fields: dict[str, FieldState]

    def sums_off(self, study: Study, typed: TypedAnswers) -> dict[SumTold, str]:
        """The sums that do not fit once these answers are kept, each in words."""
        now = {
            name: state.value
            for name, state in self.fields.items()
            if state.status not in ("flagged", "unreadable")
        }
        after = now | {name: answer.text for name, answer in typed.items()}
        return sums_off(study, after, list(typed))

    def shown(self, study: Study, spec: FieldSpec) -> str:
        """How a field stands now, in words."""
        if spec.kind.is_key:
            return study.placed(self.visit.site, self.visit.visit_date)[spec.name] or "waits"
        state = self.fields.get(spec.name)
        if state is None:
            return "not there"
        return "waits" if state.status == "flagged" else state.value or state.status

    def answers(
        self, study: Study, typed: TypedAnswers, *, unusual: bool = False
    ) -> list[FieldAnswer | SheetAnswer]:
        """What is kept of these answers. Whoever gives them has the whole visit before her.

        Raises :class:`UsageError` for a sheet without a place, for a field that is on none of the
        sheets, and for sums that do not fit, unless ``unusual`` ones are wanted.
        """
        told = self.sums_off(study, typed)
        if told and not unusual:
            raise UsageError(next(iter(told.values())), remedy=LOOK_AGAIN)
        places: list[FieldAnswer | SheetAnswer] = []
        changes: list[FieldAnswer | SheetAnswer] = []
        for name, one in typed.items():
            if one.spec.kind.is_key:
                if one.text is None:
                    raise UsageError(
                        "a sheet has a site and a date",
                        remedy="to leave it out everywhere: sheet-reader aside",
                    )
                about: PlaceKind = "site" if name == study.keys[0] else "date"
                places += [moved(study, [self.visit], p, about, one.text) for p in self.pages]
                continue
            state = self.fields.get(name)
            if state is None:
                raise UsageError(
                    f"{one.spec.label}: no sheet of this visit shows it",
                    remedy="type the missing page in: sheet-reader enter",
                )
            about_sums = tuple(sum_ for sum_ in told if name in sum_.fields)
            rivals = rivals_of(state, self.visit, one.text)
            changes.append(FieldAnswer(state.reading.reading_id, one.answer, rivals, about_sums))
        return [*places, *changes]


def rivals_of(field: FieldState, visit: VisitState, value: str | None) -> tuple[Rival, ...]:
    """The values of the same field in other photos of the visit that ``value`` contradicts: what
    someone who decides with the whole visit before her has been told of.
    """
    return tuple(
        Rival(e.observation.page_instance_id, said)
        for e in visit.fields
        if e.reading.field == field.reading.field and e.observation != field.observation
        for said in dict.fromkeys((e.value, e.reading.value))
        if said != value
    )
