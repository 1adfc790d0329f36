"""Putting right what stands in the record: values, the place of a sheet, what counts at all.

Nothing is changed or removed: each is a decision of a person with its reason, which history shows
with the value before and after, and which can be undone. Each is kept whole, on the disk, when the
function returns, or not at all.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, select

from sheet_reader.errors import UsageError
from sheet_reader.record.history import deciding, sheets
from sheet_reader.record.history.answers import (
    FieldAnswer,
    PlaceKind,
    SheetAnswer,
    place_answer,
)
from sheet_reader.record.history.photo_fates import became
from sheet_reader.record.history.states import VisitState
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name


def set_aside(
    record: Record, photo_id: int, page_instance_id: int | None = None, *, by: str, reason: str = ""
) -> None:
    """Let a photo, or one sheet in it, count nowhere; it stays in the record.

    Raises :class:`UsageError` where there is no such photo or sheet, or it is set aside already.
    """
    with record.writing() as connection:
        about, aside, whole = _standing(connection, photo_id, page_instance_id)
        if len(aside) == len(about) if about else whole:
            raise UsageError(f"{_what(photo_id, page_instance_id)} is set aside already")
        one = SheetAnswer(photo_id, page_instance_id, "aside")
        deciding.add_answer(connection, record.study, [one], by, reason)


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
    with record.writing() as connection:
        for decision in replaced:
            answer = deciding.answer_with(connection, decision.decision_id)
            deciding.take_back(connection, answer, by, reason)
        if replaced:
            return True
        _, aside, whole = _standing(connection, photo_id, page_instance_id)
        if not aside and not (whole and page_instance_id is None):
            what = _what(photo_id, page_instance_id)
            raise UsageError(f"{what} is neither set aside nor replaced")
        one = SheetAnswer(photo_id, page_instance_id, "back")
        deciding.add_answer(connection, record.study, [one], by, reason)
    return False


def _standing(
    connection: Connection, photo_id: int, page: int | None
) -> tuple[list[int], list[int], bool]:
    """The sheets that are meant, those of them that are set aside, and whether the photo is."""
    must_have_photo(connection, photo_id)
    s = schema.page_instances.c
    pages = list(connection.scalars(select(s.id).where(s.photo_id == photo_id)))
    if page is not None and page not in pages:
        raise UsageError(f"{neutral_name(photo_id)} has no sheet {page}")
    now = sheets.standing(connection)
    about = pages if page is None else [page]
    return about, [p for p in about if p in now.aside], photo_id in now.photos_aside


def _what(photo_id: int, page: int | None) -> str:
    return neutral_name(photo_id) if page is None else f"this sheet of {neutral_name(photo_id)}"


def must_have_photo(connection: Connection, photo_id: int) -> None:
    """Raises :class:`UsageError` where the record has no such photo."""
    p = schema.photos.c
    if connection.scalar(select(p.id).where(p.id == photo_id)) is None:
        raise UsageError(f"there is no {neutral_name(photo_id)} in the record")


def moved(
    study: Study, visits: Iterable[VisitState], page: int, kind: PlaceKind, value: str
) -> FieldAnswer | SheetAnswer:
    """That a page has this ``"site"`` or ``"date"``: said of its field where it has one, else of
    the page. Raises :class:`UsageError` where no visit has the page.
    """
    for visit in visits:
        for seen in visit.pages:
            if seen.page_instance_id != page:
                continue
            own = [e for e in visit.fields if e.page_instance_id == page]
            name, was = (pair[kind == "date"] for pair in (study.keys, seen.place))
            read = (e.reading_id for e in own if e.field == name)
            return place_answer(next(read, None), seen, kind, value, was)
    raise UsageError(f"there is no sheet {page} in the record")
