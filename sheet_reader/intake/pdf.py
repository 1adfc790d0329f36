"""Pages of a PDF as grey pictures, through pdfium: no script, link or form in it is run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pypdfium2
from numpy.typing import NDArray

from sheet_reader.intake.bounds import Bounds

MM_PER_POINT = 25.4 / 72
DAMAGED = "the PDF is damaged or locked: please send the photo itself"


@dataclass(frozen=True, slots=True)
class PdfPage:
    """One page, uint8 (height, width)."""

    gray: NDArray[np.uint8]


def looks_like_pdf(head: bytes) -> bool:
    """Whether a PDF starts in these bytes (the mark may stand in the first kilobyte)."""
    return b"%PDF-" in head[:1024]


def pdf_pages(data: bytes, bounds: Bounds, *, first: int = 0) -> Iterator[PdfPage | str]:
    """The pages from the ``first`` on, one by one, drawn ``bounds.pdf_long_side`` px long; a reason
    where one fails.

    A page longer than ``bounds.pdf_side_mm`` is refused. pypdfium2 is built without the script
    engine, and form content is not drawn.
    """
    try:
        document = pypdfium2.PdfDocument(data)
    except Exception:
        yield DAMAGED
        return
    try:
        count = len(document)
        if count == 0:
            yield DAMAGED
        for number in range(first, min(count, bounds.pages)):
            yield _page(document, number, bounds)
        if count > bounds.pages:
            yield f"the PDF has {count} pages: only the first {bounds.pages} were read"
    finally:
        document.close()


def _page(document: pypdfium2.PdfDocument, number: int, bounds: Bounds) -> PdfPage | str:
    try:
        page = document[number]
        width, height = page.get_size()
        longest, shortest = max(width, height), min(width, height)
        if longest * MM_PER_POINT > bounds.pdf_side_mm or shortest < 1:
            return f"page {number + 1} of the PDF has an impossible size"
        if (pixels := _picture_pixels(page)) > bounds.pixels:
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
    return PdfPage(gray if gray.ndim == 2 else np.ascontiguousarray(gray[..., 0]))


def _picture_pixels(page: pypdfium2.PdfPage) -> int:
    """Pixels of all pictures that drawing the page would decode."""
    kind = pypdfium2.raw.FPDF_PAGEOBJ_IMAGE
    sizes = [item.get_px_size() for item in page.get_objects(filter=[kind])]
    return sum(int(width) * int(height) for width, height in sizes)
