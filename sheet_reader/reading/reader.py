"""What a reader is: a picture in, its pages out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Protocol

from sheet_reader.decode.pages import PageReading
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.study.model import Study
from sheet_reader.vision.findings import NoSheet, SheetView

if TYPE_CHECKING:
    from sheet_reader.decode.counts import History
    from sheet_reader.sheet.book import LayoutBook

Outcome = Sequence[tuple[SheetView, PageReading] | NoSheet]
"""Every page found in a picture, and a reason for each part that gave none."""


class Reader(Protocol):
    """Reads a picture. ``book`` is the study's layout book, ``today`` the last day a sheet can be
    of, and ``history`` the sites' earlier counts.

    A function at the top level of a module, or a ``functools.partial`` of one, so that another
    process finds it.
    """

    def __call__(
        self,
        picture: OpenedPicture,
        study: Study,
        book: LayoutBook,
        today: date,
        /,
        *,
        history: History | None = None,
    ) -> Outcome:
        """The pages in ``picture``, and a reason for each part of it that gave none."""
        ...
