"""From facts to the status of a study. Pure functions; the day of today comes from outside."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from sheet_reader.reasons import Code, Reasons
from sheet_reader.results.from_record import Facts, PhotoFact, VisitFact
from sheet_reader.results.status.model import Expected, SiteStatus, State, Status
from sheet_reader.results.status.weeks import Unplaced, incomplete, meant_for, unplaced
from sheet_reader.study.days import expected_days
from sheet_reader.study.model import Site, Study
from sheet_reader.wording import words

_LEAD_IN = frozenset({Code.ASKED_ANEW, Code.DECIDED})
"""Codes that only lead in the reason proper."""


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
            _site(study, site, by_site[site.number], days, today, facts.pages_of, waits)
            for site in study.sites
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
    study: Study,
    site: Site,
    visits: Sequence[VisitFact],
    days: Sequence[date],
    today: date,
    pages_of: int,
    waits: Unplaced,
) -> SiteStatus:
    placed = {date.fromisoformat(v.visit_date): v for v in visits if v.visit_date}
    places = meant_for(study, days, placed)
    by_place: dict[int, list[date]] = defaultdict(list)
    for day, place in places.items():
        by_place[place].append(day)
    expected = tuple(
        _expected(study, day, {d: placed[d] for d in sorted(by_place[place])}, today, pages_of)
        for place, day in enumerate(days)
    )
    expected = tuple(
        replace(e, state="unclear")
        if e.state == "missed" and waits.may_be_of(site.number, place)
        else e
        for place, e in enumerate(expected)
    )
    last = max(placed, default=None)
    since = min(today, study.season.last) - (last or study.season.first)
    possible = sum(e.state != "missed" for e in expected)
    return SiteStatus(
        site=site.number,
        label=site.label,
        expected=expected,
        last_visit=last,
        days_since=max(0, since.days),
        too_few=possible < study.visits.least,
        waiting=sum(visit.waiting for visit in visits),
        unsettled=sum(not visit.visit_date for visit in visits),
    )


def _expected(
    study: Study, day: date, visits: Mapping[date, VisitFact], today: date, pages_of: int
) -> Expected:
    """One expected visit. Of several that came in for it the one that stands best counts."""
    if not visits:
        late = today > day + timedelta(days=study.visits.tolerance_days)
        return Expected(day, "missed" if late else "not due")
    states: list[tuple[State, tuple[str, ...]]] = []
    for visit in visits.values():
        why = incomplete(study, visit, pages_of)
        state: State = "waits" if visit.lacking else "incomplete" if why else "in"
        states.append((state, why))
    order: tuple[State, ...] = ("in", "waits", "incomplete")
    state, why = min(states, key=lambda pair: order.index(pair[0]))
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
    leading = [reason.code for reason in reasons if reason.code not in _LEAD_IN]
    return (leading or [Code.UNCERTAIN])[0].value


def _fruitless(photos: Iterable[PhotoFact]) -> dict[str, tuple[str, ...]]:
    """The photos in which something was not read, by reason; most photos first."""
    found: dict[str, dict[str, None]] = defaultdict(dict)
    for photo in photos:
        if photo.status != "waiting":
            for reason in photo.reasons:
                found[words([reason.on_page(None)])][photo.photo] = None
    ordered = sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    return {reason: tuple(names) for reason, names in ordered}
