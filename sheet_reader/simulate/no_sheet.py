"""Pictures that show no sheet of the study, and must not yield a value."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.background import text_page
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.photo import FilledSheet, Photo, photograph
from sheet_reader.simulate.printer import print_page
from sheet_reader.simulate.sources import Hands
from sheet_reader.simulate.study_photos import photo_of

KINDS = ("desk", "text", "other study", "older layout")
_TEXT_PX_PER_MM = SIMULATE.text_px_per_mm


def older_layout(book: LayoutBook) -> LayoutBook:
    """The study as it may have been before: one count fewer, so another layout version."""
    study = book.study
    counts = study.counts[:-1]
    kept = {f"{plot.name}.{count.name}" for plot in study.plots for count in counts}
    sums = tuple(s for s in study.sums if s.total in kept and set(s.parts) <= kept)
    return LayoutBook(replace(study, counts=counts, sums=sums))


def no_sheet_photo(
    kind: str, other: LayoutBook, older: LayoutBook, hands: Hands, level_name: str, seed: int
) -> Photo:
    """A picture of one of :data:`KINDS`; ``other`` is another study's book, ``older`` this
    study's before a change.
    """
    level = LEVELS[level_name]
    rng = np.random.default_rng([seed, 33])
    if kind == "desk":
        return photograph([], level, seed, kind=kind)
    if kind == "text":
        size = (int(210 * _TEXT_PX_PER_MM), int(297 * _TEXT_PX_PER_MM))
        page = text_page(*size, _TEXT_PX_PER_MM, rng)
        paper = print_page(page, _TEXT_PX_PER_MM, level, rng)
        return photograph([FilledSheet(paper)], level, seed, kind=kind)
    photo = photo_of(other if kind == "other study" else older, hands, level_name, seed)
    return replace(photo, truth=replace(photo.truth, kind=kind, sheets=()))


def page_photos(data: Path) -> list[Path]:
    """Real photographs of pages that are no sheets, where the data folder has them."""
    return sorted((data / "photos" / "pages").glob("*.jpg"))


def real_page(path: Path) -> bytes:
    """A real photograph as a JPEG file without what it tells of its owner."""
    picture = cv2.imread(str(path))
    if picture is None:
        raise ValueError(f"{path.name} is not a picture")
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    if not done:
        raise ValueError(f"{path.name} can't be written as JPEG")
    return data.tobytes()
