"""The three tables as data frames: rows, counts and readings. Every format is made from these.

A value is there only where it counts (accepted, doubted, confirmed, corrected, typed); else it is
missing.
Every column has one dtype, whatever the record holds: ``string`` for text and for site numbers, so
that ``0174`` stays ``0174``, ``datetime64[ns]`` for days, ``datetime64[ms, UTC]`` for times,
``Int64`` for whole numbers, ``Float64`` for other ones, ``boolean`` for yes or no. An empty text is
missing as well (``pd.NA``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from sheet_reader.reasons import codes_of
from sheet_reader.record.history.meaning import Earlier
from sheet_reader.results.facts import (
    WAITS,
    Facts,
    FieldFact,
    VisitFact,
    counted,
    efforts,
    in_order,
    number_of,
    why_missing,
)
from sheet_reader.study.kinds import Column
from sheet_reader.study.model import Study
from sheet_reader.wording import words

WAITING_COLUMN = "waiting"
ROW_COLUMNS = (
    WAITING_COLUMN, "doubted", "site_name", "pages_in", "pages_of", "corrected", "typed", "photo",
    "remarks", "visit_id", "modified",
)  # fmt: skip
"""The columns of rows after those of the study's fields."""
COUNT_COLUMNS = (
    "site", "site_name", "visit_date", "plot", "treatment", "count", "value", "unit", "status",
    "decided", "effort", "photo", "visit_id", "modified",
)  # fmt: skip
READING_COLUMNS = (
    "photo", "pdf_page", "sheet", "page", "site", "visit_date", "field", "value", "confidence",
    "status", "reason", "reason_code", "runner_up", "runner_up_confidence", "read_as", "decided",
    "visit_id", "modified",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tables:
    """The tables of one study. ``why_missing`` has a line for each of ``rows`` and a column for
    each field: why there is no value, "" where there is one; ``earlier`` is what was said of words
    that changed.
    """

    rows: pd.DataFrame
    why_missing: pd.DataFrame
    counts: pd.DataFrame
    readings: pd.DataFrame
    earlier: tuple[Earlier, ...] = ()


def tables_of(study: Study, facts: Facts, photos: Mapping[int, str] | None = None) -> Tables:
    """All tables; the same facts in any order give the same tables.

    ``photos`` are names by photo number, for those that are not to bear their neutral ones in
    readings.
    """
    visits = in_order(facts.visits)
    return Tables(
        rows=_rows(study, visits, facts.pages_of),
        why_missing=_why_missing(study, visits),
        counts=counts_frame(study, visits),
        readings=_readings(study, visits, photos or {}),
        earlier=facts.earlier,
    )


def identifier(study: Study, name: str) -> str:
    """A ``name`` as it is published: below the study's own base, else below its key."""
    return (study.publication.identifier_base or f"{study.key}:") + name


def _rows(study: Study, visits: Sequence[VisitFact], pages_of: int) -> pd.DataFrame:
    current = [visit.current for visit in visits]
    places = [study.placed(visit.site, visit.visit_date) for visit in visits]
    columns: dict[str, pd.Series] = {}
    for spec in study.fields:
        values = [
            place.get(spec.name) or counted(fields.get(spec.name)) or ""
            for place, fields in zip(places, current, strict=True)
        ]
        columns[spec.name] = _COLUMNS[spec.kind.column](values)
    names = {site.number: site.label for site in study.sites}
    columns |= {
        WAITING_COLUMN: _numbers(visit.waiting for visit in visits),
        "doubted": _texts(
            " ".join(name for name, f in fields.items() if f.status == "doubted")
            for fields in current
        ),
        "site_name": _texts(names.get(visit.site, "") for visit in visits),
        "pages_in": _numbers(len(visit.pages) for visit in visits),
        "pages_of": _numbers(pages_of for _ in visits),
        "corrected": _numbers(
            sum(f.status == "corrected" for f in fields.values()) for fields in current
        ),
        "typed": _numbers(sum(f.status == "typed" for f in fields.values()) for fields in current),
        "photo": _texts(" ".join(visit.photos) for visit in visits),
        "remarks": _texts(" | ".join(visit.remarks) for visit in visits),
        "visit_id": _texts(identifier(study, visit.identity) for visit in visits),
        "modified": _times(
            max((fact.modified for fact in visit.fields), default="") for visit in visits
        ),
    }
    return pd.DataFrame(columns)


def _why_missing(study: Study, visits: Sequence[VisitFact]) -> pd.DataFrame:
    current = [visit.current for visit in visits]
    columns = {
        spec.name: [why_missing(fields.get(spec.name)) for fields in current]
        for spec in study.fields
    }
    places = [study.placed(visit.site, visit.visit_date) for visit in visits]
    for name in study.keys:
        columns[name] = ["" if place[name] else WAITS for place in places]
    return pd.DataFrame(columns, dtype="string")


def counts_frame(study: Study, visits: Iterable[VisitFact]) -> pd.DataFrame:
    """A line for each count of a plot on each page that came in, of visits with a settled site and
    date: the long table.
    """
    names = {site.number: site.label for site in study.sites}
    treatment = {plot.name: plot.treatment for plot in study.plots}
    unit = {count.name: count.unit for count in study.counts}
    specs = [spec for spec in study.fields if spec.plot]
    lines: list[tuple[object, ...]] = []
    for visit in visits:
        if not (visit.site and visit.visit_date):
            continue
        fields, effort = visit.current, efforts(study, visit.current)
        for spec in specs:
            if (found := fields.get(spec.name)) is not None:
                lines.append(
                    (
                        visit.site, names.get(visit.site, ""), visit.visit_date, spec.plot,
                        treatment[spec.plot], spec.count, number_of(found), unit[spec.count],
                        found.status, found.decided, effort[spec.plot], found.photo,
                        identifier(study, visit.identity), found.modified,
                    )
                )  # fmt: skip
    frame = pd.DataFrame(lines, columns=list(COUNT_COLUMNS), dtype="object").replace("", None)
    kinds = {"value": "Int64", "effort": "Float64", "decided": "boolean"}
    days, times = _days(frame.pop("visit_date")), _times(frame.pop("modified"))
    frame = frame.astype({name: kinds.get(str(name), "string") for name in frame})
    return frame.assign(visit_date=days, modified=times)[list(COUNT_COLUMNS)]


def _readings(
    study: Study, visits: Iterable[VisitFact], photos: Mapping[int, str]
) -> pd.DataFrame:
    """A line for each field and photo, page by page as found in the photos, in printed order."""
    order = {spec.name: place for place, spec in enumerate(study.fields)}

    def place(found: tuple[VisitFact, FieldFact]) -> tuple[object, ...]:
        f = found[1]
        page = (f.photo_id, f.photo, f.pdf_page, f.sheet, f.page, f.page_instance_id)
        return (*page, order.get(f.field, len(order)), f.field, f.reading_id)

    found = sorted(((visit, fact) for visit in visits for fact in visit.fields), key=place)
    facts = [fact for _, fact in found]
    # of a typed sheet there is no reading beside the value that a person gave
    reread = [gives_value(f) and bool(f.confidence) for f in facts]
    columns = {
        "photo": _texts(photos.get(f.photo_id, f.photo) for f in facts),
        "pdf_page": _numbers(f.pdf_page for f in facts),
        "sheet": _texts(f.sheet for f in facts),
        "page": _numbers(f.page for f in facts),
        "site": _texts(visit.site for visit, _ in found),
        "visit_date": _days(visit.visit_date for visit, _ in found),
        "field": _texts(f.field for f in facts),
        "value": _texts(f.value for f in facts),
        "confidence": _shares(None if gives_value(f) else f.confidence for f in facts),
        "status": _texts(f.status for f in facts),
        "reason": _texts(words(f.reasons, photos=photos) for f in facts),
        "reason_code": _texts(codes_of(f.reasons) for f in facts),
        "runner_up": _texts(f.runner_up for f in facts),
        "runner_up_confidence": _shares(
            None if f.runner_up is None else f.runner_up_confidence for f in facts
        ),
        "read_as": _texts(
            (f.read_as or "nothing") if again else ""
            for f, again in zip(facts, reread, strict=True)
        ),
        "decided": pd.Series([f.decided for f in facts], dtype="boolean"),
        "visit_id": _texts(identifier(study, visit.identity) for visit, _ in found),
        "modified": _times(f.modified for f in facts),
    }
    return pd.DataFrame(columns)[list(READING_COLUMNS)]


def gives_value(fact: FieldFact) -> bool:
    """Whether a person gave the value (or took it away), so that the reading's confidence says
    nothing of it.
    """
    return fact.decided and fact.status != "confirmed"


def _texts(values: Iterable[str | None]) -> pd.Series:
    return pd.Series([text or None for text in values], dtype="string")


def _numbers(values: Iterable[int | None]) -> pd.Series:
    return pd.Series(list(values), dtype="Int64")


def _shares(values: Iterable[float | None]) -> pd.Series:
    return pd.Series(list(values), dtype="Float64")


def _times(values: Iterable[str | None]) -> pd.Series:
    times = pd.Series([text or None for text in values], dtype="object")
    return pd.to_datetime(times, format="ISO8601", utc=True).astype("datetime64[ms, UTC]")


def _days(values: Iterable[str]) -> pd.Series:
    days = pd.Series([text or None for text in values], dtype="object")
    return pd.to_datetime(days, format="%Y-%m-%d").astype("datetime64[ns]")


_COLUMNS: Mapping[Column, Callable[[Sequence[str]], pd.Series]] = {
    "text": _texts,
    "date": _days,
    "integer": lambda texts: _numbers(int(t) if t.isdecimal() else None for t in texts),
}
"""How the texts of a column become one of its type."""
