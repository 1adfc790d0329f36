"""The record as plain facts: the only place where results know how the record is made.

All else in this room works on :class:`Facts`, so that it can be tried on made-up seasons.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheet_reader.reasons import Reasons
from sheet_reader.record.history.answers import PhotoAsked
from sheet_reader.record.history.identity import Identified, identified
from sheet_reader.record.history.meaning import Earlier
from sheet_reader.record.history.meaning_answers import load_meanings
from sheet_reader.record.history.states import FieldState, VisitState
from sheet_reader.record.people.drafts import senders
from sheet_reader.record.people.remarks import remarks_of
from sheet_reader.record.store.soundness import must_be_sound
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import page_count
from sheet_reader.wording import neutral_name


@dataclass(frozen=True, slots=True)
class FieldFact:
    """A field in a photo as it stands. ``value`` is the decided value where a person ``decided``,
    else the value read; ``read_as`` is what was read. ``is_current``: it is the visit's own;
    ``needs_review``: a person is asked about it. ``pdf_page`` counts from 1. ``status`` is
    accepted, doubted, flagged, confirmed, corrected, typed, empty or unreadable.
    ``photo_asked``: it lies outside the picture, and another photo is asked for. ``modified`` is
    when it last changed in the visit, in its value or its place (UTC, ISO 8601). ``on_sheet`` is
    the field's name on its sheet, whatever it is called now.
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
        told = tuple(told_without_people(remark, contacts, hers) for remark in said)
        visits.append(_visit(visit, told, known))
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


def _visit(visit: VisitState, remarks: tuple[str, ...], known: Identified) -> VisitFact:
    return VisitFact(
        site=visit.site,
        visit_date=visit.visit_date,
        pages=tuple(sorted({seen.page for seen in visit.pages})),
        photos=tuple(dict.fromkeys(seen.photo for seen in visit.pages)),
        fields=tuple(_field(state, known.modified) for state in visit.fields),
        advice=tuple(dict.fromkeys(seen.advice for seen in visit.pages if seen.advice)),
        remarks=remarks,
        identity=known.identity,
    )


def _field(state: FieldState, modified: Mapping[str, str]) -> FieldFact:
    seen, read = state.observation, state.reading
    return FieldFact(
        reading_id=read.reading_id,
        page_instance_id=seen.page_instance_id,
        photo_id=seen.photo_id,
        photo=seen.photo,
        pdf_page=seen.frame + 1,
        sheet=seen.sheet,
        page=seen.page,
        field=read.field,
        value=state.value,
        read_as=read.value,
        confidence=read.confidence,
        status=state.status,
        reasons=state.reasons,
        runner_up=read.runner_up,
        runner_up_confidence=read.runner_up_confidence,
        decided=state.decision is not None,
        is_current=state.is_current,
        needs_review=state.needs_review,
        photo_asked=state.decision is not None and PhotoAsked() in state.decision.told,
        modified=modified[read.field],
        on_sheet=read.on_sheet or read.field,
    )


_ADDRESS = re.compile(r"\S+@\S+")
_TELEPHONE = re.compile(r"(?<!\w)\+?\d[\d ()/-]{5,}\d(?!\w)")
_DAY = re.compile(r"\d{4}-\d\d?-\d\d?|\d\d?[/-]\d\d?[/-]\d{4}")
SHORTEST_NAME = 3


def names_in(contacts: Iterable[str]) -> frozenset[str]:
    """The words of ``contacts`` that may be names."""
    return frozenset(
        word
        for contact in contacts
        for word in re.findall(r"[^\W\d_]+", _ADDRESS.sub(" ", contact))
        if len(word) >= SHORTEST_NAME
    )


def told_without_people(remark: str, *names: Collection[str]) -> str:
    """A remark on one line without addresses, telephone numbers and words that are ``names``."""
    text = _ADDRESS.sub("…", remark)
    text = _TELEPHONE.sub(lambda m: m.group() if _DAY.fullmatch(m.group()) else "…", text)
    text = re.sub(r"\w+", lambda m: "…" if any(m.group() in n for n in names) else m.group(), text)
    return " ".join(text.split())


def pictures_of(record: Record, reading_id: int) -> tuple[NDArray[np.uint8], bytes]:
    """The boxes of a reading, uint8 (n, 64, 64), and the place around them as PNG or b""."""
    images = record.images(reading_id)
    return images.boxes, images.context_png


def file_names_of(record: Record) -> dict[int, str]:
    """The photos' own file names by number: for her eyes only, they may name people."""
    return {line.photo_id: line.name for line in record.photos()}
