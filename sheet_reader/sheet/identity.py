"""What tells a page of paper from any other: the marks of the machine code and the printed code.

Every layout prints both in the same place, so that a page can be identified before its layout is
known.
"""

from __future__ import annotations

from functools import cache

from sheet_reader.sheet.codes import machine_text, printed_text
from sheet_reader.sheet.drawing import Blocks, Mark, Text
from sheet_reader.sheet.markers import EDGE_MM, MARKER_MM
from sheet_reader.sheet.model import SheetCode

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

Box = tuple[float, float, float, float]


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
    side = CODE_MM / len(modules)
    left = round(width - SIDE - CODE_MM, 3)
    black = tuple(
        (round(left + c * side, 4), round(CODE_TOP + r * side, 4), side, side)
        for r, row in enumerate(modules)
        for c, dark in enumerate(row)
        if dark
    )
    marks.append(Blocks(black))
    line = code_line(code, width, height)
    marks.append(line)
    size = line.size_mm
    box = (SIDE, line.y - size * 0.75, line.pitch_mm * len(line.text), size * 0.8)
    return (left, CODE_TOP, CODE_MM, CODE_MM), (
        round(box[0], 3),
        round(box[1], 3),
        round(box[2], 3),
        round(box[3], 3),
    )


def code_line(code: SheetCode, width: float, height: float) -> Text:
    """The printed code at the foot of a page of this size."""
    text = printed_text(code)
    pitch = min(4.0, (width / 2 - MARKER_MM / 2 - 2.0 - SIDE) / len(text))
    return Text(SIDE, height - EDGE_MM - 3.4, text, pitch * 1.1, pitch_mm=pitch)
