"""What became of every photo and its sheets, and which photo a person means."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from sqlalchemy import select

from sheet_reader.errors import UsageError
from sheet_reader.record.history.merging import same_as
from sheet_reader.record.history.photos import PhotoLine, both_names, photo_lines
from sheet_reader.record.history.sheets import standing
from sheet_reader.record.history.states import TYPED, Decision, VisitState
from sheet_reader.record.store import schema
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record

Fate = Literal[
    "read", "read in part", "replaced", "repeated", "without a place", "waiting", "not readable",
    "typed in", "set aside", "check",
]  # fmt: skip
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class Became:
    """What became of a page: its values serve or are asked about ("read"), another photo of the
    same sheet serves by a person's ``decision`` ("replaced") or since it says the same
    ("repeated"), or its site or date waits. ``instead`` is the photo that serves, by its neutral
    name.
    """

    what: Literal["read", "replaced", "repeated", "without a place"]
    instead: str = ""
    decision: Decision | None = None

    @property
    def words(self) -> str:
        """The same in words."""
        if not self.instead:
            return self.what
        return f"{'replaced by' if self.what == 'replaced' else 'same as'} {self.instead}"


def became(study: Study, visit: VisitState, page: int) -> Became:
    """What became of the page instance ``page`` of a visit."""
    if not (visit.site and visit.visit_date):
        return Became("without a place")
    fields = [
        e for e in visit.fields
        if (spec := study.spec(e.field)) is not None and not spec.kind.is_key
    ]  # fmt: skip
    own = [e for e in fields if e.page_instance_id == page]
    asked = {rival.page_instance_id for e in fields if e.needs_review for rival in e.rivals}
    if not own or page in asked or any(e.is_current or e.needs_review for e in own):
        return Became("read")
    said = [
        (e.decision.decision_id, e) for e in visit.fields
        if e.decision and e.page_instance_id != page and page in same_as(e.decision)
    ]  # fmt: skip
    if said:
        _, best = max(said, key=lambda one: one[0])
        return Became("replaced", best.photo, best.decision)
    names = {e.field for e in own}
    return Became("repeated", next(e.photo for e in fields if e.is_current and e.field in names))


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


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFate(PhotoLine):
    """A photo, how it came ("folder", "mail", "mailbox", "typed"), and what became of it.

    ``name`` is its file's (it may name a person), ``why`` the reason a person gave for setting it
    aside.
    """

    way: str
    fate: Fate
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
    sheets_in = _sheets(record)
    o, s = schema.origins.c, schema.page_instances.c
    with record.reading() as connection:
        aside = standing(connection).photos_aside
        came = connection.execute(select(o.photo_id, o.way).order_by(o.id.desc()))
        ways = {row.photo_id: row.way for row in came}
        typed = set(connection.scalars(select(s.photo_id).where(s.layout == TYPED)))
        lines = photo_lines(connection)
    fates = []
    for line in lines:
        number, sheets = line.photo_id, tuple(sheets_in[line.photo_id])
        if line.status == TYPED and not sheets:  # every answer was taken back
            continue
        fate: Fate
        if all(sheet.aside for sheet in sheets) if sheets else number in aside:
            fate = "set aside"
        elif line.status == TYPED or (number in typed and sheets and line.status != "read"):
            fate = "typed in"
        elif line.status == "read":
            counting = [sheet.became.what for sheet in sheets if not sheet.aside]
            fate = "read in part" if line.reasons else "read"
            fate = counting[0] if counting and "read" not in counting else fate
        elif line.status == "waiting":
            fate = "waiting"
        else:
            fate = "not readable" if line.reasons else "check"
        way = TYPED if line.status == TYPED else ways.get(number, "")
        why = aside[number].reason if number in aside else ""
        fates.append(PhotoFate(
            number, line.name, line.status, line.reasons, line.received_at,
            way=way, fate=fate, why=why, sheets=sheets,
        ))  # fmt: skip
    return fates


def _sheets(record: Record) -> dict[int, list[PhotoSheet]]:
    """The sheets in each photo, in the order in which they were found."""
    found: defaultdict[int, list[PhotoSheet]] = defaultdict(list)
    for aside in (False, True):
        for visit in record.state_aside() if aside else record.state():
            for seen in visit.pages:
                page = seen.page_instance_id
                waiting = 0 if aside else sum(
                    e.needs_review for e in visit.fields if e.page_instance_id == page
                )  # fmt: skip
                fate = became(record.study, visit, page)
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
