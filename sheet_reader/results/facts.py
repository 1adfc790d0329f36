"""The record as plain facts, and which of their values count, for tables, status and letters alike.

Results know only here how the record is made; all else in this room works on :class:`Facts`, so
that it can be tried on made-up seasons.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sheet_reader.reasons import Reasons
from sheet_reader.record.history.answers import PhotoAsked
from sheet_reader.record.history.identity import identified
from sheet_reader.record.history.meaning import Earlier
from sheet_reader.record.history.meaning_answers import load_meanings
from sheet_reader.record.history.states import RECORDED, FieldState
from sheet_reader.record.originals.verify import must_be_sound
from sheet_reader.record.people.remarks import remarks_of, senders
from sheet_reader.record.store.store import Record
from sheet_reader.results.contacts import names_in, told_without_people
from sheet_reader.sheet.layout import page_count
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

STATUSES = {
    "accepted": "read with enough certainty and taken without asking",
    "doubted": "it counts, but something learnt later speaks against it: a person is asked",
    "flagged": "waits for a person; the value in readings is a guess and counts nowhere",
    "confirmed": "a person looked at it, and it was read rightly",
    "corrected": "a person gave another value than was read",
    "typed": "typed in by hand from a sheet that was not read",
    "empty": "nothing is written in it: not recorded, which is not 0",
    "unreadable": "something is written, but nobody can tell what",
}
"""What each status of a field means."""
WAITING = "flagged"
"""The status under which a value waits for a person."""
NOT_RECEIVED, EMPTY, UNREADABLE, WAITS = "not received", "not recorded", "not readable", "waits"
"""Why a cell holds no value: its page did not come in, nothing is written in it, nobody can read
it, or a person has yet to decide."""


@dataclass(frozen=True, slots=True)
class FieldFact:
    """A field in a photo as it stands. ``value`` is the decided value where a person ``decided``,
    else the value read; ``read_as`` is what was read. ``is_current``: it is the visit's own;
    ``needs_review``: a person is asked about it. ``pdf_page`` counts from 1. ``status`` is one of
    :data:`STATUSES`. ``photo_asked``: it lies outside the picture, and another photo is asked for.
    ``modified`` is when it last changed in the visit, in its value or its place (UTC, ISO 8601).
    ``on_sheet`` is the field's name on its sheet, whatever it is called now.
    """

    reading_id: int
    page_instance_id: int
    photo_id: int
    photo: str
    pdf_page: int
    sheet: str
    page: int
    field: str
    value: str | None
    read_as: str | None
    confidence: float
    status: str
    reasons: Reasons = ()
    runner_up: str | None = None
    runner_up_confidence: float = 0.0
    decided: bool = False
    is_current: bool = True
    needs_review: bool = False
    photo_asked: bool = False
    modified: str = ""
    on_sheet: str = ""


@dataclass(frozen=True, slots=True)
class VisitFact:
    """A visit: ``site`` and ``visit_date`` ("" while they wait), the numbers of the pages that came
    in, the photos, all fields of all photos, advice on photos that were hard to read, remarks, and
    its ``identity`` (see :mod:`sheet_reader.record.history.identity`).
    """

    site: str
    visit_date: str
    pages: tuple[int, ...]
    photos: tuple[str, ...]
    fields: tuple[FieldFact, ...]
    advice: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    identity: str = ""

    @property
    def current(self) -> dict[str, FieldFact]:
        """The fields that hold for the visit, by name."""
        return {f.field: f for f in self.fields if f.is_current}

    @property
    def pages_asked(self) -> list[int]:
        """The pages of which a part is in no photo and another photo is asked for."""
        return sorted({fact.page for fact in self.current.values() if fact.photo_asked})

    @property
    def lacking(self) -> bool:
        """Whether a field waits for a person and counts nowhere until she answers."""
        current = self.current
        asked = {f.field for f in self.fields if f.needs_review}
        return any(name not in current or current[name].status != "doubted" for name in asked)

    @property
    def waiting(self) -> int:
        """How many fields wait for a person."""
        return len({f.field for f in self.fields if f.needs_review})


@dataclass(frozen=True, slots=True)
class PhotoFact:
    """A photo and its fate. ``senders`` are those who sent it (addresses, never to be exported);
    ``status`` is waiting, read, no sheet, failed or stopped; ``received_at`` is UTC, ISO 8601.
    """

    photo_id: int
    photo: str
    status: str
    reasons: Reasons
    senders: tuple[str, ...] = ()
    received_at: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """All that results need. ``pages_of`` is the number of pages of the study's sheet, ``earlier``
    what was said of words that changed.
    """

    visits: tuple[VisitFact, ...]
    photos: tuple[PhotoFact, ...] = ()
    pages_of: int = 1
    earlier: tuple[Earlier, ...] = ()


def facts_of(record: Record) -> Facts:
    """Everything that the record holds now. Raises :class:`RecordError` for a damaged record."""
    must_be_sound(record)
    contacts = names_in(site.contact for site in record.study.sites)
    remarks, by_photo = remarks_of(record, of_mail=False), senders(record)
    visits = []
    state = record.state()
    for visit, known in zip(state, identified(record, state), strict=True):
        pages = [page.page_instance_id for page in visit.pages]
        said = remarks.on((visit.site, visit.visit_date), pages)
        hers = names_in(who for page in visit.pages for who in by_photo.get(page.photo_id, ()))
        visits.append(
            VisitFact(
                site=visit.site,
                visit_date=visit.visit_date,
                pages=tuple(sorted({page.page for page in visit.pages})),
                photos=tuple(dict.fromkeys(page.photo for page in visit.pages)),
                fields=tuple(_field(field, known.modified) for field in visit.fields),
                advice=tuple(dict.fromkeys(page.advice for page in visit.pages if page.advice)),
                remarks=tuple(told_without_people(remark, contacts, hers) for remark in said),
                identity=known.identity,
            )
        )
    photos = tuple(
        PhotoFact(
            line.photo_id, neutral_name(line.photo_id), line.status, line.reasons,
            by_photo.get(line.photo_id, ()), line.received_at,
        )
        for line in record.photos()
    )  # fmt: skip
    with record.reading() as connection:
        earlier = load_meanings(connection, record.study).earlier()
    return Facts(tuple(visits), photos, page_count(record.study), tuple(earlier))


def _field(state: FieldState, modified: Mapping[str, str]) -> FieldFact:
    seen, read = state.observation, state.reading
    return FieldFact(
        reading_id=read.reading_id, page_instance_id=seen.page_instance_id, photo_id=seen.photo_id,
        photo=seen.photo, pdf_page=seen.frame + 1, sheet=seen.sheet, page=seen.page,
        field=read.field, value=state.value, read_as=read.value, confidence=read.confidence,
        status=state.status, reasons=state.reasons, runner_up=read.runner_up,
        runner_up_confidence=read.runner_up_confidence, decided=state.decision is not None,
        is_current=state.is_current, needs_review=state.needs_review,
        photo_asked=state.decision is not None and PhotoAsked() in state.decision.told,
        modified=modified[read.field], on_sheet=read.on_sheet or read.field,
    )  # fmt: skip


def file_names_of(record: Record) -> dict[int, str]:
    """The photos' own file names by number: for her eyes only, they may name people."""
    return {line.photo_id: line.name for line in record.photos()}


