"""Reading the printed code with Tesseract, and checking it against the print it should be."""

from __future__ import annotations

import shutil
from functools import lru_cache
from itertools import product

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code
from sheet_reader.sheet.book import LayoutBook, Mismatch
from sheet_reader.sheet.codes import parse_printed_text, printed_text
from sheet_reader.sheet.model import BLANK, Page, SheetCode
from sheet_reader.vision.arrays import Array, Gray, as_gray
from sheet_reader.vision.cutting import cut
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.surface import Surface

Box = tuple[float, float, float, float]
_ALPHABET = "ACDEFHJKMNPRTUVWXYBLIOSQGZ0123456789-"


@lru_cache(maxsize=1)
def printed_code_available() -> bool:
    """Whether Tesseract is installed: without it only the machine code identifies a sheet."""
    try:
        import pytesseract
    except ImportError:
        return False
    return shutil.which(pytesseract.pytesseract.tesseract_cmd) is not None


def read_printed(
    pyramid: Pyramid, surface: Surface, page: Page, book: LayoutBook
) -> Page | Mismatch | None:
    """The page that the printed code names, or why there is none, or None if it can't be read.

    ``page`` tells where the code stands. What Tesseract reads is believed only where the print
    of the sheet it names looks like the picture, sign by sign; a sheet that is not in the book
    only where two readings agree.
    """
    if not printed_code_available():
        return None
    refused: list[SheetCode] = []
    for scale in VISION.printed.scales:
        x, y, w, h = page.printed_code_box_mm
        area = (
            x - VISION.printed.side_mm,
            y - VISION.printed.head_mm,
            w + 2 * VISION.printed.side_mm,
            h + 2 * VISION.printed.head_mm,
        )
        piece = _cleaned(cut(pyramid, surface, area, scale), scale)
        for signs in (len(printed_text(page.code)), 0):
            text = _tesseract(_closed_up(piece, signs, scale) if signs else piece)
            code = parse_printed_text(text) or _nearly(text, book, page.number)
            if code is None:
                continue
            found = book.lookup(code)
            if isinstance(found, Mismatch):
                if code in refused and found.reason.code in (Code.OTHER_STUDY, Code.OLDER_LAYOUT):
                    return found
                refused.append(code)
            elif _looks_like(pyramid, surface, found, book):
                return found
    return None


def _cleaned(piece: Gray, scale: float) -> Gray:
    """Levelled, stretched to full contrast and calmed."""
    side = round(5 * scale) | 1
    kernel = np.ones((side, side), dtype=np.uint8)
    level = as_gray(cv2.morphologyEx(cv2.blur(piece, (5, 5)), cv2.MORPH_CLOSE, kernel))
    ratio = piece.astype(np.float32) / np.maximum(level, 1)
    low = float(np.percentile(ratio, 3))
    even = np.clip((ratio - low) / max(0.97 - low, 0.05), 0, 1) * 255
    return as_gray(cv2.GaussianBlur(even.astype(np.uint8), (0, 0), scale / 6))


def _closed_up(piece: Gray, signs: int, scale: float) -> Gray:
    """The signs moved closer together: wide spacing confuses text recognition."""
    rim = VISION.printed.side_mm * scale
    pitch = (piece.shape[1] - 2 * rim) / signs
    starts = [rim + (i + 0.1) * pitch for i in range(signs)]
    return as_gray(np.hstack([piece[:, round(s) : round(s + 0.8 * pitch)] for s in starts]))


def _tesseract(piece: Gray) -> str:
    import pytesseract

    ground = int(np.median(piece))
    p = VISION.printed.padding_px
    framed = cv2.copyMakeBorder(piece, p, p, p, p, cv2.BORDER_CONSTANT, value=ground)
    options = f"--psm 7 -c tessedit_char_whitelist={_ALPHABET}"
    try:
        text: str = pytesseract.image_to_string(framed, config=options, timeout=10)
    except (pytesseract.TesseractError, RuntimeError, OSError):
        return ""
    return text


def _nearly(text: str, book: LayoutBook, number: int) -> SheetCode | None:
    """The study's own sheet whose code has the same sheet, page and check character, and at most
    two other signs in its first seven.
    """
    read = "".join(text.split()).replace("-", "")
    found = []
    sheets = (BLANK, *(site.number for site in book.study.sites))
    for version, sheet in product(book.versions, sheets):
        code = SheetCode(book.study.key, version, sheet, number)
        full = printed_text(code).replace("-", "")
        if len(full) == len(read) and full[7:] == read[7:]:
            wrong = sum(a != b for a, b in zip(full, read, strict=True))
            found += [code] if wrong <= VISION.printed.most_wrong else []
    return found[0] if len(found) == 1 else None


def _looks_like(pyramid: Pyramid, surface: Surface, page: Page, book: LayoutBook) -> bool:
    """Whether every sign of the page's printed code looks like the picture."""
    x, y, w, h = page.printed_code_box_mm
    signs = printed_text(page.code)
    area = (x, y - VISION.printed.head_mm, w, h + 2 * VISION.printed.head_mm)
    seen = _cleaned(
        cut(pyramid, surface, area, VISION.template.raster_px_per_mm),
        VISION.template.raster_px_per_mm,
    )
    rim = VISION.printed.slide_px
    seen = as_gray(cv2.copyMakeBorder(seen, rim, rim, rim, rim, cv2.BORDER_REPLICATE))
    raster = book.template(page, VISION.template.raster_px_per_mm)
    x0, y0 = (
        round(area[0] * VISION.template.raster_px_per_mm),
        round(area[1] * VISION.template.raster_px_per_mm),
    )
    height, width = seen.shape[0] - 2 * rim, seen.shape[1] - 2 * rim
    print_ = as_gray(cv2.GaussianBlur(raster[y0 : y0 + height, x0 : x0 + width], (0, 0), 2.0))
    spots = cv2.matchTemplate(seen, print_, cv2.TM_CCOEFF_NORMED)
    _, _, _, (dx, dy) = cv2.minMaxLoc(spots)
    aligned = seen[dy : dy + height, dx : dx + width]
    likeness = _by_sign(aligned, print_, signs)
    return bool(
        likeness.min() > VISION.printed.least_likeness
        and likeness.min() > np.median(likeness) - VISION.printed.far_below
    )


def _by_sign(seen: Gray, print_: Gray, signs: str) -> Array:
    """Correlation of picture and print for each sign but the dashes."""
    edges = np.linspace(0, seen.shape[1], len(signs) + 1).round().astype(int)
    values = []
    for sign, left, right in zip(signs, edges[:-1], edges[1:], strict=True):
        if sign != "-":
            a = seen[:, left:right].astype(np.float64).ravel()
            b = print_[:, left:right].astype(np.float64).ravel()
            a, b = a - a.mean(), b - b.mean()
            values.append(float(a @ b) / max(float(np.sqrt((a @ a) * (b @ b))), 1e-9))
    return np.array(values)
