"""The life of each value of a visit: every reading and every decision, in order."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, select

from sheet_reader.reasons import Code, Reasons, because, from_json
from sheet_reader.record.history import sheets
from sheet_reader.record.history.meaning_answers import load_meanings
from sheet_reader.record.history.merging import surely_read
from sheet_reader.record.history.photo_fates import became
from sheet_reader.record.history.states import TYPED, PageObservation, VisitState
from sheet_reader.record.store import schema
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

WHAT = {
    "accept": "accepted as read",
    "value": "corrected",
    "typed": "typed in",
    "empty": "left empty",
    "unreadable": "can't be read",
    sheets.UNDO: "taken back",
}

Place = tuple[int, int, int]
"""Place in the sequence of all runs and decisions: the run before, the decision before or itself,
the decision about a sheet (or 0).
"""
SHEET = "sheet"
"""Stands for a field in what is said of a sheet as a whole."""
WHAT_OF_SHEETS = {
    sheets.ASIDE: "set aside",
    sheets.BACK: "counts again",
    sheets.SITE: "corrected",
    sheets.DATE: "corrected",
    sheets.WITHDRAWN: "taken back: not where a person pointed",
    sheets.UNDO: "taken back",
}


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One event in the life of a value: read, or decided by a person.

    ``what`` is "read" or "decoded anew" with the status, or as in :data:`WHAT`; ``was`` what it
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
class Event:
    """An entry with its place, page instance, the decision it is (or 0) and the one it undoes."""

    place: Place
    page: int
    entry: HistoryEntry
    decision: int = 0
    undoes: int = 0

    def of_sheet(self, seen: PageObservation, what: str) -> HistoryEntry:
        """An entry about the sheet as a whole, by whom and when this was."""
        return replace(
            self.entry, field=SHEET, what=what, value=None, is_current=False, confidence=None,
            reasons=(), photo=seen.photo, page=seen.page,
        )  # fmt: skip


def of_visit(
    connection: Connection,
    visits: Sequence[VisitState],
    aside: Sequence[VisitState],
    study: Study,
    site: str,
    visit_date: str,
) -> list[HistoryEntry]:
    """Every event of the visit's sheets, then of its fields in the study's order, oldest first.

    ``aside`` are the visits of sheets that were set aside. The order is that of the record,
    whatever the clock said. A sheet that was read as of this visit and counts elsewhere now is
    told in one entry.
    """
    here = [v for v in (*visits, *aside) if (v.site, v.visit_date) == (site, visit_date)]
    meanings = load_meanings(connection, study)
    events = [
        replace(e, entry=replace(e.entry, field=meanings.field(e.entry.field, e.page)))
        for visit in here
        for e in _events(connection, study, visit)
    ]
    events = _with_values_before(events)
    events += [e for visit in here for e in _not_serving(study, visit, events)]
    order = {s.name: n for n, s in enumerate(study.fields)} | {SHEET: -1}
    last = len(order)
    events.sort(key=lambda e: (order.get(e.entry.field, last), e.entry.field, e.place))
    moved = [
        _moved(study, visit, page, _events(connection, study, visit))
        for visit in visits if visit not in here
        for page in visit.pages if as_read(page) == (site, visit_date)
    ]  # fmt: skip
    return [*moved, *(event.entry for event in events)]


def _not_serving(study: Study, visit: VisitState, events: Sequence[Event]) -> list[Event]:
    """For each page of the visit whose values another photo's replaced: that, by whom, and when."""
    found = []
    for seen in visit.pages:
        fate, page = became(study, visit, seen.page_instance_id), seen.page_instance_id
        by = fate.decision.decision_id if fate.decision else 0
        about = [
            e for e in events if (e.decision == by if by else e.page == page and not e.decision)
        ]
        if fate.instead and about:
            last = max(about, key=lambda e: e.place)
            entry = replace(last.of_sheet(seen, fate.words), was=None, layout=seen.layout)
            found.append(Event(last.place, page, entry))
    return found


def as_read(seen: PageObservation) -> tuple[str, str]:
    """Site and date of a page as they are printed or were read last, "" for what was not."""
    return (seen.sheet if seen.sheet != BLANK else seen.site) or "", seen.visit_date or ""


def _moved(
    study: Study, visit: VisitState, seen: PageObservation, events: Sequence[Event]
) -> HistoryEntry:
    by_hand = [
        e for e in events
        if e.page == seen.page_instance_id and e.decision and e.entry.field in study.keys
    ]  # fmt: skip
    last = max(by_hand or events, key=lambda e: e.place)
    to = f"site {visit.site or '?'}, {visit.visit_date or '?'}"
    return last.of_sheet(seen, f"counts for {to}")


