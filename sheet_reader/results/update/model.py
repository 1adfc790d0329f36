"""What the update must know of a study: plain frozen data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


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
