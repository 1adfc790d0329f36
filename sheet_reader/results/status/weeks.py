"""Which visit was meant for which expected day, and what has come that may be of one.

A visit is expected on the season's first day and then every interval. A visit belongs to the
expected day next to it; of two visits with the same one, the outer takes the neighbouring day that
none came for, where it lies within half an interval and the tolerance of that. So "weekly, a few
days off is fine, a missed week is fine" (common practice, no source).
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, timedelta

from sheet_reader.results.contacts import bare, sites_by_address
from sheet_reader.results.facts import (
    NOT_RECEIVED,
    WAITS,
    Facts,
    PhotoFact,
    VisitFact,
    efforts,
    why_missing,
)
from sheet_reader.study.days import expected_days, of_moment, span
from sheet_reader.study.study import Study


def meant_for(study: Study, days: Sequence[date], visits: Iterable[date]) -> dict[date, int]:
    """For each day of a visit of one site, the number of the expected day it was meant for; none
    for a visit outside the season.
    """
    by_place: dict[int, list[date]] = defaultdict(list)
    for visit in sorted(set(visits)):
        if (nearest := _nearest(study, days, visit)) is not None:
            by_place[nearest].append(visit)
    reach = _reach(study)
    for place in sorted(by_place):
        for step, outer in ((-1, 0), (1, -1)):
            there = place + step
            here = by_place[place]
            if len(here) < 2 or not 0 <= there < len(days) or by_place.get(there):
                continue
            if abs((here[outer] - days[there]).days) <= reach:
                by_place[there] = [here.pop(outer)]
    return {visit: place for place, found in by_place.items() for visit in found}


def _reach(study: Study) -> float:
    """So many days a visit may be off the day it was meant for."""
    return study.visits.interval_days / 2 + study.visits.tolerance_days


def _nearest(study: Study, days: Sequence[date], visit: date) -> int | None:
    """The expected day next to a visit, at the season's ends as within it."""
    step, season = study.visits.interval_days, span(study)
    place = ((visit - days[0]).days * 2 + step - 1) // (2 * step)
    if not 0 <= place < len(days) and not season.first <= visit <= season.last:
        return None
    return min(max(place, 0), len(days) - 1)


LATELY = 3
"""Of so many expected days about when it came a photo may be (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Unplaced:
    """What has come and waits for its site, its date or to be read: by site ("" for any) the
    numbers of the expected days that it may be of, and the pages.
    """

    places: Mapping[str, Set[int]]
    pages_of: Mapping[str, Set[int]]

    def may_be_of(self, site: str, place: int) -> bool:
        """Whether something of it may be of this expected day of the site."""
        return any(place in self.places.get(key, ()) for key in (site, ""))

    def pages(self, site: str) -> set[int]:
        """The pages among it that may be of the site."""
        return {*self.pages_of.get(site, ()), *self.pages_of.get("", ())}


def unplaced(study: Study, facts: Facts) -> Unplaced:
    """What has come and stands at no site and day yet. A photo that can't be read may be of the
    last days expected when it came, where its sender is known by the site list.
    """
    days, sites_of = expected_days(study), sites_by_address(study)
    photos = {photo.photo: photo for photo in facts.photos}
    places: dict[str, set[int]] = defaultdict(set)
    pages: dict[str, set[int]] = defaultdict(set)

    def sent_for(photo: PhotoFact | None) -> list[str]:
        senders = map(bare, photo.senders if photo else ())
        return [site for who in senders for site in sites_of.get(who, ())]

    def until(photo: PhotoFact | None) -> range:
        if photo is None or not photo.received_at:
            return range(len(days))
        day = of_moment(photo.received_at, study) + timedelta(days=_reach(study))
        return range(bisect_right(days, day))

    for visit in facts.visits:
        if visit.site and visit.visit_date:
            continue
        photo = photos.get(visit.photos[0]) if visit.photos else None
        made = date.fromisoformat(visit.visit_date) if visit.visit_date else None
        nearest = None if made is None else _nearest(study, days, made)
        possible = until(photo) if made is None else [] if nearest is None else [nearest]
        for site in [visit.site] if visit.site else sent_for(photo) or [""]:
            places[site].update(possible)
            pages[site].update(visit.pages)
    for photo in facts.photos:
        if photo.status == "waiting":
            for site in sent_for(photo) or [""]:
                places[site].update(until(photo))
        elif photo.status in ("no sheet", "failed", "stopped"):
            for site in sent_for(photo):
                places[site].update(until(photo)[-LATELY:])
    return Unplaced(places, pages)


def incomplete(study: Study, visit: VisitFact, pages_of: int) -> tuple[str, ...]:
    """What a visit lacks as a whole, in words: pages, plots, effort. () where it lacks nothing."""
    missing = [page for page in range(1, pages_of + 1) if page not in visit.pages]
    found = [f"page {page} is missing" for page in missing]
    fields = visit.current
    empty = []
    for plot in study.plots:
        why = [why_missing(fields.get(f"{plot.name}.{count.name}")) for count in study.counts]
        nothing = all(why) and WAITS not in why
        if nothing and not (missing and all(reason == NOT_RECEIVED for reason in why)):
            found.append(f"nothing is recorded in {plot.label}")
        if nothing:
            empty.append(plot.name)
    found += [f"another photo of page {page} is asked for" for page in visit.pages_asked]
    if study.effort is not None:
        every = efforts(study, fields)
        spent = {plot.label: every[plot.name] for plot in study.plots if plot.name not in empty}
        found += [f"the effort is missing in {label}" for label, n in spent.items() if n is None]
        given = [value for value in spent.values() if value is not None]
        if study.effort.equal and len(set(given)) > 1:
            told = " and ".join(map(str, given))
            found.append(f"the effort is unequal: {told} {study.effort.unit}")
    return tuple(found)
