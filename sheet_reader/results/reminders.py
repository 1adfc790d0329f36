"""Which visits lack a page: as data, without names or addresses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sheet_reader.record.model import VisitRow


@dataclass(frozen=True, slots=True)
class MissingPages:
    """A visit of which only some pages have arrived."""

    site: str
    visit_date: str
    pages: tuple[int, ...]

    def __str__(self) -> str:
        word = "page" if len(self.pages) == 1 else "pages"
        numbers = " and ".join(str(page) for page in self.pages)
        return f"site {self.site} on {self.visit_date} lacks {word} {numbers}"


def missing_pages(visits: Iterable[VisitRow], pages: int) -> list[MissingPages]:
    """Visits with a settled site and date that lack some of the sheet's ``pages``."""
    wanted = range(1, pages + 1)
    found = [
        MissingPages(v.site, v.visit_date, tuple(p for p in wanted if p not in v.pages))
        for v in visits
        if v.site and v.visit_date
    ]
    return [missing for missing in found if missing.pages]
