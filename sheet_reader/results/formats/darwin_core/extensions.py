"""What was found, counted and looked for in each plot at each visit: the archive's extensions."""

from __future__ import annotations

from collections.abc import Iterable

from sheet_reader.results.formats.darwin_core.events import (
    Finding,
    PlotEvent,
    VisitEvent,
    taxa_of,
)
from sheet_reader.study.study import Study

INDIVIDUALS = "individuals"
"""The unit under which a number is one of individuals. No other unit, nor none, says that."""
OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName", "taxonRank",
    "kingdom", "lifeStage", "individualCount", "organismQuantity", "organismQuantityType",
    "occurrenceRemarks", "modified",
)  # fmt: skip


def occurrence_lines(visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each taxon in a plot at a visit. Where nothing of it was found, it is absent."""
    plots = (plot for visit in visits for plot in visit.plots)
    return [_occurrence(plot, finding) for plot in plots for finding in plot.found]


def _occurrence(plot: PlotEvent, finding: Finding) -> tuple[str, ...]:
    taxon, quantity = finding.taxon, finding.quantity
    known = "" if quantity is None else str(quantity)
    individuals = not finding.present or finding.unit.lower() == INDIVIDUALS
    first = taxon.counts[0]
    stages = {count.life_stage for count in taxon.counts}
    remarks = (
        f"not recorded: {', '.join(c.label for c in finding.missing)}" if finding.missing else "",
        first.note if len(taxon.counts) == 1 else "",
    )
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
        "; ".join(filter(None, remarks)),
        plot.modified,
    )


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
                 visit.day,
                 "; ".join(filter(None, (c.count.taxon, c.count.life_stage, c.count.note))))
                for c in plot.counted if c.count.name not in alone
            ]  # fmt: skip
    return lines


HUMBOLDT_TERMS = (
    "eventID", "targetTaxonomicScope", "isTaxonomicScopeFullyReported", "targetLifeStageScope",
    "isLifeStageScopeFullyReported", "isAbsenceReported", "absentTaxa", "hasNonTargetTaxa",
    "isAbundanceReported", "isLeastSpecificTargetCategoryQuantityInclusive",
    "isSamplingEffortReported", "samplingEffortValue", "samplingEffortUnit",
    "samplingEffortProtocol", "inventoryTypes", "protocolDescriptions",
)  # fmt: skip
BETWEEN = " | "
"""Between the entries of a list, as the terms' own comments recommend."""
INVENTORY = "restrictedSearch"
"""Only the named taxa are looked for (an example of the term's own)."""


def humboldt_lines(study: Study, visits: Iterable[VisitEvent]) -> list[tuple[str, ...]]:
    """A line for each plot at a visit.

    What was not recorded was not looked for as far as these data go: a taxon belongs to the scope
    only where a value of it counts, so that nobody takes an empty box for an absence.
    """
    return [_line(study, plot) for visit in visits for plot in visit.plots]


def _line(study: Study, plot: PlotEvent) -> tuple[str, ...]:
    named = [c for c in plot.counted if c.count.taxon]
    taxa = list(dict.fromkeys(c.count.taxon for c in named))
    stages = list(dict.fromkeys(c.count.life_stage for c in named if c.count.life_stage))
    whole = len(named) == sum(bool(count.taxon) for count in study.counts)
    absent = [finding.taxon.name for finding in plot.found if not finding.present]
    inclusive = {f.taxon.name for f in plot.found if f.quantity is not None} >= set(taxa)
    effort = study.effort if plot.effort else None
    return (
        plot.event,
        BETWEEN.join(taxa),
        _yes(whole) if taxa else "",
        BETWEEN.join(stages),
        _yes(whole) if stages else "",
        _yes(bool(absent)) if taxa else "",
        BETWEEN.join(absent),
        _yes(False) if taxa else "",
        _yes(bool(named)),
        _yes(inclusive) if taxa else "",
        _yes(bool(plot.effort)),
        plot.effort,
        effort.unit if effort else "",
        effort.protocol if effort else "",
        INVENTORY if taxa else "",
        " ".join(study.instructions),
    )


def _yes(value: bool) -> str:
    return "true" if value else "false"
