"""What the demo shows is what is made, and how finely a print is rastered."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import pytest
from thorough import only

from sheet_reader.demo import photographs
from sheet_reader.demo.samples import sample_folder
from sheet_reader.lab.demo_pictures import DOZEN, digits, made_photo
from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.study.reader import read_study


def test_the_print_is_finer_than_any_picture_of_it_and_no_finer_than_need_be() -> None:
    """A picture whose longer side is the paper's shows it at long_side / 297 px to the mm."""
    typical = LEVELS["typical"]
    for long_side in (1000, 2048, 2400):
        small = typical.small(long_side)
        finest = long_side / 297.0
        assert small.long_side_px == (long_side,)
        assert 1.2 * finest < small.print_px_per_mm <= SIMULATE.print_px_per_mm
    assert typical.small(6000).print_px_per_mm == typical.print_px_per_mm
    scales = [typical.small(side).print_px_per_mm for side in (1000, 2048, 2400)]
    assert all(a < b for a, b in pairwise(scales))


@pytest.mark.parametrize("number", [n if w.on_blank else only(n) for n, w in enumerate(DOZEN, 1)])
def test_the_packed_photographs_are_what_is_made(number: int) -> None:
    """Of today's layout. Files differ by the JPEG library's version."""
    book = LayoutBook(read_study(sample_folder(photographs.SAMPLE)))
    made = made_photo(book, DOZEN[number - 1], number)
    told = {s.code.sheet: {f.field: f.value for f in s.fields} for s in made.truth.sheets}
    name = f"photo_{number:02}.jpg"
    assert {s: said for (file, s), said in photographs.truth().items() if file == name} == told
    packed = photographs.folder_files()[f"inbox/photo_{number:02}.jpg"]
    here, there = (
        cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE).astype(float)
        for data in (packed, made.data)
    )
    assert here.shape == there.shape
    assert np.abs(here - there).mean() < 2.0


def test_the_digits_are_those_that_are_made() -> None:
    path = sample_folder(photographs.SAMPLE).parent / "digits.png"
    kept = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert np.abs(kept.astype(float) - digits()).mean() < 0.5
