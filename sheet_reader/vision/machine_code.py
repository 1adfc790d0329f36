"""Reading the machine code: by decoders, else module by module.

Where its finder patterns are occluded or blurred, the paper's surface tells where each module lies,
so the code need not be found first. Its bits are either set again with clean finder patterns and
decoded, or compared with the codes of all sheets of the study: the right one agrees everywhere, any
other in little more than half.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.identity import code_modules, machine_text, parse_machine_text
from sheet_reader.sheet.page import BLANK, SheetCode
from sheet_reader.vision.arrays import Array, Box, Flags, Gray, as_array, as_gray
from sheet_reader.vision.flat_page import Pyramid, cut
from sheet_reader.vision.surface import FittedSurface

_FORMATS = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)


@dataclass(frozen=True, slots=True)
class CodeRead:
    """``code`` as read; None where a text was found that is none of ours (``foreign`` True) or
    nothing was found.
    """

    code: SheetCode | None = None
    foreign: bool = False


def _first_of_ours(texts: Iterable[str]) -> CodeRead:
    """The first of ``texts`` that is a code of ours."""
    foreign = False
    for text in texts:
        if (code := parse_machine_text(text)) is not None:
            return CodeRead(code)
        foreign = True
    return CodeRead(None, foreign)


def _decoded(piece: Gray) -> list[zxingcpp.Barcode]:
    found = zxingcpp.read_barcodes(piece, formats=_FORMATS)
    return [r for r in found if r.valid and 0 < len(r.text) <= VISION.codes.longest_text]


def read_machine_code(pyramid: Pyramid, surface: FittedSurface, box_mm: Box) -> CodeRead:
    """The machine code in ``box_mm``, tried at several scales and sharpened."""
    x, y, w, h = box_mm
    q = VISION.codes.quiet_mm
    area = (x - q, y - q, w + 2 * q, h + 2 * q)
    return _first_of_ours(_texts(pyramid, surface, area))


def _texts(pyramid: Pyramid, surface: FittedSurface, area: Box) -> Iterator[str]:
    for scale in VISION.codes.machine_scales:
        piece = cut(pyramid, surface, area, scale)
        soft = cv2.GaussianBlur(piece, (0, 0), 3.0)
        for version in (piece, as_gray(cv2.addWeighted(piece, 2.5, soft, -1.5, 0))):
            yield from (found.text for found in _decoded(version))
    try:
        text, _, _ = cv2.QRCodeDetector().detectAndDecode(cut(pyramid, surface, area, 8.0))
    except cv2.error:
        return
    if 0 < len(text) <= VISION.codes.longest_text:
        yield text


def read_anywhere(gray: Gray) -> SheetCode | None:
    """Any machine code of ours in a picture (uint8)."""
    return _first_of_ours(found.text for found in _decoded(gray)).code


@dataclass(frozen=True, slots=True)
class Modules:
    """``darkness`` float64 (n, n) of each module against its neighbourhood, positive is dark;
    ``seen`` bool (n, n), False outside the picture.
    """

    darkness: Array
    seen: Flags


def read_modules(
    pyramid: Pyramid, surface: FittedSurface, box_mm: Box, book: LayoutBook, page: int
) -> SheetCode | None:
    """The machine code by its modules' places: decoded, else compared with the study's codes."""
    known = known_modules(book, page)
    modules = sample_modules(pyramid, surface, box_mm, known)
    # a clean picture of the code, with the fixed modules as they should be
    dark = np.where(fixed_modules(len(known)), known, modules.darkness > 0)
    clean = as_gray(np.kron(np.where(np.pad(dark, 4), 0, 255), np.ones((4, 4))))
    texts = (found.text for found in _decoded(clean))
    return _first_of_ours(texts).code or best_candidate(modules, book, page)


@lru_cache(maxsize=1024)
def _drawn(code: SheetCode) -> Flags:
    """Bool (n, n), True where the machine code of ``code`` prints black."""
    return np.array(code_modules(machine_text(code)), dtype=np.bool_)


def known_modules(book: LayoutBook, page: int) -> Flags:
    """The blank sheet's code: its fixed modules are those of every sheet."""
    return _drawn(SheetCode(book.study.key, book.version, BLANK, page))


def fixed_modules(count: int) -> Flags:
    """Bool (n, n): modules that are alike in every code of this size (ISO/IEC 18004: finder
    patterns with separators, timing patterns; the alignment pattern of versions 2 to 6).
    """
    fixed = np.zeros((count, count), dtype=np.bool_)
    fixed[:8, :8] = fixed[:8, -8:] = fixed[-8:, :8] = True
    fixed[6, :] = fixed[:, 6] = True
    fixed[-9:-4, -9:-4] = True
    return fixed


def sample_modules(
    pyramid: Pyramid, surface: FittedSurface, box_mm: Box, known: Flags
) -> Modules:
    """Every module of the code in ``box_mm``, shifted a little to where the fixed modules of
    ``known`` (any code of the same size) fit best.
    """
    own, count, rim = VISION.modules, len(known), 2
    x, y, w, h = box_mm
    side = w / count
    area = (x - rim * side, y - rim * side, w + 2 * rim * side, h + 2 * rim * side)
    piece = as_gray(cv2.blur(cut(pyramid, surface, area, own.px_per_module / side), (3, 3)))
    sign = np.where(known, 1.0, -1.0) * fixed_modules(count)
    first = rim * own.px_per_module + own.px_per_module // 2
    centres = first + np.arange(count) * own.px_per_module
    shifts = range(-own.search_px, own.search_px + 1, 2)
    tried = [_at(piece, centres + dy, centres + dx) for dy, dx in product(shifts, shifts)]
    return max(tried, key=lambda m: float((np.clip(m.darkness, -1.5, 1.5) * sign).sum()))


def _at(piece: Gray, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Modules:
    values = piece[np.ix_(rows, columns)].astype(np.float64)
    window = (VISION.modules.local_modules, VISION.modules.local_modules)
    mean, square = (as_array(cv2.blur(v, window)) for v in (values, values * values))
    spread = np.sqrt(np.maximum(square - mean * mean, 4.0))
    return Modules((mean - values) / spread, values > 0)


def codes_of(book: LayoutBook, page: int) -> list[SheetCode]:
    """The codes of this page of every sheet of the study, in every version of its layout."""
    sheets = (BLANK, *(site.number for site in book.study.sites))
    return [SheetCode(book.study.key, *each, page) for each in product(book.versions, sheets)]


def best_candidate(modules: Modules, book: LayoutBook, page: int) -> SheetCode | None:
    """The sheet of the study whose code agrees with what is seen, if one alone does."""
    own = VISION.modules
    free = modules.seen & ~fixed_modules(len(modules.seen))
    if int(free.sum()) < own.least_seen:
        return None
    codes = codes_of(book, page)
    dark = modules.darkness > 0
    agreement = np.array([float((_drawn(c) == dark)[free].mean()) for c in codes])
    order = np.argsort(agreement)[::-1]
    runner_up = agreement[order[1]] if len(codes) > 1 else 0.5
    first = agreement[order[0]]
    sure = first >= own.least_agreement and first - max(runner_up, 0.5) >= own.least_margin
    return codes[int(order[0])] if sure else None
