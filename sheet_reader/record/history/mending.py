"""Putting right what stands in the record: values, the place of a sheet, what counts at all.

Nothing is changed or removed: each is a decision of a person with its reason, which history shows
with the value before and after, and which can be undone. Each is kept whole, on the disk, when the
function returns, or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, func, select

from sheet_reader.errors import UsageError
from sheet_reader.record.history import answering, deciding, sheets
from sheet_reader.record.history.answers import FieldAnswer, Value
from sheet_reader.record.history.meaning_answers import keep_site_label
from sheet_reader.record.history.photo_fates import became
from sheet_reader.record.history.sheets import SheetKind
from sheet_reader.record.history.states import FieldState, Rival, VisitState
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.wording import neutral_name

LONGEST_REASON = 500


def set_aside(
    record: Record, photo_id: int, page_instance_id: int | None = None, *, by: str, reason: str = ""
) -> None:
    """Let a photo, or one sheet in it, count nowhere; it stays in the record.

    Raises :class:`UsageError` where there is no such photo or sheet, or it is set aside already.
    """
    _set(record, photo_id, page_instance_id, "aside", by, reason)


def take_back(
    record: Record, photo_id: int, page_instance_id: int | None = None, *, by: str, reason: str = ""
) -> bool:
    """Let a photo, or one sheet in it, count again: what set it aside is taken back, or else the
    answer by which another photo replaced it (True), which is then asked again.

    Raises :class:`UsageError` where there is no such photo or sheet, or nothing to take back.
    """
    replaced = [
        decision
        for visit in record.state()
        for seen in visit.pages
        if seen.photo_id == photo_id and page_instance_id in (None, seen.page_instance_id)
        if (decision := became(record.study, visit, seen.page_instance_id).decision) is not None
    ]
    if not replaced:
        _set(record, photo_id, page_instance_id, "back", by, reason)
        return False
    reason = checked_reason(reason)
    with record.writing() as connection:
        for decision in replaced:
            deciding.undo_answer(connection, decision.decision_id, by, reason)
    return True


def _set(
    record: Record, photo_id: int, page: int | None, kind: SheetKind, by: str, reason: str
) -> None:
    with record.writing() as connection:
        pages = _pages_of(connection, photo_id)
        if page is not None and page not in pages:
            raise UsageError(f"{neutral_name(photo_id)} has no sheet {page}")
        now = sheets.standing(connection)
        whole = photo_id in now.photos_aside
        about = pages if page is None else [page]
        aside = [p for p in about if p in now.aside]
        if kind == "aside" and (len(aside) == len(about) if about else whole):
            raise UsageError(f"{_what(photo_id, page)} is set aside already")
        if kind == "back" and not aside and not (whole and page is None):
            raise UsageError(f"{_what(photo_id, page)} is neither set aside nor replaced")
        sheets.add_sheet_decision(
            connection, photo_id, page, kind, by=by, reason=checked_reason(reason)
        )


def _what(photo_id: int, page: int | None) -> str:
    return neutral_name(photo_id) if page is None else f"this sheet of {neutral_name(photo_id)}"


def _pages_of(connection: Connection, photo_id: int) -> list[int]:
    p, s = schema.photos.c, schema.page_instances.c
    if connection.scalar(select(p.id).where(p.id == photo_id)) is None:
        raise UsageError(f"there is no {neutral_name(photo_id)} in the record")
    return list(connection.scalars(select(s.id).where(s.photo_id == photo_id)))


def checked_reason(text: str) -> str:
    """A reason as it is kept; raises :class:`UsageError` for one that is too long."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(text) > LONGEST_REASON:
        raise UsageError(f"a reason has at most {LONGEST_REASON} signs, this has {len(text)}")
    return text


def correct(
    record: Record,
    changes: Sequence[FieldAnswer],
    places: Mapping[int, Mapping[str, str]] | None = None,
    *,
    by: str,
    reason: str = "",
) -> None:
    """Keep what fields and sheets say according to a person: one answer, whole or not at all.

    ``places`` says of page instances which ``"site"`` or ``"date"`` (ISO 8601) is theirs; rows,
    states and conflicts follow. Raises :class:`UsageError` for a value that can't be one, a site
    that is not on the list, and a sheet that is not there.
    """
    reason = checked_reason(reason)
    visits = record.state() if places else []
    with record.writing() as connection:
        moves: list[FieldAnswer] = []
        for page, place in (places or {}).items():
            for kind, value in place.items():
                moves += _move(connection, record, visits, page, kind, value, by, reason)
        answering.add_answer(connection, record.study, [*moves, *changes], by, reason)


def move(
    record: Record,
    page_instance_id: int,
    *,
    site: str | None = None,
    visit_date: str | None = None,
    by: str,
    reason: str = "",
) -> None:
    """This sheet has another site or visit date (ISO 8601), or both: see :func:`correct`."""
    place = {"site": site, "date": visit_date}
    said = {kind: value for kind, value in place.items() if value is not None}
    correct(record, (), {page_instance_id: said}, by=by, reason=reason)


def _move(
    connection: Connection,
    record: Record,
    visits: Sequence[VisitState],
    page: int,
    kind: str,
    value: str,
    by: str,
    reason: str,
) -> list[FieldAnswer]:
    """The answer about the field of the page where it has one, else a decision about the page."""
    study = record.study
    name = next(h.name for h in study.header if h.kind == kind)
    value = deciding.checked_value(study, name, value)
    r, k, s = schema.readings.c, schema.reading_runs.c, schema.page_instances.c
    run = connection.scalar(select(func.max(k.id)).where(k.page_instance_id == page))
    if run is None:
        raise UsageError(f"there is no sheet {page} in the record")
    reading = connection.scalar(select(r.id).where(r.run_id == run, r.field == name))
    if reading is not None:
        return [FieldAnswer(int(reading), Value(value))]
    photo_id = connection.scalar(select(s.photo_id).where(s.id == page))
    assert photo_id is not None
    if kind == "site":
        keep_site_label(connection, study, value)
    sheets.add_sheet_decision(
        connection,
        int(photo_id),
        page,
        "site" if kind == "site" else "date",
        by=by,
        reason=reason,
        value=value,
        was=_place_now(visits, page)[kind == "date"] or None,
    )
    return []


def _place_now(visits: Sequence[VisitState], page: int) -> tuple[str, str]:
    """Site and date of a page as they stand, "" for what waits or for a page set aside."""
    return next(
        (seen.place for v in visits for seen in v.pages if seen.page_instance_id == page), ("", "")
    )


def rivals_of(field: FieldState, visit: VisitState, value: str | None) -> tuple[Rival, ...]:
    """The values of the same field in other photos of the visit that ``value`` contradicts: what
    someone who decides with the whole visit before her has been told of.
    """
    others = [
        f
        for f in visit.fields
        if f.reading.field == field.reading.field and f.observation != field.observation
    ]
    return tuple(
        Rival(f.observation.page_instance_id, said)
        for f in others
        for said in dict.fromkeys((f.value, f.reading.value))
        if said != value
    )
