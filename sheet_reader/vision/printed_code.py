"""What stands in print on a sheet and names it: the printed code at its foot, the site number.

Where the machine code can't be read, the printed code is read sign by sign: every sign has a place
of its own, and is the one whose print is likest. Where that is not sure, Tesseract is asked, and
what it reads is checked against the print it should be.

Where the machine code is read, the print must not clearly name another sheet: a code can be pasted
over, cut out and photographed with another sheet, or copied with the page. That is compared sign by
sign with what every sheet of the study would print. Only a clear answer counts: a covered, blurred
or missing print contradicts nothing.
"""

from __future__ import annotations

import shutil
import string
from collections.abc import Iterable, Iterator
from functools import lru_cache

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.sheet.book import LayoutBook, same_line, sign_shape, telling_lines
from sheet_reader.sheet.identity import code_line, parse_printed_text, printed_text
from sheet_reader.sheet.page import BLANK, Face, Page, SheetCode, Text
from sheet_reader.vision.arrays import Gray, as_gray
from sheet_reader.vision.flat_page import Pyramid, cut
from sheet_reader.vision.machine_code import codes_of
from sheet_reader.vision.surface import FittedSurface

_SIGNS = string.ascii_uppercase + string.digits
_TESSERACT_SIGNS = "ACDEFHJKMNPRTUVWXYBLIOSQGZ0123456789-"
_PATIENCE_S = VISION.printed.patience_s
_NOT_YET = because(Code.TOO_SLOW, seconds=round(_PATIENCE_S))


@lru_cache(maxsize=1)
def tesseract_available() -> bool:
    """Whether Tesseract is installed: without it only what is sure is read of printed codes."""
    try:
        import pytesseract
    except ImportError:
        return False
    return shutil.which(pytesseract.pytesseract.tesseract_cmd) is not None


def read_printed(
    pyramid: Pyramid, surface: FittedSurface, page: Page, book: LayoutBook
) -> Page | Reason | None:
    """The page that the printed code names, or why there is none, or None if it can't be read.

    ``page`` tells where the code stands. The reason is :attr:`Code.TOO_SLOW` where Tesseract did
    not answer: then the code is not read yet, and may be the next time.
    """
    code = _by_signs(pyramid, surface, page, book)
    if code is not None:
        return book.lookup(code)
    return _by_tesseract(pyramid, surface, page, book) if tesseract_available() else None


def _by_signs(
    pyramid: Pyramid, surface: FittedSurface, page: Page, book: LayoutBook
) -> SheetCode | None:
    """The code whose every sign is clearly likest to what is seen in its place, if there is one.

    Codes differ in length, and so in the places of their signs: all that occur are tried.
    """
    own = VISION.printed
    lines = [code_line(c, page.width_mm, page.height_mm) for c in codes_of(book, page.number)]
    by_dashes = {tuple(sign == "-" for sign in line.text): line for line in lines}
    for line in by_dashes.values():
        text, least, lead = SeenLine(pyramid, surface, line).read(line)
        code = parse_printed_text(text)
        if code is not None and least >= own.least_sure and lead >= own.least_lead:
            return code
    return None


def _by_tesseract(
    pyramid: Pyramid, surface: FittedSurface, page: Page, book: LayoutBook
) -> Page | Reason | None:
    """As :func:`read_printed`, by Tesseract. What it reads is believed only where no sign of it is
    clearly another one by its shape; a sheet that is not in the book only where two readings agree.
    Each time it gets one line, no larger than a printed code is.
    """
    refused: list[SheetCode] = []
    x, y, w, h = page.printed_code_box_mm
    side, head = VISION.printed.side_mm, VISION.printed.head_mm
    for scale in VISION.printed.scales:
        area = (x - side, y - head, w + 2 * side, h + 2 * head)
        piece = _cleaned(cut(pyramid, surface, area, scale), scale)
        for version in (_closed_up(piece, len(printed_text(page.code)), scale), piece):
            text = _tesseract(version)
            if text is None:
                return _NOT_YET
            code = parse_printed_text(text) or _nearly(text, book, page.number)
            if code is None:
                continue
            found = book.lookup(code)
            if isinstance(found, Reason):
                if code in refused and found.code in (Code.OTHER_STUDY, Code.OLDER_LAYOUT):
                    return found
                refused.append(code)
            else:
                line = code_line(found.code, found.width_mm, found.height_mm)
                if SeenLine(pyramid, surface, line).may_be(line):
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


def _tesseract(piece: Gray) -> str | None:
    """What Tesseract reads in one line of signs; None where it did not answer.

    Its work is bounded by what it gets. The time limit is a net: how busy the machine is must not
    decide what a code says.
    """
    import pytesseract

    p, ground = VISION.printed.padding_px, int(np.median(piece))
    framed = cv2.copyMakeBorder(piece, p, p, p, p, cv2.BORDER_CONSTANT, value=ground)
    options = f"--psm 7 -c tessedit_char_whitelist={_TESSERACT_SIGNS}"
    try:
        return str(pytesseract.image_to_string(framed, config=options, timeout=_PATIENCE_S))
    except (pytesseract.TesseractError, OSError):
        return ""
    except RuntimeError:  # that is how pytesseract says that the time is over
        return None


