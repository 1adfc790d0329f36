"""A study's record, opened with today's thresholds, and what can be promised about its accepted
fields, from shipped data and the study's own audits.

SciPy is loaded for audits alone, so that commands that only look at a record are quick.
"""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import TYPE_CHECKING

from sheet_reader.decode.promise import (
    DELTA,
    NoPromise,
    Promise,
    default_threshold,
    shipped_promise,
    shipped_table,
)
from sheet_reader.numbers import DECODE
from sheet_reader.record.history.states import Thresholds
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    from sheet_reader.decode.audits import Checked
    from sheet_reader.reading.reader import Reader


def open_record(
    study: Study, url: str | None = None, *, for_reading: bool = False, of_any_study: bool = False
) -> Record:
    """Open the study's record as :meth:`Record.open` does, so that what was accepted under a
    looser ``allowed_error`` than today's is asked about.
    """
    thresholds = thresholds_for(study.allowed_error)
    return Record.open(
        study, url, thresholds=thresholds, for_reading=for_reading, of_any_study=of_any_study
    )


def checked_fields(record: Record) -> Checked:
    """The accepted fields that audits drew, each once; ``writers`` names their sites."""
    from sheet_reader.decode.audits import Checked

    drawn = record.audited()
    return Checked.of(
        [field.confidence for field in drawn],
        [field.right for field in drawn],
        floors=[field.threshold for field in drawn],
        writers=[field.site for field in drawn],
    )


def promise_of(record: Record) -> Promise | NoPromise:
    """The promise that holds for this record's study now."""
    if not record.audited():
        return shipped_promise(record.study.allowed_error)
    from sheet_reader.decode.audits import promise_for

    return promise_for(record.study.allowed_error, shipped_table(), checked_fields(record))


def odd_site_lines(record: Record) -> list[str]:
    """One line for each site that is misread far more often than a site may be."""
    from sheet_reader.decode.audits import odd_sites

    return [
        f"Site {site} is misread often: {wrong} of {checked} checked fields were wrong. "
        "Look at its sheets."
        for site, wrong, checked in odd_sites(checked_fields(record))
    ]


def drift_lines(record: Record) -> list[str]:
    """One line where the errors of late have become more than the promise allows."""
    from sheet_reader.decode.error_share import drift

    drawn = [field for field in record.audited() if field.visit_date]
    months = sorted({field.visit_date[:7] for field in drawn})
    sites = sorted({field.site for field in drawn})
    table = []
    for month in months:
        here = [field for field in drawn if field.visit_date[:7] == month]
        checked, wrong = Counter(f.site for f in here), Counter(f.site for f in here if not f.right)
        table.append(([wrong[s] for s in sites], [checked[s] for s in sites]))
    detected = drift(table, record.study.allowed_error) >= 1.0 / DELTA
    if not detected.any():
        return []
    since = months[int(detected.argmax())]
    return [f"Readings have become worse: checked fields show it from {since} on."]


def reader_of(record: Record) -> Reader | None:
    """A reader with the threshold that the study's own audits bear out; None before the first."""
    from sheet_reader.reading.picture import read_picture

    if not record.audited():
        return None
    return partial(read_picture, threshold=promise_of(record).threshold)


def thresholds_for(allowed_error: float) -> Thresholds:
    """From which confidence on a field counts as accepted under ``allowed_error``: by the shipped
    data. Own readings that contradict the promise tighten what is read from then on, not what was
    accepted before: all of that would be asked about again.
    """
    
    counts = default_threshold(allowed_error)
    return Thresholds(counts, 1.0 - (1.0 - counts) * DECODE.key_doubt)
