"""Whether the print of a sheet names another sheet than its machine code.

A machine code can be pasted over, cut out and photographed with another sheet, or copied with the
page. What stands in print at the foot, and the site number in the head, then still says whose sheet
it is. Both are compared sign by sign with what every sheet of the study would print there: no text
recognition, some milliseconds. Only a clear answer counts: a covered, blurred or missing print
contradicts nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.drawing import Face, Text
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.sheet.signs import same_line, sign_shape, telling_lines
from sheet_reader.vision.arrays import Gray, as_gray
from sheet_reader.vision.cutting import cut
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.surface import Surface


@lru_cache(maxsize=512)
def _softened(sign: str, size_mm: float, face: Face, pitch_mm: float) -> Gray:
    shape = sign_shape(sign, size_mm, face, pitch_mm, VISION.other_print.px_per_mm)
    return as_gray(cv2.GaussianBlur(shape, (0, 0), VISION.other_print.soften_px))


class _Seen:
    """What is seen where ``own``, a line of the page, or another sheet's should stand."""

    def __init__(self, pyramid: Pyramid, surface: Surface, own: Text) -> None:
        self._corner = (
            own.x - VISION.other_print.slide_mm,
            own.y - own.size_mm * 0.9 - VISION.other_print.slide_mm,
        )
        width = (
            len(own.text) + VISION.other_print.more_signs
        ) * own.pitch_mm + 2 * VISION.other_print.slide_mm
        area = (*self._corner, width, own.size_mm + 2 * VISION.other_print.slide_mm)
        self._picture = cut(pyramid, surface, area, VISION.other_print.px_per_mm)
        self._known: dict[tuple[str, int], float] = {}

    def likeness(self, line: Text, at: int) -> float:
        """Correlation (-1..1) of the picture with sign ``at`` of ``line``, at the best of all
        places within ``_SLIDE_MM``.
        """
        sign = line.text[at]
        if (sign, at) not in self._known:
            shape = _softened(sign, line.size_mm, line.face, line.pitch_mm)
            left = round(
                (line.x + at * line.pitch_mm - VISION.other_print.slide_mm - self._corner[0])
                * VISION.other_print.px_per_mm
            )
            width = shape.shape[1] + round(
                2 * VISION.other_print.slide_mm * VISION.other_print.px_per_mm
            )
            piece = self._picture[:, left : left + width]
            found = cv2.matchTemplate(piece, shape, cv2.TM_CCOEFF_NORMED)
            self._known[sign, at] = float(found.max())
        return self._known[sign, at]

    def mean(self, line: Text, places: Iterable[int]) -> float:
        """Mean likeness of the signs of ``line`` at ``places``, dashes left out."""
        return float(np.mean([self.likeness(line, at) for at in places if line.text[at] != "-"]))


def other_sheet(
    pyramid: Pyramid, surface: Surface, page: Page, book: LayoutBook
) -> SheetCode | None:
    """The sheet of the study that the print of ``page`` clearly names in place of its own."""
    study, own = book.study_of(page.code.layout), page.code
    sheets = (BLANK, *(site.number for site in study.sites))
    others = [SheetCode(study.key, own.layout, s, own.page) for s in sheets if s != own.sheet]
    for line in telling_lines(book, page):
        seen = _Seen(pyramid, surface, line)
        found = []
        for other in others:
            there = same_line(line, page, other)
            if there is not None and _clearly(seen, line, there):
                found.append((seen.mean(there, range(len(there.text))), other))
        if found:
            return max(found, key=lambda pair: pair[0])[1]
    return None


def _clearly(seen: _Seen, own: Text, other: Text) -> bool:
    """Whether the picture clearly fits ``other`` and not ``own`` in the signs that differ."""
    if (
        other.pitch_mm != own.pitch_mm
        or len(other.text) > len(own.text) + VISION.other_print.more_signs
    ):
        return False
    pairs = enumerate(zip(own.text, other.text, strict=False))
    differ = [at for at, (a, b) in pairs if a != b and "-" not in (a, b)]
    if len(differ) < VISION.other_print.fewest_signs:
        return False
    margin, own_like = VISION.other_print.least_margin, seen.mean(own, differ)
    if own_like > 1.0 - margin:  # no correlation is as much higher
        return False
    like = seen.mean(other, differ)
    return bool(like >= VISION.other_print.least_likeness and like - own_like >= margin)
