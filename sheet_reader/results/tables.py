"""From the record to the two tables that leave the package: rows and readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sheet_reader.reasons import codes_of
from sheet_reader.record.model import ReadingRow, VisitRow
from sheet_reader.results.cells import probability
from sheet_reader.study.model import FieldSpec, Study
from sheet_reader.wording import words

READING_COLUMNS = (
    "photo",
    "pdf_page",
    "sheet",
    "page",
    "site",
    "visit_date",
    "field",
    "value",
    "confidence",
    "status",
    "reason",
    "reason_code",
    "runner_up",
    "runner_up_confidence",
)
WAITING_COLUMN = "waiting"
RECORDED = frozenset({"accepted", "confirmed", "corrected", "typed"})
"""The statuses under which a value counts."""

Lines = tuple[list[str], list[list[str]]]
"""A header and the lines under it."""


def rows_table(study: Study, visits: Iterable[VisitRow]) -> Lines:
    """Header and lines of rows.csv: a column for each field, then how many fields wait.

    Ordered by site and date; visits whose site or date is not settled come last.
    """
    ordered = sorted(
        visits, key=lambda v: (not v.site, not v.visit_date, v.site, v.visit_date, v.photos)
    )
    lines = [
        [*(_cell(spec, visit) for spec in study.fields), str(visit.waiting)] for visit in ordered
    ]
    return [*(spec.name for spec in study.fields), WAITING_COLUMN], lines


def _cell(spec: FieldSpec, visit: VisitRow) -> str:
    """The value if it counts, else nothing: never a 0 for what is not recorded.

    Site and date come from the visit, since a printed site number is in no field.
    """
    if spec.kind == "site":
        return visit.site
    if spec.kind == "date":
        return visit.visit_date
    if visit.statuses.get(spec.name) not in RECORDED:
        return ""
    return visit.values.get(spec.name) or ""


def readings_table(
    study: Study, readings: Iterable[ReadingRow], photos: Mapping[int, str] | None = None
) -> Lines:
    """Header and lines of readings.csv, page by page as found in the photos, in printed order.

    ``photos`` are names by photo number, for those that are not to bear their neutral ones.
    """
    names = photos or {}
    order = {spec.name: place for place, spec in enumerate(study.fields)}
    ordered = sorted(
        readings,
        key=lambda r: (
            names.get(r.photo_id, r.photo),
            r.frame,
            r.sheet,
            r.page,
            r.page_instance_id,
            order.get(r.field, len(order)),
            r.field,
            r.reading_id,
        ),
    )
    return list(READING_COLUMNS), [_reading_line(r, names) for r in ordered]


def _reading_line(r: ReadingRow, photos: Mapping[int, str]) -> list[str]:
    return [
        photos.get(r.photo_id, r.photo),
        str(r.frame + 1),
        r.sheet,
        str(r.page),
        r.site,
        r.visit_date,
        r.field,
        r.value or "",
        probability(r.confidence),
        r.status,
        words(r.reasons, photos=photos),
        codes_of(r.reasons),
        r.runner_up or "",
        probability(r.runner_up_confidence) if r.runner_up is not None else "",
    ]
