"""Reading the machine code."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp

from sheet_reader.numbers import VISION
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.codes import parse_machine_text
from sheet_reader.sheet.model import SheetCode
from sheet_reader.vision.arrays import Array, Gray, as_gray
from sheet_reader.vision.cutting import cut
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.modules import (
    best_candidate,
    known_modules,
    redrawn,
    sample_modules,
)
from sheet_reader.vision.surface import Surface

_FORMATS = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)


@dataclass(frozen=True, slots=True)
class CodeRead:
    """``code`` as read and ``by`` which means; code None where a text was found that is none of
    ours (``foreign`` True) or nothing was found.
    """

    code: SheetCode | None
    by: str = ""
    foreign: bool = False


def _decode(piece: Gray) -> list[str]:
    found = zxingcpp.read_barcodes(piece, formats=_FORMATS)
    return [r.text for r in found if r.valid and 0 < len(r.text) <= VISION.codes.longest_text]


def _decode_cv2(piece: Gray) -> list[str]:
    try:
        text, _, _ = cv2.QRCodeDetector().detectAndDecode(piece)
    except cv2.error:
        return []
    return [text] if 0 < len(text) <= VISION.codes.longest_text else []


def _judge(texts: list[str]) -> CodeRead | None:
    for text in texts:
        code = parse_machine_text(text)
        if code is not None:
            return CodeRead(code, "machine code")
    return CodeRead(None, "machine code", foreign=True) if texts else None


def read_machine_code(
    pyramid: Pyramid, surface: Surface, code_box_mm: tuple[float, float, float, float]
) -> CodeRead:
    """The machine code, tried at several scales and sharpened."""
    x, y, w, h = code_box_mm
    q = VISION.codes.quiet_mm
    area = (x - q, y - q, w + 2 * q, h + 2 * q)
    foreign: CodeRead | None = None
    for scale in VISION.codes.machine_scales:
        piece = cut(pyramid, surface, area, scale)
        for version in (piece, _sharpened(piece)):
            read = _judge(_decode(version))
            if read is not None and read.code is not None:
                return read
            foreign = foreign or read
    read = _judge(_decode_cv2(cut(pyramid, surface, area, 8.0)))
    if read is not None and read.code is not None:
        return read
    return foreign or read or CodeRead(None)


def read_modules(
    pyramid: Pyramid, surface: Surface, box_mm: tuple[float, float, float, float],
    book: LayoutBook, page: int,
) -> CodeRead:  # fmt: skip
    """The machine code by its modules' places: decoded, else compared with the study's codes."""
    known = known_modules(book, page)
    modules = sample_modules(pyramid, surface, box_mm, known)
    read = _judge(_decode(redrawn(modules, known)))
    if read is not None and read.code is not None:
        return read
    code = best_candidate(modules, book, page)
    return CodeRead(code, "machine code" if code else "")


def _sharpened(piece: Gray) -> Gray:
    soft = cv2.GaussianBlur(piece, (0, 0), 3.0)
    return as_gray(cv2.addWeighted(piece, 2.5, soft, -1.5, 0))


def read_anywhere(gray: Gray) -> tuple[CodeRead, Array | None]:
    """Any machine code of ours in a picture (uint8), with its corners (4, 2) in px or None."""
    foreign: CodeRead | None = None
    for found in zxingcpp.read_barcodes(gray, formats=_FORMATS):
        read = (
            _judge([found.text])
            if found.valid and len(found.text) <= VISION.codes.longest_text
            else None
        )
        if read is not None and read.code is not None:
            p = found.position
            spots = (p.top_left, p.top_right, p.bottom_right, p.bottom_left)
            return read, np.array([[s.x, s.y] for s in spots], dtype=np.float64)
        foreign = foreign or read
    return foreign or CodeRead(None), None
