"""Every photo with its fate, and which photo a person means."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Literal, get_args

from sqlalchemy import Connection, select

from sheet_reader.errors import UsageError
from sheet_reader.reasons import Reasons, from_json
from sheet_reader.record.history.naming import both_names, neutral_name
from sheet_reader.record.history.serving import Became, became
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.typed import TYPED
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record

Fate = Literal[
    "read", "read in part", "replaced", "repeated", "without a place", "waiting", "not readable",
    "typed in", "set aside", "check",
]  # fmt: skip
FATES: tuple[Fate, ...] = get_args(Fate)
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class PhotoSheet:
    """A sheet in a photo: where it counts ("" while that waits), how many fields wait, and what
    became of its values.
    """

    page_instance_id: int
    site: str
    visit_date: str
    waiting: int
    became: Became
    aside: bool = False


@dataclass(frozen=True, slots=True)
class PhotoFate:
    """A photo, when it came, how ("folder", "mail", "mailbox", "typed"), and what became of it.

    ``name`` is its file's (it may name a person), ``why`` the reason a person gave for setting it
    aside.
    """

    photo_id: int
    name: str
    received_at: str
    way: str
    fate: Fate
    reasons: Reasons
    why: str
    sheets: tuple[PhotoSheet, ...]

    @property
    def neutral_name(self) -> str:
        """The name under which it stands in everything that leaves the record."""
        return neutral_name(self.photo_id)

    @property
    def waiting(self) -> int:
        """How many fields wait for a person."""
        return sum(sheet.waiting for sheet in self.sheets)


def photo_fates(record: Record) -> list[PhotoFate]:
    """Every photo of the record, also typed sheets without one, oldest first."""
    found = _sheets(record)
    p, o = schema.photos.c, schema.origins.c
    columns = (p.id, p.name, p.received_at, p.status, p.reasons)
    with record.reading() as connection:
        now = standing(connection)
        ways: dict[int, str] = {}
        for photo_id, way in connection.execute(select(o.photo_id, o.way).order_by(o.id)):
            ways.setdefault(photo_id, way)
        rows = connection.execute(select(*columns).order_by(p.id)).all()
        typed = _typed_on(connection)
    fates = []
    for row in rows:
        sheets = tuple(found[row.id])
        reasons = from_json(row.reasons)
        if row.status == TYPED and not sheets:  # every answer was taken back
            continue
        gone = bool(sheets) and all(s.aside for s in sheets)
        aside = now.photos_aside.get(row.id)
        fate = _fate(row.status, reasons, sheets, aside=gone or (aside is not None and not sheets),
                     typed=row.id in typed and bool(sheets))  # fmt: skip
        way = TYPED if row.status == TYPED else ways.get(row.id, "")
        why = aside.reason if aside else ""
        fates.append(PhotoFate(row.id, row.name, row.received_at, way, fate, reasons, why, sheets))
    return fates


def _typed_on(connection: Connection) -> set[int]:
    s = schema.page_instances.c
    return set(connection.scalars(select(s.photo_id).where(s.layout == TYPED)))


def _fate(
    status: str, reasons: Reasons, sheets: Sequence[PhotoSheet], *, aside: bool, typed: bool
) -> Fate:
    if aside:
        return "set aside"
    if status == TYPED or (typed and status != "read"):
        return "typed in"
    if status == "read":
        counting = [sheet.became.what for sheet in sheets if not sheet.aside]
        if counting and "read" not in counting:
            return counting[0]
        return "read in part" if reasons else "read"
    if status == "waiting":
        return "waiting"
    return "not readable" if reasons else "check"


def _sheets(record: Record) -> dict[int, list[PhotoSheet]]:
    """The sheets in each photo, in the order in which they were found."""
    found: dict[int, list[PhotoSheet]] = defaultdict(list)
    for aside in (False, True):
        for visit in record.state_aside() if aside else record.state():
            for seen in visit.pages:
                own = [f for f in visit.fields if f.observation == seen]
                page = seen.page_instance_id
                fate = became(record.study, visit, page)
                waiting = 0 if aside else sum(f.needs_review for f in own)
                found[seen.photo_id].append(
                    PhotoSheet(page, visit.site, visit.visit_date, waiting, fate, aside)
                )
    for sheets in found.values():
        sheets.sort(key=lambda sheet: sheet.page_instance_id)
    return found


def photo_meant(record: Record, text: str) -> PhotoFate:
    """The photo that a person names: ``photo-0027``, or the name of its file.

    Raises :class:`UsageError` where there is none, or where several bear this name.
    """
    fates = photo_fates(record)
    name = PurePath(text.strip()).name or text
    for fate in fates:
        if name.lower() in (fate.neutral_name, f"{fate.neutral_name}.jpg"):
            return fate
    o = schema.origins.c
    with record.reading() as connection:
        rows = connection.execute(select(o.photo_id, o.file_name)).all()
    sent = {row.photo_id for row in rows if row.file_name.lower() == name.lower()}
    meant = [f for f in fates if f.name.lower() == name.lower() or f.photo_id in sent]
    if len(meant) == 1:
        return meant[0]
    if not meant:
        raise UsageError(
            f"there is no photo “{name[:80]}” in the record", remedy="see: sheet-reader photos"
        )
    shown = ", ".join(both_names(f.photo_id, f.name) for f in meant[:MOST_NAMED])
    raise UsageError(f"{len(meant)} photos are called “{name[:80]}”: {shown}",
                     remedy="name one by its number, as photo-0027")  # fmt: skip


def sheet_meant(fate: PhotoFate, number: int | None) -> PhotoSheet:
    """The sheet of this number (from 1) in a photo; the only one where there is one.

    Raises :class:`UsageError` where there is none, or several and no number.
    """
    sheets = fate.sheets
    if not sheets:
        raise UsageError(
            f"{fate.neutral_name} gave no sheet", remedy="type its numbers in: sheet-reader enter"
        )
    if number is None and len(sheets) == 1:
        return sheets[0]
    if number is None or not 1 <= number <= len(sheets):
        shown = "; ".join(
            f"{n}: site {s.site or '?'}, {s.visit_date or '?'}"
            for n, s in enumerate(sheets[:MOST_NAMED], 1)
        )
        more = "; …" if len(sheets) > MOST_NAMED else ""
        raise UsageError(
            f"{fate.neutral_name} shows {len(sheets)} sheets ({shown}{more})",
            remedy="choose one with --sheet",
        )
    return sheets[number - 1]