def in_order(visits: Iterable[VisitFact]) -> list[VisitFact]:
    """By site and date; visits whose site or date is not settled come last."""
    return sorted(
        visits, key=lambda v: (not v.site, not v.visit_date, v.site, v.visit_date, v.photos)
    )


def counted(value: FieldFact | None) -> str | None:
    """The value of a field if it counts."""
    return value.value if value is not None and value.status in RECORDED else None


def number_of(value: FieldFact | None) -> int | None:
    """The number that a field says, if it counts and is one."""
    text = counted(value) or ""
    return int(text) if text.isdecimal() else None


def why_missing(found: FieldFact | None) -> str:
    """Why a number has no value, "" where it has one."""
    if found is None:
        return NOT_RECEIVED
    return "" if number_of(found) is not None else why_no_value(found.status)


def why_no_value(status: str) -> str:
    """Why a field of this status has no value."""
    return {"flagged": WAITS, "unreadable": UNREADABLE}.get(status, EMPTY)


def efforts(study: Study, fields: dict[str, FieldFact]) -> dict[str, int | None]:
    """The effort of each plot of a visit, None where none is recorded."""
    field = study.effort.field if study.effort else ""
    of_plot = any(count.name == field for count in study.counts)
    return {
        plot.name: number_of(fields.get(f"{plot.name}.{field}" if of_plot else field))
        for plot in study.plots
    }
