"""What does not fit between the record and the study file of today: refused, or told in a line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import Connection, and_, func, select

from sheet_reader.errors import UsageError
from sheet_reader.numbers import RECORD
from sheet_reader.reasons import Code
from sheet_reader.record.history.loading import LATEST
from sheet_reader.record.history.runs import OF_TIME
from sheet_reader.record.history.states import RECORDED, VisitState
from sheet_reader.record.store import schema
from sheet_reader.record.store.claims import unread
from sheet_reader.sheet.page import BLANK
from sheet_reader.study import days
from sheet_reader.study.kinds import SITE
from sheet_reader.study.reader import STUDY_FILE
from sheet_reader.study.study import FieldSpec, Study
from sheet_reader.wording import counted, some_of

SAME_TIME = timedelta(hours=1)
"""By so much the clocks of two machines may differ."""
WHY = {
    Code.PHOTOS_DIFFER: "contradicted by another photo",
    Code.DECISION_DIFFERS: "contradicted by another photo",
    Code.WAS_SURE: "read otherwise now",
    Code.SUM_OFF: "in a sum that does not fit",
    Code.PARTS_EXCEED: "in a sum that does not fit",
    Code.ABOVE_RANGE: "outside the range of study.toml",
    Code.BELOW_RANGE: "outside the range of study.toml",
    Code.NOT_EXPECTED: "outside the range of study.toml",
    Code.STRICTER: "not certain enough for allowed_error",
    Code.HISTORY_DIFFERS: "unlike the site's other counts",
}
"""Why a value is doubted."""
LESS_CERTAIN = "less certain now"


def refuse_another_study(connection: Connection, study: Study) -> None:
    """Raise :class:`UsageError` where the record's pages are all of another study, or have their
    site and date under other names: going on would lose or misplace them without a word.
    """
    s = schema.page_instances.c
    keys = [str(key) for key in connection.scalars(select(s.study).distinct().order_by(s.study))]
    if keys and study.key not in keys:
        raise UsageError(
            f"the record holds pages of the study “{'”, “'.join(keys)}”, but this file says "
            f"key = “{study.key}”",
            where=study.folder / STUDY_FILE,
            remedy=f"set key = “{keys[0]}” again, or start the new study in a folder of its own",
        )
    for field in study.header:
        if field.kind.is_key and _is_elsewhere(connection, study, field):
            raise UsageError(
                f"no {field.kind.name} field of the sheets read so far is called “{field.name}”, "
                "as this file says",
                where=study.folder / STUDY_FILE,
                remedy=f"give the {field.kind.name} field the name back that it had",
            )


def _is_elsewhere(connection: Connection, study: Study, field: FieldSpec) -> bool:
    """Whether a site or date field has never been read under its present name, or another field
    under it: a sheet with a printed site number has no site field at all.
    """
    s, k, r = schema.page_instances.c, schema.reading_runs.c, schema.readings.c
    known = k.site if field.kind == SITE else k.visit_date
    query = (
        select(s.sheet, known.label("known"), r.id, r.value, r.status)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .outerjoin(schema.readings, and_(r.run_id == k.id, r.field == field.name))
        .where(k.id.in_(LATEST), s.study == study.key)
    )
    found = {
        _fits(*row, printed=field.kind == SITE and sheet != BLANK)
        for sheet, *row in connection.execute(query)
    }
    if "other" in found:
        return "same" not in found
    return found - {""} == {"missing"}


def _fits(
    known: str | None, reading: int | None, value: str | None, status: str | None, *, printed: bool
) -> str:
    """How a page's field of this name goes with the site or date that its reader told."""
    if reading is None:
        return "" if printed else "missing"
    if known is not None and value == known:
        return "same"
    return "other" if printed or status == "accepted" else "doubtful"


def notes(connection: Connection, study: Study, visits: Sequence[VisitState]) -> list[str]:
    """What to know about the record under the study file of today, one line each."""
    s = schema.page_instances.c
    others = select(s.study, func.count()).where(s.study != study.key).group_by(s.study)
    times = (schema.photos.c.received_at, schema.reading_runs.c.at, schema.decisions.c.at)
    worked_at = max(connection.scalar(select(func.max(at))) or "" for at in times)
    found = []
    if number := unread(connection):
        photos = counted(number, "photo is", "photos are")
        found.append(f"{photos} not read yet; to go on:  sheet-reader read {study.folder}")
    for key, n in connection.execute(others.order_by(s.study)):
        out = f"{'is' if n == 1 else 'are'} left out of everything"
        found.append(f"{counted(n, 'page')} of another study (“{key}”) {out}")
    found += [_unknown_fields(study, visits), _unplaced(study, visits), _sites(study, visits)]
    found += [_season(study, visits), _clock(worked_at), _ahead(study, visits)]
    if doubts := doubts_of(visits):
        found.append(f"doubted: {_doubted(doubts.values())}")
    return [line for line in found if line]


