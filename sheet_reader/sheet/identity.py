"""What tells a page of paper from any other: fiducial markers, machine code and printed code.

Every layout prints them in the same place, so that a page can be identified before its layout is
known. Both codes hold study, layout version, sheet and page, and carry a check of their own:

* machine code ``S1/BEAN-TIPS/HKRV/2043/1/ABCD``: the last part is made of 20 bits of the CRC-32
  of what stands before it;
* printed code ``MTK-HRVA-2043-1-X``: the study is abbreviated to three letters and the last sign
  is the ISO/IEC 7064 MOD 37,36 check character of all others.
"""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.page import BLANK, Blocks, Box, Mark, Marker, SheetCode, Text

if TYPE_CHECKING:
    import cv2

MARKER_MM = 10.4
"""Side of the black square: 8 modules of 1.3 mm."""
MODULES = 8
EDGE_MM = 9.0
"""Distance of everything printed from the edge of the paper."""
PER_PAGE = 10
SETS = 58
CORRECTABLE_BITS = 5
"""Of a distance of 11, (11 - 1) / 2 wrong bits can be put right."""
CODE_MM = 23.2
"""Side of the machine code: 29 modules of 0.8 mm."""
CODE_TOP = EDGE_MM
QUIET_MM = 3.2
"""White around the machine code: 4 modules, as ISO/IEC 18004 asks."""
SIDE = EDGE_MM + MARKER_MM + QUIET_MM
"""Width of the side margins, which belong to the markers."""
FOOT = EDGE_MM + MARKER_MM + 1.4
"""Height of the bottom margin."""
PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""ISO 216 A4 and ANSI/ASME Y14.1 A (Letter)."""

LETTERS = "ACDEFHJKMNPRTUVWXY"
"""Letters that are not taken for a digit or for one another in print."""
MARK = "#"
"""Begins ``SheetCode.study`` where only the abbreviation is known (from the printed code)."""
MOST_PAGES = 9
PROOF = "CHEK"
"""Stands for the layout version on the page that checks printer and paper; no sheet has it."""

_ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MACHINE = re.compile(
    rf"S1/([A-Z0-9]+(?:-[A-Z0-9]+)*)/([{LETTERS}]{{4}})/({BLANK}|[0-9]{{2,8}})/([1-9])"
    rf"/([{LETTERS}]{{5}})\Z"
)
_PRINTED = re.compile(
    rf"([{LETTERS}]{{3}})([{LETTERS}]{{4}})({BLANK}|[0-9]{{2,8}})([1-9])([0-9A-Z])\Z"
)
_LIKE = str.maketrans("OQISBZG", "0015826")


def _spelt(number: int, count: int) -> str:
    """``count`` letters for a number, the last place first."""
    base = len(LETTERS)
    return "".join(LETTERS[number // base**place % base] for place in range(count))


def letters(data: bytes, count: int) -> str:
    """``count`` letters of the unambiguous alphabet, drawn from the SHA-256 of ``data``."""
    return _spelt(int.from_bytes(hashlib.sha256(data).digest(), "big"), count)


def _crc_letters(text: str) -> str:
    return _spelt(zlib.crc32(text.encode("ascii")), 5)


def study_mark(key: str) -> str:
    """The study's three-letter abbreviation in the printed code."""
    return letters(f"study {key}".encode(), 3)


def machine_text(code: SheetCode) -> str:
    """The text of the machine code (only signs of the QR code's alphanumeric mode)."""
    body = f"S1/{code.study.upper()}/{code.layout}/{code.sheet}/{code.page}"
    return f"{body}/{_crc_letters(body)}"


def parse_machine_text(text: str) -> SheetCode | None:
    """The code in ``text``, or None for anything that is not exactly one of ours."""
    found = _MACHINE.match(text)
    if found is None or len(found[1]) > 16:
        return None
    if _crc_letters(text.rpartition("/")[0]) != found[5]:
        return None
    return SheetCode(found[1].lower(), found[2], found[3], int(found[4]))


def check_character(text: str) -> str:
    """ISO/IEC 7064 MOD 37,36 check character of ``text`` (digits and capital letters)."""
    carry = 36
    for sign in text:
        carry = (carry + _ALPHANUMERIC.index(sign)) % 36 or 36
        carry = carry * 2 % 37
    return _ALPHANUMERIC[(37 - carry) % 36]


def printed_text(code: SheetCode) -> str:
    """The printed code, as a person or a text recogniser reads it."""
    mark = code.study[1:] if code.study.startswith(MARK) else study_mark(code.study)
    parts = (mark, code.layout, code.sheet, str(code.page))
    return "-".join((*parts, check_character("".join(parts))))


