"""Events and what was counted in them: the lines of each file of the archive."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sheet_reader.results.cells import probability
from sheet_reader.results.formats.darwin_core.places import TERMS, place
from sheet_reader.results.frames import Tables
from sheet_reader.study.model import CountField, Study

INDIVIDUALS = "individuals"
"""The unit under which a number is one of individuals. No other unit, nor none, says that."""


@dataclass(frozen=True, slots=True)
class Counted:
    """A value that counts: of a count in a plot."""

    count: CountField
    value: int


@dataclass(frozen=True, slots=True)
class PlotEvent:
    """One plot at one visit, with all its values that count; ``effort`` is None where none is
    recorded.
    """

    visit: str
    plot: str
    effort: float | None
    counted: tuple[Counted, ...]

    @property
    def event(self) -> str:
        """Its identifier."""
        return f"{self.visit}:{self.plot}"


@dataclass(frozen=True, slots=True)
class VisitEvent:
    """A visit with a settled site and date; ``head`` are its numbers that stand in the head."""

    event: str
    site: str
    day: str
    head: Mapping[str, int]
    plots: tuple[PlotEvent, ...]


def visits_of(study: Study, tables: Tables) -> list[VisitEvent]:
    """Every visit with a settled site and date, in the order of the tables."""
    names = {h.kind: h.name for h in study.header}
    plots = _plots(study, tables)
    numbers = {h.name: tables.rows[h.name].tolist() for h in study.header if h.kind == "number"}
    there = {name: tables.rows[name].notna().tolist() for name in numbers}
    sites, days = (tables.rows[names[kind]] for kind in ("site", "date"))
    settled = (sites.notna() & days.notna()).tolist()
    found = []
    for row, (site, day) in enumerate(zip(sites.tolist(), days.tolist(), strict=True)):
        if settled[row]:
            head = {n: int(cells[row]) for n, cells in numbers.items() if there[n][row]}
            event = f"{study.key}:{site}:{day:%Y-%m-%d}"
            found.append(VisitEvent(event, site, f"{day:%Y-%m-%d}", head, tuple(plots[event])))
    return found


def _plots(study: Study, tables: Tables) -> Mapping[str, list[PlotEvent]]:
    counts = {c.name: c for c in study.counts}
    frame = tables.counts
    columns = ("site", "visit_date", "plot", "count", "value", "effort")
    cells = [frame[name].tolist() for name in columns]
    has_value, has_effort = frame["value"].notna().tolist(), frame["effort"].notna().tolist()
    effort: dict[tuple[str, str], float | None] = {}
    counted: dict[tuple[str, str], list[Counted]] = defaultdict(list)
    for line, (site, day, plot, count, value, how_long) in enumerate(zip(*cells, strict=True)):
        key = (f"{study.key}:{site}:{day:%Y-%m-%d}", plot)
        effort[key] = float(how_long) if has_effort[line] else None
        if has_value[line]:
            counted[key].append(Counted(counts[count], int(value)))
    found: dict[str, list[PlotEvent]] = defaultdict(list)
    for (visit, plot), spent in effort.items():
        found[visit].append(PlotEvent(visit, plot, spent, tuple(counted[visit, plot])))
    return found


EVENT_TERMS = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort",
    "eventRemarks", *TERMS,
)  # fmt: skip


def event_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each visit and, below it, for each of its plots."""
    labels = {plot.name: plot.label for plot in study.plots}
    places = {number: place(study, number) for number in {visit.site for visit in visits}}
    protocol = " ".join(study.instructions)
    lines = []
    for visit in visits:
        where = places[visit.site]
        lines.append((visit.event, "", "Site Visit", visit.day, protocol, "", "", *where))
        for plot in visit.plots:
            effort = f"{spent(plot)} {study.effort.unit}" if study.effort and spent(plot) else ""
            lines.append(
                (plot.event, visit.event, "Observation", visit.day, protocol, effort,
                 labels[plot.plot], *where)
            )  # fmt: skip
    return lines


def spent(plot: PlotEvent) -> str:
    """The effort as text, "" where none is recorded."""
    return "" if plot.effort is None else probability(plot.effort)


OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName", "lifeStage",
    "individualCount", "organismQuantity", "organismQuantityType", "occurrenceRemarks",
)  # fmt: skip


def occurrence_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each value of a count whose taxon the study names. A zero is an absence."""
    totals = parts_of_totals(study)
    return [
        _occurrence(plot, counted, totals)
        for visit in visits
        for plot in visit.plots
        for counted in plot.counted
        if counted.count.taxon
    ]


def _occurrence(
    plot: PlotEvent, counted: Counted, totals: Mapping[tuple[str, str], Sequence[CountField]]
) -> tuple[str, ...]:
    count, value = counted.count, counted.value
    individuals = value == 0 or count.unit.lower() == INDIVIDUALS
    parts = totals.get((plot.plot, count.name), ())
    includes = f"total; includes {', '.join(part.label for part in parts)}" if parts else ""
    return (
        plot.event,
        f"{plot.event}:{count.name}",
        "HumanObservation",
        "present" if value else "absent",
        count.taxon,
        count.life_stage,
        str(value) if individuals else "",
        str(value),
        count.unit or count.label,
        "; ".join(text for text in (includes, count.note) if text),
    )


def parts_of_totals(study: Study) -> dict[tuple[str, str], list[CountField]]:
    """By plot and total, the counts that are part of it."""
    counts = {c.name: c for c in study.counts}
    found = {}
    for rule in study.sums:
        plot, _, total = rule.total.partition(".")
        parts = [part.partition(".")[2] for part in rule.parts]
        if total in counts and all(part in counts for part in parts):
            found[plot, total] = [counts[part] for part in parts]
    return found


MEASUREMENT_TERMS = (
    "eventID", "measurementID", "measurementType", "measurementValue", "measurementUnit",
    "measurementDeterminedDate", "measurementRemarks",
)  # fmt: skip


def measurement_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """Numbers of the head, treatments, and the values of counts whose taxon is not named."""
    head = {h.name: h.label for h in study.header}
    treatment = {plot.name: plot.treatment for plot in study.plots}
    lines: list[tuple[str, ...]] = []
    for visit in visits:
        lines += [
            (visit.event, f"{visit.event}:{name}", head[name], str(value), "", visit.day, "")
            for name, value in visit.head.items()
        ]
        for plot in visit.plots:
            event = plot.event
            if treatment[plot.plot]:
                what = treatment[plot.plot]
                lines.append((event, f"{event}:treatment", "treatment", what, "", visit.day, ""))
            lines += [
                (event, f"{event}:{c.count.name}", c.count.label, str(c.value), c.count.unit,
                 visit.day, c.count.note)
                for c in plot.counted if not c.count.taxon
            ]  # fmt: skip
    return lines
