"""The pictures of a benchmark or of a generated set: which case each seed stands for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from sheet_reader.demo.samples import SAMPLES, sample_folder
from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK
from sheet_reader.simulate.habits import HABITS
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.no_sheet import (
    KINDS,
    no_sheet_photo,
    older_layout,
    page_photos,
    real_page,
)
from sheet_reader.simulate.photo import photograph
from sheet_reader.simulate.sources import Hands
from sheet_reader.simulate.study_photos import filled_sheet, photo_of, random_request, scan_of
from sheet_reader.simulate.troubles import NONE, Troubles
from sheet_reader.simulate.truth import PhotoTruth
from sheet_reader.study.reader import read_study

BARE_SHARE = SIMULATE.bare_share


def numbered(study: str, seed: int, number: int) -> tuple[str, int]:
    """Sample study and seed of picture ``number`` of row ``seed``; ``study`` "all" takes turns."""
    studies = SAMPLES if study == "all" else (study,)
    return studies[number % len(studies)], seed * 1_000_000 + number


def mixed(number: int) -> tuple[str, str]:
    """Sample study and level of picture ``number`` of a row: two in three typical, one hard."""
    study = SAMPLES[number % len(SAMPLES)]
    return study, ("typical", "typical", "hard")[number // len(SAMPLES) % 3]


@dataclass(slots=True)
class Desk:
    """What cases are made from: books by sample name, and of each study an older layout; real
    pictures of pages where there are any.
    """

    hands: Hands
    pages: Sequence[Path] = ()
    books: dict[str, LayoutBook] = field(default_factory=dict)
    older: dict[str, LayoutBook] = field(default_factory=dict)

    @classmethod
    def of_samples(
        cls, hands: Hands, data: Path | None = None, *, own_digits: bool = False
    ) -> Desk:
        """Both sample studies; with ``own_digits`` their sheets ask for the volunteer's digits."""
        studies = {name: read_study(sample_folder(name)) for name in SAMPLES}
        books = {
            name: LayoutBook(replace(study, own_digits=own_digits or study.own_digits))
            for name, study in studies.items()
        }
        older = {name: older_layout(book) for name, book in books.items()}
        return cls(hands, page_photos(data) if data else (), books, older)


@dataclass(frozen=True, slots=True)
class Case:
    """One picture: ``data`` is the file, ``study`` the sample whose reader gets it."""

    study: str
    data: bytes
    truth: PhotoTruth


def make_case(
    desk: Desk, study: str, level: str, seed: int, *, bare_share: float = BARE_SHARE,
    sheets: int = 1, troubles: Troubles = NONE,
) -> Case:  # fmt: skip
    """The picture that belongs to ``seed``; with several ``sheets``, all in one photograph.
    ``level`` is easy, typical, hard, or scan for a flatbed scan (which knows no ``troubles``).
    """
    rng = np.random.default_rng([seed, 44])
    book = desk.books[study]
    if level == "scan":
        photo = scan_of(book, desk.hands, seed)
        return Case(study, photo.data, photo.truth)
    if rng.random() < bare_share:
        kinds = KINDS + (("real page",) if desk.pages else ())
        kind = str(rng.choice(kinds))
        if kind == "real page":
            path = desk.pages[int(rng.integers(len(desk.pages)))]
            return Case(study, real_page(path), PhotoTruth(kind, level, seed, 0, 0, 1))
        other = next(b for name, b in desk.books.items() if name != study)
        photo = no_sheet_photo(kind, other, desk.older[study], desk.hands, level, seed)
    elif sheets > 1:
        filled = []
        for number in range(sheets):
            request = random_request(book, seed * 16 + number, troubles)
            trouble = np.random.default_rng([seed * 16 + number, 55])
            layout = book.layout(BLANK if request.on_blank else request.visit.site)
            page = layout.pages[request.page - 1]
            made = filled_sheet(
                book, page, request.visit, desk.hands, LEVELS[level], HABITS[level], rng,
                troubles.of_sheet(trouble), trouble,
            )  # fmt: skip
            filled.append(made)
        photo = photograph(filled, LEVELS[level], seed)
    else:
        photo = photo_of(book, desk.hands, level, seed, troubles=troubles)
    return Case(study, photo.data, photo.truth)
