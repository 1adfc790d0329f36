"""All sheets of a study, by the code on a page."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.codes import MARK, PROOF, study_mark
from sheet_reader.sheet.editions import editions
from sheet_reader.sheet.model import BLANK, Page, SheetCode, SheetLayout
from sheet_reader.sheet.pdf import render_pdf
from sheet_reader.sheet.raster import rasterise
from sheet_reader.study.model import Study

MismatchKind = Literal["other study", "older layout", "unknown site", "no such page"]
_TEMPLATES = 12


@dataclass(frozen=True, slots=True)
class Mismatch:
    """Why a code names no page of this study; ``reason`` in a volunteer's words."""

    kind: MismatchKind
    reason: str


class LayoutBook:
    """The layouts of one study, made when first asked for: in the sheet's present edition, and in
    earlier ones, so that sheets printed from those are found too.

    Raises StudyError where the study does not fit its paper.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self._editions = editions(study)
        self._layouts: dict[tuple[str, str], SheetLayout] = {}
        self._templates: OrderedDict[tuple[SheetCode, float], NDArray[np.uint8]] = OrderedDict()

    @property
    def version(self) -> str:
        """The layout version of the study as it is now."""
        return self.versions[0]

    @property
    def versions(self) -> tuple[str, ...]:
        """Every layout version whose sheets can be read, the present one first."""
        return tuple(self._editions)

    def layout(self, sheet: str = BLANK, version: str = "") -> SheetLayout:
        """The layout of one sheet, in the present version unless another of :attr:`versions` is
        named; raises UsageError for a site that is not on the roster.
        """
        key = (sheet, version or self.version)
        if key not in self._layouts:
            drawn = self._editions[key[1]](self.study, sheet)
            pages = tuple(page.page for page in drawn)
            self._layouts[key] = SheetLayout(self.study.key, key[1], sheet, pages)
        return self._layouts[key]

    def blanks(self, number: int) -> tuple[Page, ...]:
        """The blank's page of this number in every version that has it."""
        layouts = [self.layout(BLANK, version) for version in self.versions]
        return tuple(found.pages[number - 1] for found in layouts if number <= len(found.pages))

    def lookup(self, code: SheetCode) -> Page | Mismatch:
        """The page with this code, or why there is none. An abbreviated study (from the printed
        code) is compared by its abbreviation.
        """
        study = self.study
        own = code.study == study.key or code.study == MARK + study_mark(study.key)
        if not own:
            other = "" if code.study.startswith(MARK) else f" (“{code.study}”)"
            return Mismatch(
                "other study",
                f"this sheet belongs to another study{other}, not to “{study.title}”; "
                "send it to the coordinator of that study",
            )
        if code.layout == PROOF and PROOF not in self.versions:
            return Mismatch("no such page", "this is the page that checks printer and paper")
        if code.layout not in self.versions:
            return Mismatch(
                "older layout",
                f"this sheet was printed from another version of “{study.title}” "
                f"({code.layout}, now {self.version}); type its numbers in by hand, and use a "
                "fresh print next time",
            )
        if code.sheet != BLANK and study.site(code.sheet) is None:
            return Mismatch(
                "unknown site",
                f"site {code.sheet} is printed on this sheet but is not on the roster; "
                "put the site back on the roster, or check the sheet",
            )
        pages = self.layout(code.sheet, code.layout).pages
        if not 1 <= code.page <= len(pages):
            return Mismatch(
                "no such page",
                f"this sheet says page {code.page}, but a sheet has {len(pages)}; "
                "photograph it again",
            )
        return pages[code.page - 1]

    def page(self, code: SheetCode) -> Page | str:
        """As :meth:`lookup`, with the reason alone where there is no such page."""
        found = self.lookup(code)
        return found.reason if isinstance(found, Mismatch) else found

    def pages(self) -> Iterator[Page]:
        """All pages of the blank, then of each site of the roster, in the present version."""
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
        pdf = render_pdf(self.layout(page.code.sheet, page.code.layout), self.study)
        raster = rasterise(pdf, page.number, px_per_mm)
        raster.setflags(write=False)
        self._templates[key] = raster
        while len(self._templates) > _TEMPLATES:
            self._templates.popitem(last=False)
        return raster
