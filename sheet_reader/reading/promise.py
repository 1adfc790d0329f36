"""What can be promised about accepted fields, from shipped data and the study's own audits."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sheet_reader.decode.promise import NoPromise, Promise
    from sheet_reader.reading.look import Reader
    from sheet_reader.record.store import Record


def promise_of(record: Record) -> Promise | NoPromise:
    """The promise that holds for this record's study now."""
    from sheet_reader.decode.calibration import current_promise

    return current_promise(record.study.accepted_error, record.audited())


def reader_of(record: Record) -> Reader | None:
    """A reader with the threshold that the study's own audits bear out; None before the first."""
    from sheet_reader.reading.picture import read_picture

    if not len(record.audited().scores):
        return None
    return partial(read_picture, threshold=promise_of(record).threshold)