def parse_printed_text(text: str) -> SheetCode | None:
    """The code in ``text``, or None; ``study`` is ``#`` and the abbreviation.

    Blanks and dashes don't matter, nor does a letter read for a digit of like shape (O for 0) in
    the numbers. The check character covers every sign and must stand exactly: taken for its like
    it would let a wrong digit pass.
    """
    if len(text) > 64:
        return None
    signs = re.sub(r"[\s\-–—_.·]+", "", text).upper()
    if not signs.isascii() or len(signs) < 11:
        return None
    tail = signs[7:-1]
    if tail[:-1].translate(_LIKE) == BLANK.translate(_LIKE):
        tail = BLANK + tail[-1]
    else:
        tail = tail.translate(_LIKE)
    found = _PRINTED.match(signs[:7] + tail[:-1] + tail[-1:].translate(_LIKE) + signs[-1])
    if found is None:
        return None
    if found[5] != check_character("".join(found.groups()[:4])):
        return None
    return SheetCode(MARK + found[1], found[2], found[3], int(found[4]))


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """The dictionary as OpenCV ships it (587 ids, smallest Hamming distance 11).

    OpenCV 4 says that none of its bits can be corrected, OpenCV 5 that five can
    (opencv/opencv#29034), so it is said here.
    """
    import cv2  # the status of a study places markers and draws none

    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    table.maxCorrectionBits = CORRECTABLE_BITS
    return table


def marker_ids(study: str, page: int) -> range:
    """The ids on a page, by slot: four corners clockwise from top left, top and bottom middle,
    upper and lower left, upper and lower right. Pages of one study have sets that follow one
    another.
    """
    first = (zlib.crc32(study.encode()) + page - 1) % SETS * PER_PAGE
    return range(first, first + PER_PAGE)


def place_markers(study: str, page: int, width_mm: float, height_mm: float) -> tuple[Marker, ...]:
    """The ten markers of a page of the given size."""
    left, top = EDGE_MM, EDGE_MM
    right, bottom = width_mm - EDGE_MM - MARKER_MM, height_mm - EDGE_MM - MARKER_MM
    middle = (left + right) / 2
    upper, lower = top + (bottom - top) * 0.36, top + (bottom - top) * 0.69
    places = (
        (left, top), (right, top), (right, bottom), (left, bottom),
        (middle, top), (middle, bottom),
        (left, upper), (left, lower), (right, upper), (right, lower),
    )  # fmt: skip
    ids = marker_ids(study, page)
    return tuple(Marker(i, _square(x, y)) for i, (x, y) in zip(ids, places, strict=True))


def _square(x: float, y: float) -> tuple[tuple[float, float], ...]:
    x0, y0 = round(x, 3), round(y, 3)
    x1, y1 = round(x0 + MARKER_MM, 3), round(y0 + MARKER_MM, 3)
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def marker_modules(marker_id: int) -> NDArray[np.bool_]:
    """Bool (8, 8), True where the marker prints black, row 0 at the top."""
    import cv2

    image = cv2.aruco.generateImageMarker(dictionary(), marker_id, MODULES, borderBits=1)
    return np.asarray(image) < 128


def marker_mark(marker: Marker) -> Blocks:
    """The black modules of a marker in its place."""
    (x, y), (right, _), *_ = marker.corners_mm
    return _black(marker_modules(marker.id), x, y, (right - x) / MODULES)


def _black(modules: Iterable[Iterable[object]], x: float, y: float, side: float) -> Blocks:
    """The dark ones of square modules, row by row from the top left corner at (x, y)."""
    return Blocks(tuple(
        (round(x + c * side, 4), round(y + r * side, 4), side, side)
        for r, row in enumerate(modules) for c, dark in enumerate(row) if dark
    ))  # fmt: skip


@cache
def code_modules(text: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of the machine code (ISO/IEC 18004, version 3, correction level Q)."""
    from reportlab.graphics.barcode.qr import QrCodeWidget  # slow to load, and for drawing alone

    code = QrCodeWidget(text, barLevel="Q", qrVersion=3).qr
    code.make()
    return tuple(tuple(bool(module) for module in row) for row in code.modules)


def draw_codes(marks: list[Mark], code: SheetCode, width: float, height: float) -> tuple[Box, Box]:
    """Draw the machine code (top right) and the printed code (foot, left).

    Returns their boxes: of the machine code's modules without its quiet zone, and of the text.
    """
    modules = code_modules(machine_text(code))
    left = round(width - SIDE - CODE_MM, 3)
    line = code_line(code, width, height)
    marks += [_black(modules, left, CODE_TOP, CODE_MM / len(modules)), line]
    top, wide = line.y - line.size_mm * 0.75, line.pitch_mm * len(line.text)
    box = (round(SIDE, 3), round(top, 3), round(wide, 3), round(line.size_mm * 0.8, 3))
    return (left, CODE_TOP, CODE_MM, CODE_MM), box


def code_line(code: SheetCode, width: float, height: float) -> Text:
    """The printed code at the foot of a page of this size."""
    text = printed_text(code)
    pitch = min(4.0, (width / 2 - MARKER_MM / 2 - 2.0 - SIDE) / len(text))
    return Text(SIDE, height - EDGE_MM - 3.4, text, pitch * 1.1, pitch_mm=pitch)
