"""Opened pictures and PDF pages as grey values, and how much memory that takes.

A file of a few bytes can claim a picture of any size, and formats differ in what they need for it:
that is told from its head alone. Grey values are made some rows at a time, so that little memory is
needed.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from PIL import Image, ImageFile, JpegImagePlugin, TiffImagePlugin

from sheet_reader.intake.files import Bounds
from sheet_reader.numbers import INTAKE

Gray = NDArray[np.uint8]
GREY_JPEG = ("RGB", "L")
"""Modes of JPEG pictures that are decoded as grey at once."""
MM_PER_POINT = 25.4 / 72
DAMAGED_PDF = "the PDF is damaged or locked: please send the photo itself"
_BAND_PIXELS = INTAKE.band_pixels
_STORED = {"1": 1, "L": 1, "P": 1}
"""Bytes for a pixel in Pillow, by mode; else 4, or 2 where samples have 16 bits."""
_WHOLE_PICTURE = {"WEBP": 12, "HEIF": 5}
"""Bytes for a pixel that these decoders need beside the picture (measured: WebP 10, HEIF 3)."""
_COEFFICIENT = 2
_UNCOMPRESSED = 1


def decoding_bytes(image: ImageFile.ImageFile) -> int:
    """Bytes needed at most, the decoded picture included, before it is made grey."""
    pixels = image.width * image.height
    if isinstance(image, JpegImagePlugin.JpegImageFile):
        bands = 1 if image.mode in GREY_JPEG else 4
        return pixels * bands + round(pixels * _coefficients(image))
    held = pixels * (2 if image.mode.startswith("I;16") else _STORED.get(image.mode, 4))
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        return held + _largest_piece(image)
    return held + pixels * _WHOLE_PICTURE.get(image.format or "", 0)


def _coefficients(image: JpegImagePlugin.JpegImageFile) -> float:
    """Bytes for a pixel of the coefficients that a progressive JPEG keeps to its end."""
    if not image.info.get("progressive"):
        return 0.0
    factors = [(h, v) for _, h, v, _ in image.layer]
    widest = max(h for h, _ in factors) * max(v for _, v in factors)
    return _COEFFICIENT * sum(h * v for h, v in factors) / max(1, widest)


def _largest_piece(image: TiffImagePlugin.TiffImageFile) -> int:
    """Bytes of one strip or tile, which is decoded whole; one may hold the whole picture."""
    tags = image.tag_v2
    if tags.get(TiffImagePlugin.COMPRESSION, _UNCOMPRESSED) == _UNCOMPRESSED:
        return 0
    samples = int(tags.get(TiffImagePlugin.SAMPLESPERPIXEL, 1))
    bits = max(int(bit) for bit in tags.get(TiffImagePlugin.BITSPERSAMPLE, (1,))) * samples
    width = int(tags.get(TiffImagePlugin.TILEWIDTH, image.width))
    strip = min(image.height, int(tags.get(TiffImagePlugin.ROWSPERSTRIP, image.height)))
    return width * int(tags.get(TiffImagePlugin.TILELENGTH) or strip) * bits // 8


def to_gray(image: Image.Image) -> Gray:
    """The picture as uint8 (height, width), on white paper where it is transparent.

    16-bit and floating samples are scaled to 0..255 (floating ones by their own range).
    """
    gray = np.empty((image.height, image.width), dtype=np.uint8)
    if image.mode == "L" and "transparency" not in image.info and _copied(image, gray):
        return gray
    scaled = image.mode in ("I", "F")
    low, span = _range(image) if scaled else (0.0, 1.0)
    for top, band in _bands(image):
        rows = gray[top : top + band.height]
        rows[:] = np.round((_finite(band) - low) * (255 / span)) if scaled else _band_to_gray(band)
    return gray


def _copied(image: Image.Image, gray: Gray) -> bool:
    """Copies a grey picture into ``gray`` at once, several times as fast as Pillow hands over its
    pixels; False where Pillow gives no picture on that memory, and ``gray`` is not filled.
    """
    if not gray.size:
        return False
    last = image.getpixel((image.width - 1, image.height - 1))
    gray[-1, -1] = 255 - int(last) if isinstance(last, int | float) else 0
    shared = Image.frombuffer("L", image.size, gray, "raw", "L", 0, 1)
    shared.readonly = 0
    shared.paste(image)
    return bool(gray[-1, -1] == last)


def _bands(image: Image.Image) -> Iterator[tuple[int, Image.Image]]:
    """Pieces of the picture's full width, from top to bottom, each with its first row."""
    rows = max(1, _BAND_PIXELS // max(1, image.width))
    for top in range(0, image.height, rows):
        yield top, image.crop((0, top, image.width, min(top + rows, image.height)))


def _band_to_gray(image: Image.Image) -> Gray:
    if image.mode.startswith("I;16"):
        wide = np.asarray(image).astype(np.uint32)
        return ((wide + 128) // 257).astype(np.uint8)
    if image.mode in ("LAB", "HSV"):
        return np.array(image.split()[0 if image.mode == "LAB" else 2], dtype=np.uint8)
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    return np.array(image if image.mode == "L" else image.convert("L"), dtype=np.uint8)


def _range(image: Image.Image) -> tuple[float, float]:
    """What counts as black, and how far above it white is: 0 and 65,535 where all fits in."""
    samples = (_finite(band) for _, band in _bands(image))
    lows, highs = zip(*((float(s.min()), float(s.max())) for s in samples), strict=True)
    low, high = min(lows), max(highs)
    if low >= 0 and 255 < high <= 65_535:
        return 0.0, 65_535.0
    return low, max(high - low, 1e-12)


def _finite(image: Image.Image) -> NDArray[np.float64]:
    samples = np.asarray(image, dtype=np.float64)
    return np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)


def looks_like_pdf(head: bytes) -> bool:
    """Whether a PDF starts in these bytes (the mark may stand in the first kilobyte)."""
    return b"%PDF-" in head[:1024]


def pdf_pages(data: bytes, bounds: Bounds, *, first: int = 0) -> Iterator[Gray | str]:
    """The pages from the ``first`` on, one by one, drawn ``bounds.pdf_long_side`` px long; a reason
    where one fails. No script, link or form in it is run.

    A page longer than ``bounds.pdf_side_mm`` is refused. pypdfium2 is built without the script
    engine, and form content is not drawn.
    """
    try:
        document = pypdfium2.PdfDocument(data)
    except Exception:
        yield DAMAGED_PDF
        return
    try:
        count = len(document)
        if count == 0:
            yield DAMAGED_PDF
        for number in range(first, min(count, bounds.pages)):
            yield _page(document, number, bounds)
        if count > bounds.pages:
            yield f"the PDF has {count} pages: only the first {bounds.pages} were read"
    finally:
        document.close()


def _page(document: pypdfium2.PdfDocument, number: int, bounds: Bounds) -> Gray | str:
    try:
        page = document[number]
        longest, shortest = max(page.get_size()), min(page.get_size())
        if longest * MM_PER_POINT > bounds.pdf_side_mm or shortest < 1:
            return f"page {number + 1} of the PDF has an impossible size"
        # all that drawing the page would decode
        kind = pypdfium2.raw.FPDF_PAGEOBJ_IMAGE
        sizes = [item.get_px_size() for item in page.get_objects(filter=[kind])]
        if (pixels := sum(int(width) * int(height) for width, height in sizes)) > bounds.pixels:
            return (
                f"page {number + 1} of the PDF holds a picture of {pixels / 1e6:,.0f} megapixels "
                f"(at most {bounds.pixels / 1e6:.0f}): please send the photo itself"
            )
        scale = bounds.pdf_long_side / longest
        bitmap = page.render(scale=scale, grayscale=True, may_draw_forms=False)
        gray = np.array(bitmap.to_numpy(), dtype=np.uint8)
        bitmap.close()
        page.close()
    except Exception:
        return f"page {number + 1} of the PDF is damaged"
    return gray if gray.ndim == 2 else np.ascontiguousarray(gray[..., 0])
