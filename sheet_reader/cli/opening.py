"""How commands open a record (is there one, and what words mean that changed is said first), and
what all of them tell of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sheet_reader.cli import terminal
from sheet_reader.cli.common import hint, say
from sheet_reader.errors import UnsaidError

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
    from sheet_reader.record.store import place

    place.must_have_record(study.folder, f"start with: {hint('read', study.folder)}")


def tell_notes(record: Record, *, names: bool = False) -> None:
    """Say what does not fit between the record and study.toml, and what is not read yet; with
    ``names``, also what is to be said about changed words.
    """
    from sheet_reader.cli.names import meaning_notes

    for note in [*record.notes(), *(meaning_notes(record) if names else ())]:
        say(f"note: {note}")


def questions_of(record: Record) -> int:
    """How many questions wait in the record: the cards of a review."""
    from sheet_reader.review.queue import cards_of

    return len(cards_of(record.study, record.state()))
