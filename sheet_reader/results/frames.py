"""The three tables as data frames: rows, counts and readings. Every format is made from these.

A value is there only where it counts (accepted, doubted, confirmed, corrected, typed); else it is
missing.
Every column has one dtype, whatever the record holds: ``string`` for text and for site numbers, so
that ``0174`` stays ``0174``, ``datetime64[ns]`` for days, ``datetime64[ms, UTC]`` for times,
``Int64`` for whole numbers, ``Float64`` for other ones, ``boolean`` for yes or no. An empty text is
missing as well (``pd.NA``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
from sheet_reader.study.study import Study
from sheet_reader.wording import words

Columns = Mapping[str, tuple[str, str]]
"""Type and meaning of columns, in their order."""
WAITING_COLUMN = "waiting"
_OF_ALL = {
    "visit_id": ("text", "identifier of the visit: stays the same when anything is put right"),
    "modified": ("datetime", "when a value or its place last changed, UTC"),
}
ROW_COLUMNS: Columns = {
    WAITING_COLUMN: ("integer", "how many fields of the visit wait for a person"),
    "doubted": ("text", "the fields whose value is doubted, by full names parted by spaces"),
    "site_name": ("text", "the site's name on the site list"),
    "pages_in": ("integer", "how many pages of the sheet came in"),
    "pages_of": ("integer", "how many pages the sheet has; where fewer came in, fields are empty"),
    "corrected": ("integer", "how many fields of the visit a person corrected"),
    "typed": ("integer", "how many fields of the visit were typed in by hand, with no reading"),
    "photo": ("text", "the photos of the visit, by neutral names parted by spaces"),
    "remarks": ("text", "what people said about this visit, parted by |; without addresses"),
    **_OF_ALL,
}
"""The columns of rows after those of the study's fields."""
COUNT_COLUMNS: Columns = {
    "site": ("text", "number of the site; keep leading zeros"),
    "site_name": ("text", "the site's name on the site list"),
    "visit_date": ("date", "day of the visit, ISO 8601"),
    "plot": ("text", "name of the plot in the study file"),
    "treatment": ("text", "what was done to the plot, empty where the study compares nothing"),
    "count": ("text", "name of what was counted, see below"),
    "value": ("integer", "the number counted; empty means no value, never 0"),
    "unit": ("text", "unit of the value, empty where none is named"),
    "status": ("text", "how the value came to be, see below"),
    "decided": ("yes or no", "whether a person decided on it"),
    "effort": ("number", "how long or how much was searched in this plot at this visit"),
    "photo": ("text", "the photo that the value is taken from, by its neutral name"),
    **_OF_ALL,
}
READING_COLUMNS: Columns = {
    "photo": ("text", "the photo, by its neutral name"),
    "pdf_page": ("integer", "which page of the PDF, from 1"),
    "sheet": ("text", "site number printed on the sheet, BLANK where none is printed"),
    "page": ("integer", "which page of the sheet, from 1"),
    "site": ("text", "number of the site as it stands; empty while it waits"),
    "visit_date": ("date", "day of the visit as it stands; empty while it waits"),
    "field": ("text", "full name of the field, plot.count or the name of a field of the head"),
    "value": ("text", "what the field says: the decided value where there is a decision"),
    "confidence": ("number", "probability that the reading is right; empty where a person gave it"),
    "status": ("text", "how the value came to be, see below"),
    "reason": ("text", "why it was asked about, or what settled it"),
    "reason_code": ("text", "the same as codes to group by, parted by semicolons"),
    "runner_up": ("text", "the next likely reading"),
    "runner_up_confidence": ("number", "its probability"),
    "read_as": ("text", "what had been read where a person said otherwise (“nothing”: no digit)"),
    "decided": ("yes or no", "whether a person decided it in this photo; others repeat it"),
    **_OF_ALL,
}
DTYPES = {"text": "string", "integer": "Int64", "number": "Float64", "yes or no": "boolean"}


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
    fields: dict[str, pd.Series] = {}
    for spec in study.fields:
        texts = [
            place.get(spec.name) or counted(found.get(spec.name)) or ""
            for place, found in zip(places, current, strict=True)
        ]
        numbers = (int(text) if text.isdecimal() else None for text in texts)
        is_number = spec.kind.column == "integer"
        fields[spec.name] = _column(spec.kind.column, numbers if is_number else texts)
    names = {site.number: site.label for site in study.sites}
    statuses = [[fact.status for fact in found.values()] for found in current]
    others = {
        WAITING_COLUMN: (visit.waiting for visit in visits),
        "doubted": (
            " ".join(name for name, fact in found.items() if fact.status == "doubted")
            for found in current
        ),
        "site_name": (names.get(visit.site, "") for visit in visits),
        "pages_in": (len(visit.pages) for visit in visits),
        "pages_of": (pages_of for _ in visits),
        "corrected": (each.count("corrected") for each in statuses),
        "typed": (each.count("typed") for each in statuses),
        "photo": (" ".join(visit.photos) for visit in visits),
        "remarks": (" | ".join(visit.remarks) for visit in visits),
        "visit_id": (identifier(study, visit.identity) for visit in visits),
        "modified": (max((f.modified for f in visit.fields), default="") for visit in visits),
    }
    return pd.concat([pd.DataFrame(fields), _frame(ROW_COLUMNS, others)], axis=1)


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
    columns = zip(*lines, strict=True) if lines else ((),) * len(COUNT_COLUMNS)
    return _frame(COUNT_COLUMNS, dict(zip(COUNT_COLUMNS, columns, strict=True)))


