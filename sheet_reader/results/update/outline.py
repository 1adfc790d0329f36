"""A study as its update needs it, and what one update covers: plain frozen data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from sheet_reader.results.facts import Facts
from sheet_reader.results.letters.wording import advice_in
from sheet_reader.results.update.kept import Made
from sheet_reader.results.update.statement import MOST_LOOKS
from sheet_reader.study.days import expected_days
from sheet_reader.study.study import CountField, Study

FORTNIGHT = 14
"""Days between updates where the study does not say how many are planned."""
MOST_ADVICE, MOST_DATES = 3, 3


@dataclass(frozen=True, slots=True)
class Named:
    """A name as it stands in the frame of counts, and how volunteers know it."""

    name: str
    label: str


@dataclass(frozen=True, slots=True)
class Outline:
    """A study, as far as its update needs it.

    ``plots`` are all plots in printing order. ``treated`` and ``control`` name the two that are
    compared; both are empty where a study compares nothing. ``count`` is the count that is
    compared, ``highest`` its highest plausible value. ``effort`` is what the counts are divided by
    (a ``label`` in the singular, such as "plant" or "minute"), None where a count is per visit.
    ``stages`` are counts that are parts of one sum. ``planned_updates`` is how often the
    comparison will be looked at in the whole season. ``allowed_error`` is the promised share of
    accepted values that may be wrong, 0..1.
    """

    title: str
    first: date
    last: date
    plots: tuple[Named, ...]
    count: Named
    treated: str = ""
    control: str = ""
    effort: Named | None = None
    stages: tuple[Named, ...] = ()
    planned_updates: int = 6
    allowed_error: float = 0.001
    highest: int | None = None
    interval_days: int = 7

    def plot_label(self, name: str) -> str:
        """How volunteers know the plot; its name where it has no label."""
        return next((plot.label for plot in self.plots if plot.name == name), name)

    @property
    def compares(self) -> bool:
        """Whether two plots are compared."""
        return bool(self.treated and self.control)


@dataclass(frozen=True, slots=True)
class Update:
    """One update: what it covers and what the coordinator adds.

    Values up to ``until`` (included) are used; ``since`` is the last day of the update before,
    None for the first. ``number`` counts from 1: how often the comparison has been looked at.
    ``people`` are thanked by name, so only those who allowed it may stand there. ``notes`` is her
    own text, ``advice`` sentences on easier photos, ``next_dates`` the visits to come,
    ``for_site`` the site whose own numbers are added.
    """

    until: date
    since: date | None = None
    number: int = 1
    notes: str = ""
    advice: tuple[str, ...] = ()
    next_dates: tuple[date, ...] = ()
    people: tuple[str, ...] = ()
    for_site: str = ""


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
        title=study.title, first=study.season.first, last=study.season.last,
        plots=tuple(Named(plot.name, plot.label) for plot in study.plots),
        count=Named(count.name, count.label), treated=treated, control=control,
        effort=Named(effort.field, effort.unit) if effort else None, stages=_stages(study),
        planned_updates=planned, allowed_error=study.allowed_error, highest=count.highest,
        interval_days=study.visits.interval_days,
    )  # fmt: skip


def _stages(study: Study) -> tuple[Named, ...]:
    """The parts of the first sum inside a plot of which each has a life stage."""
    counts = {count.name: count for count in study.counts}
    for rule in study.sums:
        plots = {name.partition(".")[0] for name in rule.fields}
        parts = [counts.get(name.partition(".")[2]) for name in rule.parts]
        found = [part for part in parts if part is not None and part.life_stage]
        if len(plots) == 1 and len(found) == len(parts) > 1:
            return tuple(Named(part.name, part.label) for part in found)
    return ()


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
    said = Counter(
        advice_in(words, advice)
        for visit in facts.visits
        if "" < visit.visit_date <= until.isoformat()
        for advice in visit.advice
    )
    most = sorted(said, key=lambda advice: (-said[advice], advice))[:MOST_ADVICE]
    return Update(
        until=until, since=before.until if before else None,
        number=1 + sum(entry.until < until for entry in made), notes=notes, advice=tuple(most),
        next_dates=tuple(day for day in expected_days(study) if day > until)[:MOST_DATES],
        for_site=site,
    )  # fmt: skip


def last_before(made: Sequence[Made], until: date) -> Made | None:
    """The update before the one up to ``until``."""
    return max((m for m in made if m.until < until), key=lambda m: m.until, default=None)
