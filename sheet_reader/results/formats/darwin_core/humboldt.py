"""What was looked for in a plot at a visit, and how long: the Humboldt extension."""

from __future__ import annotations

from collections.abc import Iterable

from sheet_reader.results.formats.darwin_core.events import (
    PlotEvent,
    VisitEvent,
    spent,
)
from sheet_reader.study.model import Study

HUMBOLDT_TERMS = (
    "targetTaxonomicScope", "isTaxonomicScopeFullyReported", "targetLifeStageScope",
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
    effort = study.effort
    value = spent(plot)
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
        _yes(bool(value)),
        value,
        effort.unit if effort and value else "",
        effort.protocol if effort and value else "",
        INVENTORY if taxa else "",
        " ".join(study.instructions),
    )


def _yes(value: bool) -> str:
    return "true" if value else "false"
