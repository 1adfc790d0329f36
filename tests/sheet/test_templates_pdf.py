"""The printed blanks in templates_pdf are those of the studies as they are now.

After a change: ``sheet-reader print samples/NAME --out templates_pdf``.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sheet_reader.sheet.files import geometry_text, sheet_name
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.pdf import render_pdf
from sheet_reader.sheet.raster import rasterise
from sheet_reader.study.model import Study

FOLDER = Path(__file__).parents[2] / "templates_pdf"


def test_blanks_are_current(sample: Study) -> None:
    name = sheet_name(sample)
    geometry = (FOLDER / f"{name}.geometry.json").read_text(encoding="utf-8")
    assert geometry == geometry_text(sample)
    layout = lay_out(sample)
    now, kept = render_pdf(layout, sample), (FOLDER / f"{name}.pdf").read_bytes()
    for page in layout.pages:
        a, b = rasterise(now, page.number, 6.0), rasterise(kept, page.number, 6.0)
        assert np.array_equal(a, b)
