"""The editions of the sheet's look: the present one, and earlier ones that can still be read."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from sheet_reader.errors import StudyError
from sheet_reader.sheet import layout
from sheet_reader.sheet.drawn_page import DrawnPage
from sheet_reader.sheet.first_edition import layout as first_edition
from sheet_reader.sheet.model import BLANK, SheetLayout
from sheet_reader.study.model import Study

Draw = Callable[[Study, str], tuple[DrawnPage, ...]]
"""Draws one sheet of a study: of a site of the site list, or BLANK."""
EARLIER: tuple[Draw, ...] = (first_edition.draw_sheet,)


def editions(study: Study) -> dict[str, Draw]:
    """How to draw each layout version of the study as it is, the present edition first. An earlier
    edition whose paper can't hold the study has none.

    Raises StudyError where the study does not fit its paper in the present edition.
    """
    return dict(_editions(study))


@lru_cache(maxsize=8)  # a reading of photos asks four times, and the first edition must be drawn
def _editions(study: Study) -> dict[str, Draw]:
    found: dict[str, Draw] = {layout.layout_version(study): layout.draw_sheet}
    for draw in EARLIER:
        try:
            version = draw(study, BLANK)[0].page.code.layout
        except StudyError:
            continue
        found.setdefault(version, draw)
    return found


def drawn_as(study: Study, wanted: SheetLayout) -> tuple[DrawnPage, ...] | None:
    """The pages of a layout with their marks, or None where no edition lays the study out so."""
    draw = editions(study).get(wanted.version)
    if draw is None or (wanted.sheet != BLANK and study.site(wanted.sheet) is None):
        return None
    drawn = draw(study, wanted.sheet)
    return drawn if tuple(d.page for d in drawn) == wanted.pages else None
