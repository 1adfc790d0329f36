"""What a reader is, a picture in, its pages out; and its pages in the light of their sites."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Protocol

from sheet_reader.decode.counts import History
from sheet_reader.decode.pages import PageReading
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.site_history import SiteHistory, doubted_page, with_history
from sheet_reader.study.former import by_present_rules
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import NoSheet, SheetView

if TYPE_CHECKING:
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


def fields_of(study: Study, book: LayoutBook | None, version: str) -> Study:
    """The study whose fields a page of this layout version has, by the rules of ``study``."""
    if book is None or version not in book.versions or book.study_of(version) is book.study:
        return study
    return by_present_rules(book.study_of(version), study)


def read_with_history(
    reader: Reader,
    picture: OpenedPicture,
    study: Study,
    book: LayoutBook,
    today: date,
    history: SiteHistory,
) -> Outcome:
    """What ``reader`` finds in ``picture``, doubted where earlier counts of its sites speak
    against it. Pictures of sites without any are read once, also where the reader gives evidence.
    """
    first = reader(picture, study, book, today)
    pages = [item[1] for item in first if not isinstance(item, NoSheet)]
    if all(page.evidence is not None for page in pages):
        found: list[tuple[SheetView, PageReading] | NoSheet] = []
        for item in first:
            if not isinstance(item, NoSheet) and (evidence := item[1].evidence) is not None:
                own = fields_of(study, book, item[1].code.layout)
                item = item[0], with_history(evidence, own, history, item[1].threshold)
            found.append(item)
        return found
    earlier = history.before((p.site, p.visit_date) for p in pages if p.site and p.visit_date)
    if not earlier:
        return first
    second = reader(picture, study, book, today, history=earlier)
    return [
        one
        if isinstance(one, NoSheet) or isinstance(other, NoSheet)
        else (one[0], doubted_page(one[1], other[1]))
        for one, other in zip(first, second, strict=True)
    ]
