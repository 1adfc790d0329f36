"""Whether the print of a sheet names another sheet than its machine code.

A machine code can be pasted over, cut out and photographed with another sheet, or copied with the
page. What stands in print at the foot, and the site number in the head, then still says whose sheet
it is. Both are compared sign by sign with what every sheet of the study would print there: no text
recognition, some milliseconds. Only a clear answer counts: a covered, blurred or missing print
contradicts nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import cv2
import numpy as np

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.drawing import Text
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.sheet.signs import same_line, sign_shape, telling_lines
from sheet_reader.vision.arrays import Gray, as_gray
from sheet_reader.vision.cutting import cut
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.surface import Surface

_SCALE = 10.0
_SLIDE_MM = 0.5
_SOFT_PX = 2.0
_LEAST_LIKE = 0.75
_LEAST_MARGIN = 0.15
"""Mean correlation of the differing signs with the other sheet's, and how far above that with the
own sheet's. Set on simulated photographs, see DEVELOPERS.md."""
_FEWEST_SIGNS = 2


@dataclass(slots=True)
class _Seen:
    """What is seen where a line should stand, compared sign by sign."""

    pyramid: Pyramid
    surface: Surface
    _pieces: dict[tuple[float, float, float], Gray] = field(default_factory=dict)
    _known: dict[tuple[float, float, float, str], float] = field(default_factory=dict)

    def likeness(self, line: Text, at: int) -> float:
        """Correlation (-1..1) of the picture with sign ``at`` of ``line``, at the best of all
        places within ``_SLIDE_MM``.
        """
        left, top = line.x + at * line.pitch_mm, line.y - line.size_mm * 0.9
        place = (left, top, line.pitch_mm)
        sign = line.text[at]
        if (*place, sign) not in self._known:
            if place not in self._pieces:
                s = _SLIDE_MM
                area = (left - s, top - s, line.pitch_mm + 2 * s, line.size_mm + 2 * s)
                self._pieces[place] = cut(self.pyramid, self.surface, area, _SCALE)
            shape = sign_shape(sign, line.size_mm, line.face, line.pitch_mm, _SCALE)
            soft = as_gray(cv2.GaussianBlur(shape, (0, 0), _SOFT_PX))
            found = cv2.matchTemplate(self._pieces[place], soft, cv2.TM_CCOEFF_NORMED)
            self._known[*place, sign] = float(found.max())
        return self._known[*place, sign]

    def mean(self, line: Text, places: Iterable[int]) -> float:
        """Mean likeness of the signs of ``line`` at ``places``, dashes left out."""
        return float(np.mean([self.likeness(line, at) for at in places if line.text[at] != "-"]))


def other_sheet(
    pyramid: Pyramid, surface: Surface, page: Page, book: LayoutBook
) -> SheetCode | None:
    """The sheet of the study that the print of ``page`` clearly names in place of its own."""
    study, own = book.study, page.code
    sheets = (BLANK, *(site.number for site in study.roster))
    others = [SheetCode(study.key, own.layout, s, own.page) for s in sheets if s != own.sheet]
    seen = _Seen(pyramid, surface)
    for line in telling_lines(study, page):
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
    if other.pitch_mm != own.pitch_mm:
        return False
    pairs = enumerate(zip(own.text, other.text, strict=False))
    differ = [at for at, (a, b) in pairs if a != b and "-" not in (a, b)]
    if len(differ) < _FEWEST_SIGNS:
        return False
    like = seen.mean(other, differ)
    return like >= _LEAST_LIKE and like - seen.mean(own, differ) >= _LEAST_MARGIN
