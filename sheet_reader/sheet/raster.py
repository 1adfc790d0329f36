"""Turns a page of a PDF into pixels."""

from __future__ import annotations

import numpy as np
import pypdfium2 as pdfium
from numpy.typing import NDArray


def rasterise(pdf: bytes, page: int, px_per_mm: float) -> NDArray[np.uint8]:
    """Page ``page`` (from 1) as uint8 (H, W), 0 black, 255 white, anti-aliased.

    The page fills the picture exactly: W is its width in mm times ``px_per_mm``, rounded, and the
    centre of pixel (row r, column c) lies at ((c + 0.5) / W, (r + 0.5) / H) of the page.
    """
    document = pdfium.PdfDocument(pdf)
    try:
        sheet = document[page - 1]
        width_pt, height_pt = sheet.get_size()
        width = max(1, round(width_pt * 25.4 / 72 * px_per_mm))
        height = max(1, round(height_pt * 25.4 / 72 * px_per_mm))
        bitmap = pdfium.PdfBitmap.new_native(width, height, pdfium.raw.FPDFBitmap_Gray)
        bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
        pdfium.raw.FPDF_RenderPageBitmap(
            bitmap, sheet, 0, 0, width, height, 0, pdfium.raw.FPDF_GRAYSCALE
        )
        return np.array(bitmap.to_numpy()[:, :width].reshape(height, width), dtype=np.uint8)
    finally:
        document.close()
