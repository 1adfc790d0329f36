"""A person's answers: checked, then added to the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from sqlalchemy import Connection, func, insert, select

from sheet_reader import __version__
from sheet_reader.errors import UsageError
from sheet_reader.record.history.answers import (
    Accept,
    Answer,
    Illegible,
    LeftEmpty,
    Told,
    Value,
    told_to_json,
    with_names,
)
from sheet_reader.record.history.loading import UNDO
from sheet_reader.record.history.meaning_answers import keep_site_label, load_meanings
from sheet_reader.record.history.sheets import add_sheet_decision
from sheet_reader.record.history.states import Rival
from sheet_reader.record.store import schema
from sheet_reader.study.days import now
from sheet_reader.study.kinds import Refusal
from sheet_reader.study.model import Study


@dataclass(frozen=True, slots=True)
class Undone:
    """What a decision was about that was taken back: ``reading_id`` None where it was about a
    sheet, ``page_instance_id`` None where about a whole photo.
    """

    reading_id: int | None
    page_instance_id: int | None
    photo_id: int


def checked_value(study: Study, field: str, text: str) -> str:
    """The value a person typed for ``field``, tidied; raises :class:`UsageError` with what is
    wrong about it. An unusual value is allowed: she has seen the sheet.
    """
    spec = study.spec(field)
    if spec is None:
        raise UsageError(
            f"study.toml has no field {field} now", remedy="if it was renamed, rename it back"
        )
    value = spec.kind.check(study, spec, text)
    if isinstance(value, Refusal):
        raise UsageError(f"{spec.label}: {value.message}")
    return value.text


def add_decision(
    connection: Connection,
    study: Study,
    reading_id: int,
    answer: Answer,
    by: str,
    *,
    blind: bool,
    rivals: Sequence[Rival] = (),
    told: Sequence[Told] = (),
    number: int | None = None,
    reason: str = "",
) -> int:
    """Add a person's answer about a reading; gives the id of the decision.

    A value equal to the one read counts as accepting it. Of ``rivals``, the values of other photos
    that the person was told of, the decision overrules those that differ from it; "can't be read"
    overrules none. ``told`` is what else the person was told of, ``number`` that of the answer to
    which the decision belongs. Raises :class:`UsageError` for an unknown
    reading, a value that cannot be one, and for accepting where nothing was read.
    """
    r, k = schema.readings.c, schema.reading_runs.c
    row = connection.execute(
        select(r.field, r.value, r.status, k.page_instance_id)
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .where(r.id == reading_id)
    ).one_or_none()
    if row is None:
        raise UsageError(f"there is no reading {reading_id} in the record")
    meanings, page = load_meanings(connection, study), row.page_instance_id
    field = meanings.field(row.field, page)
    kind, value = _answer(study, field, row.value, row.status, answer)
    if value is not None and any(h.kind == "site" and h.name == field for h in study.header):
        keep_site_label(connection, study, value)
    decision_id = _add(
        connection,
        page_instance_id=page,
        field=row.field,
        reading_id=reading_id,
        kind=kind,
        value=value,
        by=by,
        blind=blind,
        told=told_to_json(with_names(told, partial(meanings.on_sheet, page_instance_id=page))),
        answer=number,
        reason=reason or None,
    )
    differing = {r for r in rivals if r.value != value and not isinstance(answer, Illegible)}
    if differing:
        lines = [{"decision_id": decision_id, **asdict(rival)} for rival in differing]
        connection.execute(insert(schema.overruled), lines)
    return decision_id


def _add(connection: Connection, **values: Any) -> int:
    last_run = connection.scalar(select(func.max(schema.reading_runs.c.id)))
    added = connection.execute(
        insert(schema.decisions).values(
            at=now(), program=__version__, runs_before=last_run, **values
        )
    ).inserted_primary_key
    assert added is not None
    return int(added[0])


def _answer(
    study: Study, field: str, read: str | None, status: str, answer: Answer
) -> tuple[str, str | None]:
    if isinstance(answer, Accept):
        if read is None and status != "empty":
            raise UsageError("nothing was read here that could be accepted")
        if read is not None and any(h.name == field and h.kind == "site" for h in study.header):
            checked_value(study, field, read)
        return ("accept", read) if read is not None else ("empty", None)
    if isinstance(answer, Value):
        value = checked_value(study, field, answer.text)
        if answer.typed:
            return "typed", value
        return ("accept" if value == read else "value"), value
    return ("empty" if isinstance(answer, LeftEmpty) else "unreadable"), None


def take_back_last(connection: Connection, by: str) -> Undone | None:
    """Take back this person's last answer or decision about a sheet that still stands."""
    s = schema.sheet_decisions.c
    undone = select(s.undoes).where(s.undoes.is_not(None))
    sheet = connection.execute(
        select(s.id, s.photo_id, s.page_instance_id, s.decisions_before, s.value, s.was)
        .where(s.by == by, s.kind != UNDO, s.id.not_in(undone))
        .order_by(s.id.desc())
        .limit(1)
    ).one_or_none()
    answer = _last_answer(connection, by)
    if sheet is not None and (not answer or answer[-1].id <= sheet.decisions_before):
        add_sheet_decision(
            connection, sheet.photo_id, sheet.page_instance_id, "undo", by=by,
            undoes=sheet.id, value=sheet.was, was=sheet.value,
        )  # fmt: skip
        return Undone(None, sheet.page_instance_id, sheet.photo_id)
    for row in answer:
        add_undo(connection, row, by)
    if not answer:
        return None
    return Undone(answer[-1].reading_id, answer[-1].page_instance_id, answer[-1].photo_id)


def _last_answer(connection: Connection, by: str) -> list[Any]:
    """The decisions of this person's last standing answer about fields, as rows, the last last."""
    d, s = schema.decisions.c, schema.page_instances.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    columns = (d.id, d.page_instance_id, d.field, d.reading_id, d.answer, s.photo_id)
    standing = (
        select(*columns)
        .join_from(schema.decisions, schema.page_instances, s.id == d.page_instance_id)
        .where(d.by == by, d.kind != UNDO, d.id.not_in(undone))
    )
    last = connection.execute(standing.order_by(d.id.desc()).limit(1)).one_or_none()
    if last is None:
        return []
    together = standing.where(d.answer == last.answer, d.id != last.id).order_by(d.id)
    return [*connection.execute(together), last]


def undo_answer(connection: Connection, decision_id: int, by: str, reason: str) -> None:
    """Take back what still stands of the answer that a decision belongs to."""
    d = schema.decisions.c
    undone = select(d.undoes).where(d.undoes.is_not(None))
    own = select(d.answer).where(d.id == decision_id).scalar_subquery()
    query = select(d.id, d.page_instance_id, d.field, d.reading_id).where(
        (d.id == decision_id) | (d.answer == own), d.kind != UNDO, d.id.not_in(undone)
    )
    for row in connection.execute(query.order_by(d.id)).all():
        add_undo(connection, row, by, reason)


def add_undo(connection: Connection, decision: Any, by: str, reason: str = "") -> None:
    """Take back a decision, a row with ``id``, ``page_instance_id``, ``field``, ``reading_id``."""
    _add(
        connection,
        page_instance_id=decision.page_instance_id,
        field=decision.field,
        reading_id=decision.reading_id,
        kind=UNDO,
        value=None,
        by=by,
        blind=False,
        undoes=decision.id,
        reason=reason or None,
    )
