"""A study and its record as the update needs them: outline, frame of counts, what is around."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import pandas as pd

from sheet_reader.results.frames import counts_frame
from sheet_reader.results.from_record import Facts, names_in, told_without_people
from sheet_reader.results.letters.words import advice_in
from sheet_reader.results.status.weeks import meant_for
from sheet_reader.results.update.kept import Made
from sheet_reader.results.update.looks import MOST_LOOKS
from sheet_reader.results.update.model import Named, Outline, Update
from sheet_reader.results.values import in_order
from sheet_reader.study.days import expected_days
from sheet_reader.study.model import CountField, Study

FORTNIGHT = 14
"""Days between updates where the study does not say how many are planned."""
MOST_ADVICE, MOST_DATES = 3, 3


def candidates(study: Study) -> list[CountField]:
    """The counts that an update could show: all but the effort."""
    effort = study.effort.field if study.effort else ""
    return [count for count in study.counts if count.name != effort] or list(study.counts)


def outline_of(study: Study, made: Sequence[Made] = (), until: date | None = None) -> Outline:
    """What the update needs of ``study``. Where ``[update]`` does not say: the first count; of two
    plots with a treatment each the first is the treated one, else nothing is compared. The looks
    planned are at least as many as the days in ``made`` and ``until``.
    """
    plan = study.update
    count = next((c for c in study.counts if c.name == plan.count), candidates(study)[0])
    treated, control = plan.treated, plan.control
    if not treated and len(study.plots) == 2 and all(p.treatment for p in study.plots):
        treated, control = (plot.name for plot in study.plots)
    fortnights = -(-((study.season.last - study.season.first).days + 1) // FORTNIGHT)
    days = {entry.until for entry in made} | ({until} if until else set())
    planned = max(plan.planned or min(fortnights, MOST_LOOKS), len(days))
    effort = study.effort
    return Outline(
        title=study.title,
        first=study.season.first,
        last=study.season.last,
        plots=tuple(Named(plot.name, plot.label) for plot in study.plots),
        count=Named(count.name, count.label),
        treated=treated,
        control=control,
        effort=Named(effort.field, effort.unit) if effort else None,
        stages=_stages(study),
        planned_updates=planned,
        allowed_error=study.allowed_error,
        highest=count.highest,
        interval_days=study.visits.interval_days,
    )


def _stages(study: Study) -> tuple[Named, ...]:
    """The parts of the first sum inside a plot of which each has a life stage."""
    counts = {count.name: count for count in study.counts}
    for rule in study.sums:
        plots = {name.partition(".")[0] for name in (rule.total, *rule.parts)}
        parts = [counts.get(name.partition(".")[2]) for name in rule.parts]
        found = [part for part in parts if part is not None and part.life_stage]
        if len(plots) == 1 and len(found) == len(parts) > 1:
            return tuple(Named(part.name, part.label) for part in found)
    return ()


def frame_of(study: Study, facts: Facts, until: date, last: Made | None = None) -> pd.DataFrame:
    """The counts of visits up to ``until`` as the update's core takes them (see ``frame``).

    ``arrived`` tells apart what the ``last`` update had already (its visit date) from what it had
    not (``until``): a sheet that came late is new. Places bear the names of :func:`place_names`.
    """
    counts = counts_frame(study, in_order(facts.visits))
    counts = counts[counts["visit_date"] <= pd.Timestamp(until)].reset_index(drop=True)
    names = place_names(study)
    shown = [names.get(site, _by_number(site)) for site in counts["site"]]
    counts["site_name"] = pd.Series(shown, dtype="string")
    counts["meant"] = _meant(study, counts)
    if last is not None:
        received = {photo.photo: photo.received_at for photo in facts.photos}
        at = counts["photo"].map(lambda photo: received.get(photo, "")).astype("string")
        had = (counts["visit_date"] <= pd.Timestamp(last.until)) & (at <= last.made_at)
        counts["arrived"] = counts["visit_date"].where(had, pd.Timestamp(until))
    return counts


def _meant(study: Study, counts: pd.DataFrame) -> pd.Series:
    """The expected day that each visit was meant for, as the status has it; else missing."""
    expected = expected_days(study)
    found: dict[tuple[str, pd.Timestamp], pd.Timestamp] = {}
    for site, days in counts.groupby("site")["visit_date"]:
        places = meant_for(study, expected, {day.date() for day in days})
        found |= {
            (str(site), pd.Timestamp(day)): pd.Timestamp(expected[place])
            for day, place in places.items()
        }
    keys = zip(counts["site"], counts["visit_date"], strict=True)
    return pd.Series([found.get(key, pd.NaT) for key in keys], dtype=counts["visit_date"].dtype)


def place_names(study: Study) -> dict[str, str]:
    """What each site is called: its label, but its number where the label has a word of a contact
    on the site list.
    """
    names = names_in(site.contact for site in study.sites)
    return {
        site.number: site.label
        if told_without_people(site.label, names) == " ".join(site.label.split())
        else _by_number(site.number)
        for site in study.sites
    }


def _by_number(site: str) -> str:
    return f"site {site}"


def comparable(outline: Outline, counts: pd.DataFrame) -> Outline:
    """``outline`` without its comparison as long as one of its plots has nothing at all."""
    mine = counts[counts["count"] == outline.count.name]
    if {outline.treated, outline.control} <= set(mine["plot"]):
        return outline
    return replace(outline, treated="", control="")


def update_of(
    study: Study, facts: Facts, until: date, made: Sequence[Made], notes: str, site: str = ""
) -> Update:
    """What this update covers: number, the one before, advice of the visits up to ``until``, the
    next expected days.
    """
    before = last_before(made, until)
    words = dict(study.letter_words)
    days = {visit.visit_date for visit in facts.visits if visit.visit_date}
    known = {day for day in days if day <= until.isoformat()}
    said = Counter(
        advice_in(words, advice)
        for visit in facts.visits
        if visit.visit_date in known
        for advice in visit.advice
    )
    most = sorted(said, key=lambda advice: (-said[advice], advice))[:MOST_ADVICE]
    return Update(
        until=until,
        since=before.until if before else None,
        number=1 + sum(entry.until < until for entry in made),
        notes=notes,
        advice=tuple(most),
        next_dates=tuple(day for day in expected_days(study) if day > until)[:MOST_DATES],
        for_site=site,
    )


def last_before(made: Sequence[Made], until: date) -> Made | None:
    """The update before the one up to ``until``."""
    return max((m for m in made if m.until < until), key=lambda m: m.until, default=None)