def _readings(study: Study, visits: Iterable[VisitFact], photos: Mapping[int, str]) -> pd.DataFrame:
    """A line for each field and photo, page by page as found in the photos, in printed order."""
    order = {spec.name: place for place, spec in enumerate(study.fields)}

    def place(found: tuple[VisitFact, FieldFact]) -> tuple[object, ...]:
        f = found[1]
        page = (f.photo_id, f.photo, f.pdf_page, f.sheet, f.page, f.page_instance_id)
        return (*page, order.get(f.field, len(order)), f.field, f.reading_id)

    found = sorted(((visit, fact) for visit in visits for fact in visit.fields), key=place)
    facts = [fact for _, fact in found]
    columns = {
        "photo": (photos.get(f.photo_id, f.photo) for f in facts),
        "pdf_page": (f.pdf_page for f in facts),
        "sheet": (f.sheet for f in facts),
        "page": (f.page for f in facts),
        "site": (visit.site for visit, _ in found),
        "visit_date": (visit.visit_date for visit, _ in found),
        "field": (f.field for f in facts),
        "value": (f.value for f in facts),
        "confidence": (None if gives_value(f) else f.confidence for f in facts),
        "status": (f.status for f in facts),
        "reason": (words(f.reasons, photos=photos) for f in facts),
        "reason_code": (codes_of(f.reasons) for f in facts),
        "runner_up": (f.runner_up for f in facts),
        "runner_up_confidence": (f.runner_up_confidence if f.runner_up is not None else None
                                 for f in facts),
        # of a typed sheet there is no reading beside the value that a person gave
        "read_as": ((f.read_as or "nothing") if gives_value(f) and f.confidence else ""
                    for f in facts),
        "decided": (f.decided for f in facts),
        "visit_id": (identifier(study, visit.identity) for visit, _ in found),
        "modified": (f.modified for f in facts),
    }  # fmt: skip
    return _frame(READING_COLUMNS, columns)


def gives_value(fact: FieldFact) -> bool:
    """Whether a person gave the value (or took it away), so that the reading's confidence says
    nothing of it.
    """
    return fact.decided and fact.status != "confirmed"


def _frame(types: Columns, columns: Mapping[str, Iterable[object]]) -> pd.DataFrame:
    return pd.DataFrame({name: _column(types[name][0], columns[name]) for name in types})


def _column(kind: str, values: Iterable[object]) -> pd.Series:
    """A column of one of the types of :data:`Columns`; "" is missing."""
    cells = [None if value == "" else value for value in values]
    if kind == "date":
        days = pd.to_datetime(pd.Series(cells, dtype="object"), format="%Y-%m-%d")
        return days.astype("datetime64[ns]")
    if kind == "datetime":
        times = pd.to_datetime(pd.Series(cells, dtype="object"), format="ISO8601", utc=True)
        return times.astype("datetime64[ms, UTC]")
    return pd.Series(cells, dtype=DTYPES[kind])
