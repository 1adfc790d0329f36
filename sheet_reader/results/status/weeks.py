"""Which visit was meant for which expected day.

A visit is expected on the season's first day and then every interval. A visit belongs to the
expected day next to it; of two visits with the same one, the outer takes the neighbouring day that
none came for, where it lies within half an interval and the tolerance of that. So "weekly, a few
days off is fine, a missed week is fine" (common practice, no source).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from sheet_reader.results.frames import NOT_RECEIVED, WAITS, efforts, why_missing
from sheet_reader.results.from_record import VisitFact
from sheet_reader.study.model import Study


def expected_days(study: Study) -> tuple[date, ...]:
    """The day of every visit of the season."""
    step, season = study.visits.interval_days, study.season
    visits = (season.last - season.first).days // step + 1
    return tuple(season.first + timedelta(days=number * step) for number in range(visits))


def meant_for(study: Study, days: Sequence[date], visits: Iterable[date]) -> dict[date, int]:
    """For each day of a visit of one site, the number of the expected day it was meant for."""
    by_place: dict[int, list[date]] = defaultdict(list)
    for visit in sorted(set(visits)):
        by_place[_nearest(study, days, visit)].append(visit)
    reach = study.visits.interval_days / 2 + study.visits.tolerance_days
    for place in sorted(by_place):
        for step, outer in ((-1, 0), (1, -1)):
            there = place + step
            here = by_place[place]
            if len(here) < 2 or not 0 <= there < len(days) or by_place.get(there):
                continue
            if abs((here[outer] - days[there]).days) <= reach:
                by_place[there] = [here.pop(outer)]
    return {visit: place for place, found in by_place.items() for visit in found}


def _nearest(study: Study, days: Sequence[date], visit: date) -> int:
    step = study.visits.interval_days
    place = ((visit - days[0]).days * 2 + step - 1) // (2 * step)
    return min(max(place, 0), len(days) - 1)


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
    return (*found, *_effort(study, visit, [p.name for p in study.plots if p.name not in empty]))


def _effort(study: Study, visit: VisitFact, plots: Sequence[str]) -> list[str]:
    """What is wrong with the effort of these plots."""
    if study.effort is None or not plots:
        return []
    fields = visit.current
    spent = {plot: value for plot, value in efforts(study, fields).items() if plot in plots}
    labels = {plot.name: plot.label for plot in study.plots}
    lacking = [labels[plot] for plot, value in spent.items() if value is None]
    given = [value for value in spent.values() if value is not None]
    found = [f"the effort is missing in {label}" for label in lacking]
    if study.effort.equal and len(set(given)) > 1:
        told = " and ".join(str(value) for value in given)
        found.append(f"the effort is unequal: {told} {study.effort.unit}")
    return found
