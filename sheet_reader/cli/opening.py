"""How commands open a record: is there one, and what words mean that changed is said first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sheet_reader.cli import terminal
from sheet_reader.cli.common import hint
from sheet_reader.errors import UnsaidError, UsageError

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.study import Study


def open_record(study: Study, *, for_reading: bool = False) -> Record:
    """Open the study's record. Where words have changed under which values came in, that is asked
    first on the terminal; raises UnsaidError where there is none, or no answer.
    """
    from sheet_reader.reading import opening

    try:
        return opening.open_record(study, for_reading=for_reading)
    except UnsaidError:
        if not terminal.somebody_answers():
            raise
    from sheet_reader.cli.names import ask_what_blocks

    with opening.open_record(study, of_any_study=True) as record:
        ask_what_blocks(record)
    return opening.open_record(study, for_reading=for_reading)


def must_have_record(study: Study) -> None:
    """Raises UsageError where the study has no record yet, RecordError where it is lost."""
    from sheet_reader.record.store.place import has_record, must_not_be_blank

    if not has_record(study.folder):
        must_not_be_blank(study.folder)
        raise UsageError(
            "this study has no record yet",
            where=study.folder, remedy=f"start with: {hint('read', study.folder)}",
        )  # fmt: skip
