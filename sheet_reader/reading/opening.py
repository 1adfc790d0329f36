"""A study's record with the thresholds that it holds former readings against."""

from __future__ import annotations

from sheet_reader.reading.promise import thresholds_for
from sheet_reader.record.store.store import Record
from sheet_reader.study.model import Study


def open_record(
    study: Study, url: str | None = None, *, for_reading: bool = False, of_any_study: bool = False
) -> Record:
    """Open the study's record as :meth:`Record.open` does, so that what was accepted under a
    looser ``allowed_error`` than today's is asked about.
    """
    return Record.open(
        study,
        url,
        thresholds=thresholds_for(study.allowed_error),
        for_reading=for_reading,
        of_any_study=of_any_study,
    )
