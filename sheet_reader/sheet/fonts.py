"""The sheet's typeface: widths for the layout, registered faces for the PDF.

Roboto (Apache License 2.0, in ``fonts_roboto``) has Latin, Greek and Cyrillic in every face and
stays narrow.
"""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from sheet_reader.sheet.drawing import Face

MM = 72 / 25.4
"""PDF points in a millimetre."""
_FILES = {"plain": "Roboto-Regular.ttf", "bold": "Roboto-Bold.ttf", "italic": "Roboto-Italic.ttf"}


def font_file(face: Face) -> Path:
    """The TrueType file of the face."""
    return Path(__file__).parent / "fonts_roboto" / _FILES[face]


@cache
def _face(face: Face) -> TTFont:
    font = TTFont(f"sheet-{face}", str(font_file(face)))
    pdfmetrics.registerFont(font)
    return font


def font_name(face: Face) -> str:
    """The name under which the face is registered with the PDF library."""
    return str(_face(face).fontName)


@lru_cache(maxsize=20_000)
def text_width(text: str, size_mm: float, face: Face = "plain") -> float:
    """Width of a line of text in mm."""
    return float(_face(face).stringWidth(text, size_mm * MM)) / MM


def unprintable(text: str) -> str:
    """The signs of ``text`` that the typeface lacks, each once, in order."""
    known = _face("plain").face.charToGlyph
    return "".join(dict.fromkeys(sign for sign in text if ord(sign) not in known))


def fit(text: str, width_mm: float, size_mm: float, least_mm: float, face: Face = "plain") -> float:
    """The largest size up to ``size_mm`` at which the line fits, or 0.0 where not even
    ``least_mm`` does.
    """
    width = text_width(text, size_mm, face)
    if width <= max(0.0, width_mm):
        return size_mm
    size = size_mm * width_mm / width * 0.999
    return size if size >= least_mm else 0.0


def fit_or_cut(
    text: str, width_mm: float, size_mm: float, least_mm: float, face: Face = "plain"
) -> tuple[str, float]:
    """The text and the size at which it fits, cut with an ellipsis where it can't shrink enough."""
    size = fit(text, width_mm, size_mm, least_mm, face)
    if size:
        return text, size
    while text and text_width(text + "…", least_mm, face) > width_mm:
        text = text[:-1]
    return text.rstrip() + "…", least_mm


def wrap(text: str, width_mm: float, size_mm: float, face: Face = "plain") -> list[str] | None:
    """The text in lines no wider than ``width_mm``, or None where one word is wider."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if text_width(longer, size_mm, face) <= width_mm:
            line = longer
            continue
        if not line or text_width(word, size_mm, face) > width_mm:
            return None
        lines.append(line)
        line = word
    return [*lines, line] if line else lines


def wrap_even(
    text: str, width_mm: float, size_mm: float, face: Face = "plain"
) -> list[str] | None:
    """As :func:`wrap` in as few lines, but these about as long as each other."""
    lines = wrap(text, width_mm, size_mm, face)
    if lines is None or len(lines) < 2:
        return lines
    low, high = 0.5, 1.0
    for _ in range(8):
        share = (low + high) / 2
        narrower = wrap(text, width_mm * share, size_mm, face)
        if narrower is not None and len(narrower) == len(lines):
            lines, high = narrower, share
        else:
            low = share
    return lines
