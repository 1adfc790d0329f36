"""The machine code read module by module, where its finder patterns are occluded or blurred.

The paper's surface tells where each module lies, so the code need not be found first. Its bits
are either set again with clean finder patterns and decoded, or compared with the codes of all
sheets of the study: the right one agrees everywhere, any other in little more than half.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.codes import machine_text
from sheet_reader.sheet.identity import code_modules
from sheet_reader.sheet.model import BLANK, SheetCode
from sheet_reader.vision.arrays import Array, Flags, Gray, as_array, as_gray
from sheet_reader.vision.cutting import cut
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.surface import Surface


@dataclass(frozen=True, slots=True)
class Modules:
    """``darkness`` float64 (n, n) of each module against its neighbourhood, positive is dark;
    ``seen`` bool (n, n), False outside the picture.
    """

    darkness: Array
    seen: Flags


@lru_cache(maxsize=1024)
def _drawn(code: SheetCode) -> Flags:
    """Bool (n, n), True where the machine code of ``code`` prints black."""
    return np.array(code_modules(machine_text(code)), dtype=np.bool_)


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
    pyramid: Pyramid, surface: Surface, box_mm: tuple[float, float, float, float], known: Flags
) -> Modules:
    """Every module of the code in ``box_mm``, shifted a little to where the fixed modules of
    ``known`` (any code of the same size) fit best.
    """
    count = len(known)
    x, y, w, h = box_mm
    rim = 2
    side = w / count
    area = (x - rim * side, y - rim * side, w + 2 * rim * side, h + 2 * rim * side)
    piece = cv2.blur(cut(pyramid, surface, area, VISION.modules.px_per_module / side), (3, 3))
    fixed = fixed_modules(count)
    sign = np.where(known, 1.0, -1.0) * fixed
    best: tuple[float, Modules] | None = None
    reach = range(-VISION.modules.search_px, VISION.modules.search_px + 1, 2)
    for dy in reach:
        for dx in reach:
            modules = _at(as_gray(piece), count, rim, dx, dy)
            fit = float((np.clip(modules.darkness, -1.5, 1.5) * sign).sum())
            if best is None or fit > best[0]:
                best = (fit, modules)
    assert best is not None
    return best[1]


def _at(piece: Gray, count: int, rim: int, dx: int, dy: int) -> Modules:
    first = rim * VISION.modules.px_per_module + VISION.modules.px_per_module // 2
    rows = first + dy + np.arange(count) * VISION.modules.px_per_module
    columns = first + dx + np.arange(count) * VISION.modules.px_per_module
    values = piece[np.ix_(rows, columns)].astype(np.float64)
    mean = as_array(cv2.blur(values, (VISION.modules.local_modules, VISION.modules.local_modules)))
    square = as_array(
        cv2.blur(values * values, (VISION.modules.local_modules, VISION.modules.local_modules))
    )
    spread = np.sqrt(np.maximum(square - mean * mean, 4.0))
    return Modules((mean - values) / spread, values > 0)


def redrawn(modules: Modules, known: Flags) -> Gray:
    """A clean picture of the code, with the fixed modules of ``known``."""
    count = len(known)
    dark = np.where(fixed_modules(count), known, modules.darkness > 0)
    quiet = np.pad(dark, 4)
    return as_gray(np.kron(np.where(quiet, 0, 255), np.ones((4, 4))))


def best_candidate(modules: Modules, book: LayoutBook, page: int) -> SheetCode | None:
    """The sheet of the study whose code agrees with what is seen, if one alone does."""
    study = book.study
    sheets = (BLANK, *(site.number for site in study.sites))
    codes = [SheetCode(study.key, v, sheet, page) for v in book.versions for sheet in sheets]
    free = modules.seen & ~fixed_modules(len(modules.seen))
    if int(free.sum()) < VISION.modules.least_seen:
        return None
    dark = modules.darkness > 0
    agreement = np.array([float((_drawn(c) == dark)[free].mean()) for c in codes])
    order = np.argsort(agreement)[::-1]
    runner_up = agreement[order[1]] if len(codes) > 1 else 0.5
    first = agreement[order[0]]
    sure = (
        first >= VISION.modules.least_agreement
        and first - max(runner_up, 0.5) >= VISION.modules.least_margin
    )
    return codes[int(order[0])] if sure else None


def known_modules(book: LayoutBook, page: int) -> Flags:
    """The blank sheet's code: its fixed modules are those of every sheet."""
    return _drawn(SheetCode(book.study.key, book.version, BLANK, page))