def doubts_of(visits: Iterable[VisitState]) -> dict[tuple[str, str, str], str]:
    """Every value that is doubted, by site, visit date and field, with why."""
    return {
        (e.site, e.visit_date, e.field): next(
            (WHY[reason.code] for reason in e.reasons if reason.code in WHY), LESS_CERTAIN
        )
        for visit in visits
        for e in visit.fields
        if e.is_current and e.status == "doubted"
    }


def raised(before: Collection[tuple[str, str, str]], visits: Iterable[VisitState]) -> list[str]:
    """The doubts that were not there ``before``, in one line; none for none."""
    news = [why for place, why in doubts_of(visits).items() if place not in before]
    return [f"Doubted since this read: {_doubted(news)}."] if news else []


def _doubted(why: Collection[str]) -> str:
    stays = f"{counted(len(why), 'value')}; {'it stays' if len(why) == 1 else 'they stay'}"
    causes = ", ".join(f"{n:,} {cause}" for cause, n in Counter(why).most_common())
    return f"{stays} in the tables, marked, until you answer in review ({causes})"


def _clock(worked_at: str) -> str:
    if not worked_at or datetime.fromisoformat(worked_at) <= datetime.now(UTC) + SAME_TIME:
        return ""
    return (
        f"this machine's clock is behind: it says {datetime.now(UTC):%Y-%m-%d %H:%M} UTC, but the "
        f"record was worked on at {worked_at[:16].replace('T', ' ')} UTC; set the clock"
    )


def _ahead(study: Study, visits: Iterable[VisitState]) -> str:
    number = sum(
        f.needs_review and not OF_TIME.isdisjoint({r.code for r in f.reasons})
        for v in visits for f in v.fields
    )  # fmt: skip
    if not number:
        return ""
    return (
        f"{counted(number, 'date lies', 'dates lie')} after the day of reading. Here it is "
        f"{days.today(study)} now: where that is wrong, set the clock or time_zone in study.toml, "
        "and read again"
    )


def _unknown_fields(study: Study, visits: Iterable[VisitState]) -> str:
    unknown = [
        (number, e) for number, visit in enumerate(visits) for e in visit.fields
        if study.spec(e.field) is None
    ]  # fmt: skip
    if not unknown:
        return ""
    values = {(n, e.field) for n, e in unknown if e.status in RECORDED and e.value is not None}
    questions = {(n, e.field) for n, e in unknown if e.status == "flagged"}
    has = f"{counted(len(values), 'value')} and {counted(len(questions), 'question')}"
    names = some_of(list(dict.fromkeys(e.field for _, e in unknown)), RECORD.most_named)
    return (
        f"study.toml has no field {names} now, but the record does, with {has}: "
        "rows.csv leaves them out, readings.csv keeps them; if they were renamed, rename them back"
    )


def _unplaced(study: Study, visits: Iterable[VisitState]) -> str:
    """Pages whose site or date is nowhere to be read or asked under the present names."""
    number = 0
    for visit in visits:
        on_page = {e.field for e in visit.fields}
        placed = study.placed(visit.site, visit.visit_date)
        if any(not place and name not in on_page for name, place in placed.items()):
            number += len(visit.pages)
    if not number:
        return ""
    return (
        f"{counted(number, 'page has', 'pages have')} no place, because study.toml calls the site "
        "or date field otherwise now"
    )


def _sites(study: Study, visits: Iterable[VisitState]) -> str:
    gone = [v.site for v in visits if v.site and study.site(v.site) is None]
    if not gone:
        return ""
    sites = list(dict.fromkeys(gone))
    one = "a site that is" if len(sites) == 1 else "sites that are"
    return (
        f"{counted(len(gone), 'visit is', 'visits are')} of {one} not on the site list now "
        f"({some_of(sites, RECORD.most_named)}); {_rows(len(gone))} in the exports"
    )


def _day(text: str) -> date | None:
    """The visit date; None where it waits, or is damaged in the record, which ``verify`` tells."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _season(study: Study, visits: Iterable[VisitState]) -> str:
    season, (first, last) = days.span(study), (study.season.first, study.season.last)
    made = [day for v in visits if (day := _day(v.visit_date)) is not None]
    outside = sum(not season.first <= day <= season.last for day in made)
    if not outside:
        return ""
    visits_lie = counted(outside, "visit lies", "visits lie")
    return f"{visits_lie} outside the season ({first} to {last}); {_rows(outside)} in the exports"


def _rows(number: int) -> str:
    return "its row stays" if number == 1 else "their rows stay"
