"""Events and what was counted in them: the lines of each file of the archive."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sheet_reader.results.cells import probability, texts
from sheet_reader.results.formats.darwin_core.places import TERMS, place
from sheet_reader.results.formats.darwin_core.taxa import Finding, findings, taxa_of
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
    found: tuple[Finding, ...]
    modified: str

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
    modified: str


def visits_of(study: Study, tables: Tables) -> list[VisitEvent]:
    """Every visit with a settled site and date, in the order of the tables."""
    plots = _plots(study, tables)
    numbers = {h.name: tables.rows[h.name].tolist() for h in study.header if not h.kind.is_key}
    there = {name: tables.rows[name].notna().tolist() for name in numbers}
    shown = [texts(tables.rows[name]) for name in ("visit_id", *study.keys, "modified")]
    found = []
    for row, (event, site, day, modified) in enumerate(zip(*shown, strict=True)):
        if site and day:
            head = {n: int(cells[row]) for n, cells in numbers.items() if there[n][row]}
            found.append(VisitEvent(event, site, day, head, tuple(plots[event]), modified))
    return found


def _plots(study: Study, tables: Tables) -> Mapping[str, list[PlotEvent]]:
    counts = {c.name: c for c in study.counts}
    taxa = {plot.name: taxa_of(study, plot.name) for plot in study.plots}
    frame = tables.counts
    cells = [frame[name].tolist() for name in ("visit_id", "plot", "count", "value", "effort")]
    has_value, has_effort = frame["value"].notna().tolist(), frame["effort"].notna().tolist()
    effort: dict[tuple[str, str], float | None] = {}
    changed: dict[tuple[str, str], str] = defaultdict(str)
    counted: dict[tuple[str, str], list[Counted]] = defaultdict(list)
    times = texts(frame["modified"])
    for line, (visit, plot, count, value, how_long) in enumerate(zip(*cells, strict=True)):
        key = visit, plot
        effort[key] = float(how_long) if has_effort[line] else None
        changed[key] = max(changed[key], times[line])
        if has_value[line]:
            counted[key].append(Counted(counts[count], int(value)))
    found: dict[str, list[PlotEvent]] = defaultdict(list)
    for (visit, plot), spent in effort.items():
        own = tuple(counted[visit, plot])
        seen = findings(taxa[plot], {c.count.name: c.value for c in own})
        found[visit].append(
            PlotEvent(visit, plot, spent, own, tuple(seen), changed[visit, plot])
        )
    return found


EVENT_TERMS = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort",
    "sampleSizeValue", "sampleSizeUnit", "eventRemarks", *TERMS, "modified",
)  # fmt: skip


def event_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each visit and, below it, for each of its plots."""
    labels = {plot.name: plot.label for plot in study.plots}
    places = {number: place(study, number) for number in {visit.site for visit in visits}}
    protocol = " ".join(study.instructions)
    lines = []
    for visit in visits:
        where = places[visit.site]
        lines.append(
            (visit.event, "", "Site Visit", visit.day, protocol, "", "", "", "", *where,
             visit.modified)
        )  # fmt: skip
        for plot in visit.plots:
            size = (spent(plot), study.effort.unit) if study.effort and spent(plot) else ("", "")
            lines.append(
                (plot.event, visit.event, "Observation", visit.day, protocol,
                 " ".join(size).strip(), *size, labels[plot.plot], *where, plot.modified)
            )  # fmt: skip
    return lines


def spent(plot: PlotEvent) -> str:
    """The effort as text, "" where none is recorded."""
    return "" if plot.effort is None else probability(plot.effort)


OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName", "taxonRank",
    "kingdom", "lifeStage", "individualCount", "organismQuantity", "organismQuantityType",
    "occurrenceRemarks", "modified",
)  # fmt: skip


def occurrence_lines(visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each taxon in a plot at a visit. Where nothing of it was found, it is absent."""
    return [
        _occurrence(plot, finding)
        for visit in visits
        for plot in visit.plots
        for finding in plot.found
    ]


def _occurrence(plot: PlotEvent, finding: Finding) -> tuple[str, ...]:
    taxon, quantity = finding.taxon, finding.quantity
    known = "" if quantity is None else str(quantity)
    individuals = not finding.present or finding.unit.lower() == INDIVIDUALS
    first = taxon.counts[0]
    stages = {count.life_stage for count in taxon.counts}
    lacking = f"not recorded: {', '.join(c.label for c in finding.missing)}"
    return (
        plot.event,
        f"{plot.event}:{first.name}:occurrence",
        "HumanObservation",
        "present" if finding.present else "absent",
        taxon.name,
        _same(count.taxon_rank for count in taxon.counts),
        _same(count.kingdom for count in taxon.counts),
        first.life_stage if len(stages) == 1 else "",
        known if individuals else "",
        known,
        finding.unit if known else "",
        "; ".join(
            text for text in (
                lacking if finding.missing else "", first.note if len(taxon.counts) == 1 else "",
            ) if text
        ),
        plot.modified,
    )  # fmt: skip


def _same(said: Iterable[str]) -> str:
    """What is said, where nothing else is."""
    found = {text for text in said if text}
    return found.pop() if len(found) == 1 else ""


MEASUREMENT_TERMS = (
    "eventID", "measurementID", "measurementType", "measurementValue", "measurementUnit",
    "measurementDeterminedDate", "measurementRemarks",
)  # fmt: skip


def measurement_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """Numbers of the head, treatments, and the values of counts that are no occurrence by
    themselves: their taxon is not named, or has several.
    """
    head = {h.name: h.label for h in study.header}
    treatment = {plot.name: plot.treatment for plot in study.plots}
    taxa = {plot.name: taxa_of(study, plot.name) for plot in study.plots}
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
            alone = {t.counts[0].name for t in taxa[plot.plot] if len(t.counts) == 1}
            lines += [
                (event, f"{event}:{c.count.name}", c.count.label, str(c.value), c.count.unit,
                 visit.day, "; ".join(
                     text for text in (c.count.taxon, c.count.life_stage, c.count.note) if text
                 ))
                for c in plot.counted if c.count.name not in alone
            ]  # fmt: skip
    return lines
