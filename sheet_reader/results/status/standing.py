"""How a study stands, without addresses. Pure; the day of today comes from outside."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from sheet_reader.reasons import Code, Reasons
from sheet_reader.results.facts import Facts, PhotoFact, VisitFact
from sheet_reader.results.status.weeks import Unplaced, incomplete, meant_for, unplaced
from sheet_reader.study.days import expected_days
from sheet_reader.study.study import Site, Study
from sheet_reader.wording import words

State = Literal["in", "waits", "incomplete", "unclear", "missed", "not due"]
STATES: Mapping[State, str] = {
    "in": "came in, whole and settled",
    "waits": "came in; fields of it wait for your review",
    "incomplete": "came in, but a page, plot or effort is missing, or the effort is unequal",
    "unclear": "none is known, but a sheet or photo that may be of it waits for its place",
    "missed": "none came in, and the expected day and the days of tolerance are over",
    "not due": "none came in yet, and none is late",
}
"""What each state of an expected visit means."""


@dataclass(frozen=True, slots=True)
class Expected:
    """An expected visit of a site. ``visits`` are the days of those that came in for it; the
    nearest lies ``days_off`` after (before: negative) the expected day, None where none came.
    ``why`` says in words what is incomplete.
    """

    day: date
    state: State
    visits: tuple[date, ...] = ()
    days_off: int | None = None
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteStatus:
    """A site of the list. ``days_since`` counts from its last visit, or from the season's first
    day where none has come, up to today or the season's end. ``too_few``: even with all that is
    not due yet it can't have the least number of visits any more. ``waiting`` are its fields that
    wait; ``unsettled`` its sheets whose date waits.
    """

    site: str
    label: str
    expected: tuple[Expected, ...]
    last_visit: date | None
    days_since: int
    too_few: bool
    waiting: int
    unsettled: int

    @property
    def came(self) -> int:
        """For how many expected visits something came in."""
        return sum(bool(e.visits) for e in self.expected)


@dataclass(frozen=True, slots=True)
class Status:
    """A whole study on the day ``today``. ``waiting`` counts the fields that wait by the code
    of the reason, ``fruitless`` names by reason the photos that gave nothing, ``unread`` counts
    photos not read yet. ``unsettled`` are sheets whose site waits, ``outside`` visits that lie
    outside the season or of sites that are not on the site list.
    """

    title: str
    today: date
    days: tuple[date, ...]
    sites: tuple[SiteStatus, ...]
    waiting: Mapping[str, int]
    fruitless: Mapping[str, tuple[str, ...]]
    unread: int
    unsettled: int
    outside: tuple[tuple[str, str], ...]
    least: int
    promise: str = ""

    def count(self, state: State) -> int:
        """How many expected visits have this state."""
        return sum(e.state == state for site in self.sites for e in site.expected)


def status_of(study: Study, facts: Facts, today: date, promise: str = "") -> Status:
    """How the study stands on ``today``."""
    known = {site.number for site in study.sites}
    days, waits = expected_days(study), unplaced(study, facts)
    by_site: dict[str, list[VisitFact]] = defaultdict(list)
    outside = []
    for visit in facts.visits:
        day = date.fromisoformat(visit.visit_date) if visit.visit_date else None
        elsewhere = visit.site not in known or not (day is None or meant_for(study, days, [day]))
        if visit.site and day is not None and elsewhere:
            outside.append((visit.site, visit.visit_date))
        elif visit.site in known:
            by_site[visit.site].append(visit)
    return Status(
        title=study.title,
        today=today,
        days=days,
        sites=tuple(
            _site(study, site, by_site[site.number], today, facts, waits) for site in study.sites
        ),
        waiting=_by_reason(facts.visits),
        fruitless=_fruitless(facts.photos),
        unread=sum(photo.status == "waiting" for photo in facts.photos),
        unsettled=sum(not visit.site for visit in facts.visits),
        outside=tuple(sorted(outside)),
        least=study.visits.least,
        promise=promise,
    )


def _site(
    study: Study, site: Site, visits: Sequence[VisitFact], today: date, facts: Facts,
    waits: Unplaced,
) -> SiteStatus:  # fmt: skip
    days = expected_days(study)
    placed = {date.fromisoformat(v.visit_date): v for v in visits if v.visit_date}
    by_place: dict[int, dict[date, VisitFact]] = defaultdict(dict)
    for day, place in sorted(meant_for(study, days, placed).items()):
        by_place[place][day] = placed[day]
    expected = tuple(
        _came(study, day, by_place[place], facts.pages_of)
        if by_place[place]
        else Expected(day, "not due")
        if today <= day + timedelta(days=study.visits.tolerance_days)
        else Expected(day, "unclear" if waits.may_be_of(site.number, place) else "missed")
        for place, day in enumerate(days)
    )
    last = max(placed, default=None)
    since = min(today, study.season.last) - (last or study.season.first)
    possible = sum(e.state != "missed" for e in expected)
    return SiteStatus(
        site=site.number, label=site.label, expected=expected, last_visit=last,
        days_since=max(0, since.days), too_few=possible < study.visits.least,
        waiting=sum(visit.waiting for visit in visits),
        unsettled=sum(not visit.visit_date for visit in visits),
    )  # fmt: skip


def _came(study: Study, day: date, visits: Mapping[date, VisitFact], pages_of: int) -> Expected:
    """An expected visit for which some came in: the one that stands best counts."""
    states: list[tuple[State, tuple[str, ...]]] = []
    for visit in visits.values():
        why = incomplete(study, visit, pages_of)
        states.append(("waits" if visit.lacking else "incomplete" if why else "in", why))
    state, why = min(states, key=lambda pair: list(STATES).index(pair[0]))
    off = min(((visit - day).days for visit in visits), key=abs)
    return Expected(day, state, tuple(visits), off, why)


def _by_reason(visits: Iterable[VisitFact]) -> dict[str, int]:
    """How many fields wait, by the code of what is asked; most first."""
    codes = Counter(
        kind_of(fact.reasons) for visit in visits for fact in visit.fields if fact.needs_review
    )
    return dict(sorted(codes.items(), key=lambda item: (-item[1], item[0])))


def kind_of(reasons: Reasons) -> str:
    """The code of the reason that leads, "uncertain" where none is known."""
    only_lead_in = (Code.ASKED_ANEW, Code.DECIDED)
    leading = (reason.code for reason in reasons if reason.code not in only_lead_in)
    return next(leading, Code.UNCERTAIN).value


def _fruitless(photos: Iterable[PhotoFact]) -> dict[str, tuple[str, ...]]:
    """The photos in which something was not read, by reason; most photos first."""
    found: dict[str, dict[str, None]] = defaultdict(dict)
    for photo in photos:
        if photo.status != "waiting":
            for reason in photo.reasons:
                found[words([reason.on_page(None)])][photo.photo] = None
    ordered = sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    return {reason: tuple(names) for reason, names in ordered}
