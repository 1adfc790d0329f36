"""All sheets of a study by the code on a page, and the signs that tell one sheet's print from
another's: their places and shapes.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.sheet.identity import MARK, PROOF, code_line, printed_text, study_mark
from sheet_reader.sheet.layout import draw_sheet, layout_version
from sheet_reader.sheet.page import BLANK, DrawnPage, Face, Page, SheetCode, SheetLayout, Text
from sheet_reader.sheet.pdf import rasterise, render_marks, render_pdf
from sheet_reader.study.study import Study

_TEMPLATES = 12


def spaced_lines(drawn: DrawnPage) -> tuple[Text, ...]:
    """The lines of a page whose signs stand each in a place of its own."""
    return tuple(mark for mark in drawn.marks if isinstance(mark, Text) and mark.pitch_mm)


class LayoutBook:
    """The layouts of one study, made when first asked for: of the study as it is now and of its
    ``former`` states, the newest last, so that sheets printed from those are found too.

    Raises StudyError where the study does not fit its paper.
    """

    def __init__(self, study: Study, former: Sequence[Study] = ()) -> None:
        self.study = study
        self._studies: dict[str, Study] = {}
        for state in (study, *reversed(former)):
            self._studies.setdefault(layout_version(state), state)
        self._layouts: dict[tuple[str, str], SheetLayout] = {}
        self._spaced: dict[SheetCode, tuple[Text, ...]] = {}
        self._drawn_sites: dict[tuple[str, int], str] = {}
        self._templates: OrderedDict[tuple[SheetCode, float], NDArray[np.uint8]] = OrderedDict()

    @property
    def version(self) -> str:
        """The layout version of the study as it is now."""
        return self.versions[0]

    @property
    def versions(self) -> tuple[str, ...]:
        """Every layout version whose sheets can be read, the present one first."""
        return tuple(self._studies)

    def study_of(self, version: str) -> Study:
        """The study as it was when the sheets of this version were printed; KeyError for others."""
        return self._studies[version]

    def layout(self, sheet: str = BLANK, version: str = "") -> SheetLayout:
        """The layout of one sheet, in the present version unless another of :attr:`versions` is
        named; raises UsageError for a site that is not on the site list.
        """
        key = (sheet, version or self.version)
        if key not in self._layouts:
            self._layouts[key] = self._like_another(*key) or self._drawn(*key)
        return self._layouts[key]

    def _drawn(self, sheet: str, version: str) -> SheetLayout:
        drawn = draw_sheet(self._studies[version], sheet)
        self._spaced |= {page.page.code: spaced_lines(page) for page in drawn}
        if sheet != BLANK:
            self._drawn_sites.setdefault((version, len(sheet)), sheet)
        pages = tuple(page.page for page in drawn)
        return SheetLayout(self.study.key, version, sheet, pages)

    def _like_another(self, sheet: str, version: str) -> SheetLayout | None:
        """The layout of a site's sheet by that of another site, which is drawn: sheets of sites
        with numbers of one length differ in what their codes and numbers say, and in nothing's
        place. None where no such sheet has been drawn.
        """
        like = self._drawn_sites.get((version, len(sheet)))
        if like is None or sheet == BLANK or self.study_of(version).site(sheet) is None:
            return None
        pages = []
        for page in self._layouts[like, version].pages:
            code = replace(page.code, sheet=sheet)
            lines = (same_line(line, page, code) for line in self._spaced[page.code])
            self._spaced[code] = tuple(line for line in lines if line is not None)
            pages.append(replace(page, code=code))
        return SheetLayout(self.study.key, version, sheet, tuple(pages))

    def spaced_lines(self, code: SheetCode) -> tuple[Text, ...]:
        """The printed lines of a page whose signs stand each in a place of its own."""
        self.layout(code.sheet, code.layout)
        return self._spaced[code]

    def blanks(self, number: int) -> tuple[Page, ...]:
        """The blank's page of this number in every version that has it."""
        layouts = [self.layout(BLANK, version) for version in self.versions]
        return tuple(found.pages[number - 1] for found in layouts if number <= len(found.pages))

    def lookup(self, code: SheetCode) -> Page | Reason:
        """The page with this code, or why there is none. An abbreviated study (from the printed
        code) is compared by its abbreviation.
        """
        study = self.study
        if code.study not in (study.key, MARK + study_mark(study.key)):
            other = "" if code.study.startswith(MARK) else code.study
            return because(Code.OTHER_STUDY, study=other, title=study.title)
        if code.layout == PROOF and PROOF not in self.versions:
            return because(
                Code.PRINT_CHECK,
                text="this photograph can't tell, as most corner marks are not seen; "
                "photograph the whole page",
            )
        if code.layout not in self.versions:
            now = self.version
            return because(Code.OLDER_LAYOUT, layout=code.layout, now=now, title=study.title)
        if code.sheet != BLANK and self.study_of(code.layout).site(code.sheet) is None:
            return because(Code.UNKNOWN_SITE, site=code.sheet)
        pages = self.layout(code.sheet, code.layout).pages
        if not 1 <= code.page <= len(pages):
            return because(Code.NO_SUCH_PAGE, page=code.page, pages=len(pages))
        return pages[code.page - 1]

    def pages(self) -> Iterator[Page]:
        """All pages of the blank, then of each site of the site list, in the present version."""
        for sheet in (BLANK, *(site.number for site in self.study.sites)):
            yield from self.layout(sheet).pages

    def template(self, page: Page, px_per_mm: float) -> NDArray[np.uint8]:
        """The printed page as uint8 (H, W), read-only; the last dozen are kept.

        W and H are the page's width and height in mm times ``px_per_mm``, rounded.
        """
        key = (replace(page.code, study=self.study.key), px_per_mm)
        if key in self._templates:
            self._templates.move_to_end(key)
            return self._templates[key]
        version = page.code.layout
        pdf = render_pdf(self.layout(page.code.sheet, version), self.study_of(version))
        raster = rasterise(pdf, page.number, px_per_mm)
        raster.setflags(write=False)
        self._templates[key] = raster
        while len(self._templates) > _TEMPLATES:
            self._templates.popitem(last=False)
        return raster


def telling_lines(book: LayoutBook, page: Page) -> tuple[Text, ...]:
    """The lines of the page that name its sheet: the printed code and, on a site's first page,
    the site number in the head. Each sign of them stands in a place of its own.
    """
    names = {printed_text(page.code)} | ({page.code.sheet} - {BLANK})
    return tuple(line for line in book.spaced_lines(page.code) if line.text in names)


def same_line(line: Text, page: Page, code: SheetCode) -> Text | None:
    """The ``line`` of ``page`` as the sheet with this ``code`` prints it; None if it does not."""
    if line.text == page.code.sheet:
        return None if code.sheet == BLANK else replace(line, text=code.sheet)
    if line.text == printed_text(page.code):
        return code_line(code, page.width_mm, page.height_mm)
    return line


@lru_cache(maxsize=512)
def sign_shape(
    sign: str, size_mm: float, face: Face, pitch_mm: float, px_per_mm: float
) -> NDArray[np.uint8]:
    """One sign in its place, uint8 (H, W): as wide as the pitch, from the baseline up to 0.8 of
    the font's size, with a tenth of the size above and below.
    """
    line = Text(0.0, size_mm * 0.9, sign, size_mm, face, pitch_mm=pitch_mm)
    shape = rasterise(render_marks((line,), pitch_mm, size_mm), 1, px_per_mm)
    shape.setflags(write=False)
    return shape
