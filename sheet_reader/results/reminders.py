"""Which sites owe a sheet or a page, and what waits: as data, without names or addresses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from sheet_reader.results.from_record import VisitFact
from sheet_reader.study.model import Study


@dataclass(frozen=True, slots=True)
class SiteStanding:
    """How a site stands. ``days_since`` counts from its last visit, or from the season's first
    day where none has come; ``overdue`` says that more days than interval and tolerance passed.
    ``waiting`` counts its fields that wait for a person.
    """

    site: str
    label: str
    last_visit: date | None
    days_since: int
    overdue: bool
    waiting: int


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


def missing_pages(visits: Iterable[VisitFact], pages: int) -> list[MissingPages]:
    """Visits with a settled site and date that lack some of the sheet's ``pages``."""
    wanted = range(1, pages + 1)
    found = [
        MissingPages(v.site, v.visit_date, tuple(p for p in wanted if p not in v.pages))
        for v in visits
        if v.site and v.visit_date
    ]
    return [missing for missing in found if missing.pages]


def standings(study: Study, visits: Iterable[VisitFact], today: date) -> list[SiteStanding]:
    """Every site of the roster in its order. After the season nothing more falls due."""
    last: dict[str, date] = {}
    waiting: dict[str, int] = {}
    for visit in visits:
        waiting[visit.site] = waiting.get(visit.site, 0) + visit.waiting
        if visit.visit_date:
            day = date.fromisoformat(visit.visit_date)
            last[visit.site] = max(day, last.get(visit.site, day))
    until = min(today, study.season.last)
    allowed = study.visits.interval_days + study.visits.tolerance_days
    found = []
    for site in study.roster:
        latest = last.get(site.number)
        since = (until - (latest or study.season.first)).days
        found.append(
            SiteStanding(
                site=site.number,
                label=site.label,
                last_visit=latest,
                days_since=max(0, since),
                overdue=since > allowed,
                waiting=waiting.get(site.number, 0),
            )
        )
    return found