def _nearly(text: str, book: LayoutBook, number: int) -> SheetCode | None:
    """The study's own sheet whose code has the same sheet, page and check character, and at most
    two other signs in its first seven.
    """
    read = "".join(text.split()).replace("-", "")
    found = []
    for code in codes_of(book, number):
        full = printed_text(code).replace("-", "")
        if len(full) == len(read) and full[7:] == read[7:]:
            wrong = sum(a != b for a, b in zip(full, read, strict=True))
            found += [code] if wrong <= VISION.printed.most_wrong else []
    return found[0] if len(found) == 1 else None


@lru_cache(maxsize=512)
def _softened(sign: str, size_mm: float, face: Face, pitch_mm: float) -> Gray:
    shape = sign_shape(sign, size_mm, face, pitch_mm, VISION.other_print.px_per_mm)
    return as_gray(cv2.GaussianBlur(shape, (0, 0), VISION.other_print.soften_px))


class SeenLine:
    """What is seen where ``line`` of the page, or another sheet's in its stead, should stand."""

    def __init__(self, pyramid: Pyramid, surface: FittedSurface, line: Text) -> None:
        own = VISION.other_print
        self._left = line.x - own.slide_mm
        width = (len(line.text) + own.more_signs) * line.pitch_mm + 2 * own.slide_mm
        top = line.y - line.size_mm * 0.9 - own.slide_mm
        area = (self._left, top, width, line.size_mm + 2 * own.slide_mm)
        self._picture = cut(pyramid, surface, area, own.px_per_mm)
        self._known: dict[tuple[str, int], float] = {}

    def _likeness(self, line: Text, sign: str, at: int) -> float:
        """Correlation (-1..1) of the picture with ``sign`` in place ``at`` of ``line``, at the best
        of all places within ``slide_mm``.
        """
        own = VISION.other_print
        if (sign, at) not in self._known:
            shape = _softened(sign, line.size_mm, line.face, line.pitch_mm)
            place = line.x + at * line.pitch_mm - own.slide_mm - self._left
            left = round(place * own.px_per_mm)
            width = shape.shape[1] + round(2 * own.slide_mm * own.px_per_mm)
            piece = self._picture[:, left : left + width]
            found = cv2.matchTemplate(piece, shape, cv2.TM_CCOEFF_NORMED)
            self._known[sign, at] = float(found.max())
        return self._known[sign, at]

    def read(self, line: Text) -> tuple[str, float, float]:
        """The text of the likeliest sign in each place of ``line`` but the dashes, how like the
        least like of them is, and by how much at least it is likelier than any other sign.
        """
        text, least, lead = list(line.text), 1.0, 1.0
        for at, ranked in self._ranked(line):
            (second, _), (first, text[at]) = ranked[-2:]
            least, lead = min(least, first), min(lead, first - second)
        return "".join(text), least, lead

    def may_be(self, line: Text) -> bool:
        """Whether every sign of ``line`` can be what is seen in its place: there is some likeness,
        and no other sign is clearly likelier.
        """
        own = VISION.printed
        return all(
            self._likeness(line, line.text[at], at)
            >= max(own.least_likeness, ranked[-1][0] - own.far_below)
            for at, ranked in self._ranked(line)
        )

    def _ranked(self, line: Text) -> Iterator[tuple[int, list[tuple[float, str]]]]:
        """Each place of ``line`` but the dashes, with all signs there by their likeness, rising."""
        for at, own in enumerate(line.text):
            if own != "-":
                yield at, sorted((self._likeness(line, sign, at), sign) for sign in _SIGNS)

    def mean(self, line: Text, places: Iterable[int]) -> float:
        """Mean likeness of the signs of ``line`` at ``places``, dashes left out."""
        signs = ((line.text[at], at) for at in places)
        likeness = [self._likeness(line, sign, at) for sign, at in signs if sign != "-"]
        return float(np.mean(likeness))


def other_sheet(
    pyramid: Pyramid, surface: FittedSurface, page: Page, book: LayoutBook
) -> SheetCode | None:
    """The sheet of the study that the print of ``page`` clearly names in place of its own."""
    study, own = book.study_of(page.code.layout), page.code
    sheets = (BLANK, *(site.number for site in study.sites))
    others = [SheetCode(study.key, own.layout, s, own.page) for s in sheets if s != own.sheet]
    for line in telling_lines(book, page):
        seen = SeenLine(pyramid, surface, line)
        found = [
            (seen.mean(there, range(len(there.text))), other)
            for other in others
            if (there := same_line(line, page, other)) and _clearly(seen, line, there)
        ]
        if found:
            return max(found, key=lambda pair: pair[0])[1]
    return None


def _clearly(seen: SeenLine, own: Text, other: Text) -> bool:
    """Whether the picture clearly fits ``other`` and not ``own`` in the signs that differ."""
    limits = VISION.other_print
    longer = len(other.text) - len(own.text)
    if other.pitch_mm != own.pitch_mm or longer > limits.more_signs:
        return False
    pairs = enumerate(zip(own.text, other.text, strict=False))
    differ = [at for at, (a, b) in pairs if a != b and "-" not in (a, b)]
    if len(differ) < limits.fewest_signs:
        return False
    own_like = seen.mean(own, differ)
    if own_like > 1.0 - limits.least_margin:  # no correlation is as much higher
        return False
    like = seen.mean(other, differ)
    return bool(like >= limits.least_likeness and like - own_like >= limits.least_margin)
