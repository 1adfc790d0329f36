"""What comes out of the record field by field: lines of readings.csv, and what waits."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.reasons import Reasons
from sheet_reader.record.history.model import Rival, Status
from sheet_reader.record.history.states import FieldState


@dataclass(frozen=True, slots=True)
class FieldOnVisit:
    """A field as it stands, with the site and date of its visit as known so far ("" while they
    wait). What is asked of it is answered by its parts; nothing is copied.
    """

    state: FieldState
    site: str
    visit_date: str

    @property
    def photo(self) -> str:
        """The photo's neutral name."""
        return self.state.observation.photo

    @property
    def photo_id(self) -> int:
        """The photo's number."""
        return self.state.observation.photo_id

    @property
    def page_instance_id(self) -> int:
        """The page in its photo: several blank sheets in one photo or PDF share all else."""
        return self.state.observation.page_instance_id

    @property
    def frame(self) -> int:
        """The page of the PDF, from 0."""
        return self.state.observation.frame

    @property
    def sheet(self) -> str:
        """The site number of the printed sheet, or BLANK."""
        return self.state.observation.sheet

    @property
    def page(self) -> int:
        """The page of the sheet, from 1."""
        return self.state.observation.page

    @property
    def reading_id(self) -> int:
        """The reading's number."""
        return self.state.reading.reading_id

    @property
    def field(self) -> str:
        """The field's name."""
        return self.state.reading.field

    @property
    def confidence(self) -> float:
        """The probability (0..1) of what was read."""
        return self.state.reading.confidence

    @property
    def runner_up(self) -> str | None:
        """The next value that it may be."""
        return self.state.reading.runner_up

    @property
    def runner_up_confidence(self) -> float:
        """The probability (0..1) of the next value."""
        return self.state.reading.runner_up_confidence

    @property
    def reasons(self) -> Reasons:
        """Why it is asked."""
        return self.state.reasons


@dataclass(frozen=True, slots=True)
class Waiting(FieldOnVisit):
    """One reading that waits for a person (or, in an audit, that is looked at again).

    ``value`` is what was read (None: nothing), ``reasons`` why it is asked; ``rivals`` are the
    values of other photos that they name. ``kind`` is the field's. Pictures come from
    :meth:`Record.images`, the photo from :meth:`Record.photo_path`.
    """

    kind: str

    @property
    def value(self) -> str | None:
        """As read."""
        return self.state.reading.value

    @property
    def rivals(self) -> tuple[Rival, ...]:
        """What the question names of other photos."""
        return self.state.rivals


@dataclass(frozen=True, slots=True)
class ReadingRow(FieldOnVisit):
    """One line of readings.csv: a field in a photo with its status as of now.

    ``value`` is the decided value where there is a decision, else the value read.
    ``later_value`` is set where a newer reading differs from what a person decided.
    """

    @property
    def value(self) -> str | None:
        """As decided, else as read."""
        return self.state.value

    @property
    def read_value(self) -> str | None:
        """As read."""
        return self.state.reading.value

    @property
    def status(self) -> Status:
        """As of now."""
        return self.state.status

    @property
    def later_value(self) -> str | None:
        """What a newer reading says instead of what was decided."""
        return self.state.later_value
