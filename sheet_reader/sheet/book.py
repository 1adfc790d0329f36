"""All sheets of a study, by the code on a page."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.sheet.codes import MARK, study_mark
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.model import BLANK, Page, SheetCode, SheetLayout
from sheet_reader.sheet.pdf import render_pdf
from sheet_reader.sheet.raster import rasterise
from sheet_reader.study.model import Study

_TEMPLATES = 12


@dataclass(frozen=True, slots=True)
class Mismatch:
    """Why a code names no page of this study."""

    reason: Reason


class LayoutBook:
    """The layouts of one study, made when first asked for.

    Raises StudyError where the study does not fit its paper.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self._layouts: dict[str, SheetLayout] = {BLANK: lay_out(study)}
        self._templates: OrderedDict[tuple[SheetCode, float], NDArray[np.uint8]] = OrderedDict()

    @property
    def version(self) -> str:
        """The layout version of the study as it is now."""
        return self._layouts[BLANK].version

    def layout(self, sheet: str = BLANK) -> SheetLayout:
        """The layout of one sheet; raises UsageError for a site that is not on the roster."""
        if sheet not in self._layouts:
            self._layouts[sheet] = lay_out(self.study, sheet)
        return self._layouts[sheet]

    def lookup(self, code: SheetCode) -> Page | Mismatch:
        """The page with this code, or why there is none. An abbreviated study (from the printed
        code) is compared by its abbreviation.
        """
        study = self.study
        own = code.study == study.key or code.study == MARK + study_mark(study.key)
        if not own:
            other = "" if code.study.startswith(MARK) else code.study
            return Mismatch(because(Code.OTHER_STUDY, study=other, title=study.title))
        if code.layout != self.version:
            now = self.version
            return Mismatch(
                because(Code.OLDER_LAYOUT, layout=code.layout, now=now, title=study.title)
            )
        if code.sheet != BLANK and study.site(code.sheet) is None:
            return Mismatch(because(Code.UNKNOWN_SITE, site=code.sheet))
        pages = self.layout(code.sheet).pages
        if not 1 <= code.page <= len(pages):
            return Mismatch(because(Code.NO_SUCH_PAGE, page=code.page, pages=len(pages)))
        return pages[code.page - 1]

    def page(self, code: SheetCode) -> Page | Reason:
        """As :meth:`lookup`, with the reason alone where there is no such page."""
        found = self.lookup(code)
        return found.reason if isinstance(found, Mismatch) else found

    def pages(self) -> Iterator[Page]:
        """All pages of the blank, then of each site of the roster."""
        for sheet in (BLANK, *(site.number for site in self.study.roster)):
            yield from self.layout(sheet).pages

    def template(self, page: Page, px_per_mm: float) -> NDArray[np.uint8]:
        """The printed page as uint8 (H, W), read-only; the last dozen are kept.

        W and H are the page's width and height in mm times ``px_per_mm``, rounded.
        """
        key = (replace(page.code, study=self.study.key), px_per_mm)
        if key in self._templates:
            self._templates.move_to_end(key)
            return self._templates[key]
        pdf = render_pdf(self.layout(page.code.sheet), self.study)
        raster = rasterise(pdf, page.number, px_per_mm)
        raster.setflags(write=False)
        self._templates[key] = raster
        while len(self._templates) > _TEMPLATES:
            self._templates.popitem(last=False)
        return raster