def _events(connection: Connection, study: Study, visit: VisitState) -> list[Event]:
    serving = [e for e in visit.fields if e.is_current and e.status != "flagged"]
    reads = {
        surely_read(e.reading) if e.status == "doubted" else e.reading_id
        for e in serving
        if not e.decision
    }
    decisions = {e.decision.decision_id for e in serving if e.decision}
    pages = {seen.page_instance_id: seen for seen in visit.pages}
    return [
        *_read(connection, pages.keys(), reads),
        *_decided(connection, pages.keys(), decisions),
        *_of_sheets(connection, study, pages),
    ]


def _with_values_before(events: Sequence[Event]) -> list[Event]:
    """Each event with what its field said on its page before; one taken back with what it says."""
    now: dict[tuple[int, str], str | None] = {}
    before: dict[int, str | None] = {}
    found = []
    for event in sorted(events, key=lambda e: e.place):
        key, entry = (event.page, event.entry.field), event.entry
        if event.decision and not entry.was:
            entry = replace(entry, was=now.get(key))
            if event.undoes:
                entry = replace(entry, value=before.get(event.undoes))
            before[event.decision] = entry.was
        now[key] = entry.value
        found.append(replace(event, entry=entry))
    return found


def _of_sheets(
    connection: Connection, study: Study, pages: Mapping[int, PageObservation]
) -> list[Event]:
    c, s = schema.sheet_decisions.c, schema.page_instances.c
    names = dict(zip((sheets.SITE, sheets.DATE), study.keys, strict=True))
    query = (
        select(schema.sheet_decisions, s.id.label("page"))
        .join_from(schema.sheet_decisions, schema.page_instances, s.photo_id == c.photo_id)
        .where(s.id.in_(pages), (c.page_instance_id == s.id) | c.page_instance_id.is_(None))
        .order_by(c.id)
    )
    rows = connection.execute(query).all()
    kinds = {row.id: row.kind for row in rows}
    undone = {row.undoes for row in rows}
    last = {(row.page, row.kind): row.id for row in rows if row.id not in undone}
    found = []
    for row in rows:
        kind, seen = kinds.get(row.undoes, row.kind), pages[row.page]
        entry = HistoryEntry(
            row.at, names.get(kind, SHEET), WHAT_OF_SHEETS[row.kind], row.value, row.by, seen.photo,
            seen.page, seen.layout, model="", confidence=None, reasons=(),
            is_current=kind in names and last.get((row.page, row.kind)) == row.id,
            was=row.was, why=row.reason,
        )  # fmt: skip
        found.append(Event((row.runs_before, row.decisions_before, row.id), row.page, entry))
    return found


def _read(connection: Connection, pages: Collection[int], serving: Collection[int]) -> list[Event]:
    r, k, s = schema.readings.c, schema.reading_runs.c, schema.page_instances.c
    query = (
        select(
            s.id.label("page_id"), s.photo_id, s.page, s.layout, k.id.label("run"), k.at, k.program,
            k.model, k.decoded_from, r.id, r.field, r.value, r.confidence, r.status, r.reasons,
        )
        .join_from(schema.readings, schema.reading_runs, k.id == r.run_id)
        .join(schema.page_instances, s.id == k.page_instance_id)
        .where(s.id.in_(pages), s.layout != TYPED)
    )  # fmt: skip
    found = []
    for row in connection.execute(query):
        what = f"{'read' if row.decoded_from is None else 'decoded anew'}, {row.status}"
        entry = HistoryEntry(
            row.at, row.field, what, row.value, f"sheet_reader {row.program}",
            neutral_name(row.photo_id), row.page, row.layout, row.model, row.confidence,
            from_json(row.reasons), is_current=row.id in serving,
        )  # fmt: skip
        found.append(Event((row.run, 0, 0), row.page_id, entry))
    return found


def _decided(
    connection: Connection, pages: Collection[int], serving: Collection[int]
) -> list[Event]:
    d, k, r = schema.decisions.c, schema.reading_runs.c, schema.readings.c
    s = schema.page_instances.c
    query = (
        select(
            s.id.label("page_id"), s.photo_id, s.page, s.layout, k.model, d.id, d.runs_before, d.at,
            d.field, d.kind, d.value, d.by, d.blind, d.reason, d.undoes,
        )
        .join_from(schema.decisions, schema.page_instances, s.id == d.page_instance_id)
        .join(schema.readings, r.id == d.reading_id)
        .join(schema.reading_runs, k.id == r.run_id)
        .where(s.id.in_(pages))
        .order_by(d.id)
    )  # fmt: skip
    found = []
    for row in connection.execute(query):
        entry = HistoryEntry(
            row.at, row.field, WHAT[row.kind], row.value, row.by, neutral_name(row.photo_id),
            row.page, row.layout, row.model, confidence=None,
            reasons=(because(Code.KEYED_BLIND),) if row.blind else (),
            is_current=row.id in serving, why=row.reason or "",
        )  # fmt: skip
        place = row.runs_before, row.id, 0
        found.append(Event(place, row.page_id, entry, row.id, row.undoes or 0))
    return found
