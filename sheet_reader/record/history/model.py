"""Values that go into and come out of the record."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from sheet_reader.decode.pages import FieldReading
from sheet_reader.reasons import Reason, Reasons

Status = Literal[
    "accepted", "doubted", "flagged", "confirmed", "corrected", "typed", "empty", "unreadable"
]
"""``doubted``: it held, and something learnt later speaks against it; it counts until a person
answers.
"""
PhotoStatus = Literal["waiting", "read", "no sheet", "failed", "stopped"]


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
class Unreadable:
    """Something is written, but nobody can tell what."""


Answer = Accept | Value | LeftEmpty | Unreadable


@dataclass(frozen=True, slots=True)
class Rival:
    """The value of the same field on another page (in another photo) of the visit; None: empty."""

    page_instance_id: int
    value: str | None


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One visit: all its pages merged. ``values`` holds every field of the study that was printed
    on the pages received; None means not recorded, unreadable or still waiting (see
    ``statuses``). A page whose site or date waits is a visit of its own with "" for it.
    """

    site: str
    visit_date: str
    pages: tuple[int, ...]
    photos: tuple[str, ...]
    values: dict[str, str | None]
    statuses: dict[str, Status]
    waiting: int
    advice: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The confidence (0..1) from which a field counts as accepted today: ``counts``, and ``keys``
    for a site or date. 0 takes what was accepted as it is.
    """

    counts: float = 0.0
    keys: float = 0.0


@dataclass(frozen=True, slots=True)
class AuditedField:
    """An accepted field that an audit drew: whether it was ``right``, the ``confidence`` and
    ``threshold`` under which it was accepted, and its ``site`` and ``visit_date`` as they stand now
    ("" where the page is in no visit).
    """

    right: bool
    confidence: float
    site: str
    visit_date: str
    threshold: float


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One event in the life of a value: read, or decided by a person.

    ``what`` is "read" or "decoded anew" with the status, or as in :mod:`.history`; ``was`` what it
    said before, ``why`` the reason given; ``at`` UTC; ``by`` the person, or the program.
    """

    at: str
    field: str
    what: str
    value: str | None
    by: str
    photo: str
    page: int
    layout: str
    model: str
    confidence: float | None
    reasons: Reasons
    is_current: bool = False
    was: str | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Summary:
    """How the record stands: photos by status, fields by status, visits, and what waits."""

    photos: dict[str, int]
    fields: dict[str, int]
    pages: int
    visits: int
    waiting: int


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """One photo and its fate, for messages; ``received_at`` as :func:`now` writes it."""

    photo_id: int
    name: str
    status: PhotoStatus
    reasons: Reasons = ()
    received_at: str = ""


@dataclass(frozen=True, slots=True)
class FoundPage:
    """A page as it goes into the record. ``outline`` are its corners in the picture in px;
    ``evidence`` is what it was decoded from, packed, and ``decoded_under`` names the rules.
    ``wording`` is what its names mean (as text, see :mod:`sheet_reader.study.former`), and
    ``site_label`` what its site is called; None where that is not known.
    """

    frame: int
    study: str
    layout: str
    sheet: str
    page: int
    identified_by: str
    px_per_mm: float
    blur_mm: float
    contrast: float
    hidden_boxes: int
    glare_share: float
    advice: str
    site: str | None
    visit_date: str | None
    outline: tuple[tuple[float, float], ...]
    wording: str
    fields: tuple[FoundField, ...] = ()
    threshold: float = 0.0
    evidence: bytes | None = None
    decoded_under: str | None = None
    site_label: str | None = None


@dataclass(frozen=True, slots=True)
class FoundField:
    """A reading as it goes into the record. ``boxes_png`` holds its crops side by side as one grey
    PNG, ``corners`` per box its four corners in the picture in px, ``context_png`` may be b"".
    """

    reading: FieldReading
    boxes_png: bytes
    context_png: bytes
    corners: tuple[tuple[tuple[float, float], ...], ...] = ()


@dataclass(frozen=True, slots=True)
class PhotoResult:
    """Everything one photo gave: pages, and a reason for each part of it that gave none.

    ``unforeseen`` says how the reader itself failed, "" where it did not. ``notes`` are told and
    not kept: what a page that checks the print has shown.
    """

    pages: tuple[FoundPage, ...]
    failures: Reasons = ()
    status: PhotoStatus = "read"
    unforeseen: str = ""
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchSummary:
    """What one call of read_batch did.

    Each thing that arrived is one of these: a new photo (``arrived``), ``known`` from before,
    ``refused`` (no picture) or ``left_out`` (drawn by this program). Of the new photos ``new_read``
    and ``new_failed`` were read and not readable, ``new_checks`` show a print check; ``read`` and
    ``failed`` also count photos that earlier runs took in, ``failed`` the refused things too.
    ``photo_ids`` are the photos looked at, ``decoded`` is how many known pages were decoded anew
    without their photos.
    ``lines`` has one line per thing that failed, and one per thing worth telling; ``seconds`` is
    the time spent reading. ``fault`` says what is wrong with the installation where no photo could
    be read for that reason: then all of them wait.
    """

    arrived: int = 0
    known: int = 0
    refused: int = 0
    left_out: int = 0
    new_read: int = 0
    new_failed: int = 0
    new_checks: int = 0
    read: int = 0
    failed: int = 0
    pages: int = 0
    accepted: int = 0
    flagged: int = 0
    empty: int = 0
    left_to_another: int = 0
    decoded: int = 0
    seconds: float = 0.0
    lines: tuple[str, ...] = field(default=())
    photo_ids: tuple[int, ...] = ()
    fault: str = ""


def now() -> str:
    """The time now in UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")
