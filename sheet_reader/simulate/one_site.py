"""The sheets of one site over a season, all by one person."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import numpy as np

from sheet_reader.numbers import SIMULATE
from sheet_reader.sheet.page import BLANK
from sheet_reader.simulate.cases import Case, Desk
from sheet_reader.simulate.habits import HABITS
from sheet_reader.simulate.ink import InkPen
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.photo import photograph
from sheet_reader.simulate.sources import DigitSource, Hands
from sheet_reader.simulate.study_photos import filled_sheet
from sheet_reader.simulate.values import random_visit


class OnePerson:
    """The same person of ``hands`` on every sheet, drawn by ``seed``. Recorded samples go on where
    the last sheet stopped, so that one comes again only after all have been used.
    """

    def __init__(self, hands: Hands, seed: int) -> None:
        self.name = hands.name
        self._hands, self._seed = hands, seed
        self._left: dict[int, list[int]] | None = None

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:  # noqa: ARG002
        """That person with this pen."""
        found = self._hands.writer(pen, np.random.default_rng(self._seed))
        left = getattr(found, "left", None)
        if left is None:
            return found
        self._left = left if self._left is None else self._left
        again: DigitSource = replace(found, left=self._left)  # type: ignore[type-var]
        return again


def site_cases(desk: Desk, study: str, level: str, seed: int, visits: int) -> Iterator[Case]:
    """Photographs of the first pages of so many ``visits`` to one site, in the order of their days,
    each on a day of its own.
    """
    rng = np.random.default_rng([seed, 55])
    book = desk.books[study]
    season = book.study.season
    days = (season.last - season.first).days + 1
    person = OnePerson(desk.hands, seed)
    site = book.study.sites[int(rng.integers(len(book.study.sites)))].number
    for number, after in enumerate(sorted(rng.choice(days, visits, replace=False).tolist())):
        visit = random_visit(book.study, rng, site, season.first + timedelta(days=after))
        layout = book.layout(BLANK if rng.random() < SIMULATE.blank_share else site)
        sheet = filled_sheet(
            book, layout.pages[0], visit, person, LEVELS[level], HABITS[level], rng
        )
        photo = photograph([sheet], LEVELS[level], seed * 16 + number)
        yield Case(study, photo.data, photo.truth)
