"""Visits and plots as events: where they were, what was counted, and which taxa were found.

Stages of a taxon, and totals, are no occurrences of their own, so that nobody adds up what belongs
together or finds one taxon both present and absent in one event. An occurrence gives the whole
quantity of its taxon or none, as "Inclusive" has it for the Humboldt extension
(rs.tdwg.org/dwc/doc/inclusive); each stage and total stands beside it as a measurement.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from sheet_reader.results.cells import texts
from sheet_reader.results.frames import Tables, identifier
from sheet_reader.study.study import CountField, Study

METRES_PER_DEGREE = 111_320.0
"""Of latitude, and of longitude on the equator, the most it can be (WGS 84, rounded)."""
PLACE_TERMS = (
    "locationID", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum",
    "coordinatePrecision", "coordinateUncertaintyInMeters", "dataGeneralizations",
    "informationWithheld",
)  # fmt: skip


def place(study: Study, number: str) -> tuple[str, ...]:
    """A value for each of :data:`PLACE_TERMS` for a site; coordinates are rounded, and the radius
    within which the place then lies is told.
    """
    site, said = study.site(number), study.publication
    location = identifier(study, number)
    if site is None:
        return (location, *[""] * (len(PLACE_TERMS) - 1))
    name, withheld = (site.label, []) if said.place_names else ("", ["name of the place"])
    decimals = said.place_decimals
    if decimals is None or site.latitude is None or site.longitude is None:
        withheld += ["coordinates"] if site.latitude is not None else []
        return location, name, "", "", "", "", "", "", _withheld(withheld)
    step = 10.0**-decimals
    radius = math.ceil(step / 2.0 * math.sqrt(2.0) * METRES_PER_DEGREE)
    return (
        location,
        name,
        _rounded(site.latitude, decimals),
        _rounded(site.longitude, decimals),
        "EPSG:4326",
        f"{step:.{decimals}f}",
        str(max(radius, 1)),
        f"coordinates rounded to {decimals} decimals of a degree",
        _withheld(withheld),
    )


def _rounded(degrees: float, decimals: int) -> str:
    return f"{round(degrees, decimals) + 0.0:.{decimals}f}"  # no -0


def _withheld(what: list[str]) -> str:
    return f"{' and '.join(what)} withheld" if what else ""


@dataclass(frozen=True, slots=True)
class Taxon:
    """A taxon of a plot: its ``counts``, those of them that are no ``leaves`` are totals, and the
    names of the totals that include all ``leaves``.
    """

    name: str
    counts: tuple[CountField, ...]
    leaves: tuple[CountField, ...]
    whole: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """A taxon in a plot at a visit. ``quantity`` is the whole of it, in ``unit``; None where it is
    present, but not all of it was recorded.
    """

    taxon: Taxon
    present: bool
    quantity: int | None
    unit: str
    missing: tuple[CountField, ...]


def taxa_of(study: Study, plot: str) -> list[Taxon]:
    """The taxa that are counted in a plot. A total that includes other taxa is of none."""
    parts = _parts_of_totals(study, plot)
    counts = {c.name: c for c in study.counts}
    found = []
    for name in dict.fromkeys(c.taxon for c in study.counts if c.taxon):
        own = [
            c
            for c in study.counts
            if c.taxon == name
            and {counts[part].taxon for part in parts.get(c.name, ())} <= {name, ""}
        ]
        of_own = {c.name: parts.get(c.name, set()) & {o.name for o in own} for c in own}
        leaves = tuple(c for c in own if not of_own[c.name])
        whole = tuple(
            total for total, held in of_own.items() if held and held >= {c.name for c in leaves}
        )
        if own:
            found.append(Taxon(name, tuple(own), leaves, whole))
    return found


def _parts_of_totals(study: Study, plot: str) -> dict[str, set[str]]:
    """By total of a plot, the counts that are part of it, those of its parts among them."""
    names = {c.name for c in study.counts}
    direct: dict[str, set[str]] = {}
    for rule in study.sums:
        where, _, total = rule.total.partition(".")
        if where == plot and total in names:
            parts = {part.partition(".")[2] for part in rule.parts}
            direct.setdefault(total, set()).update(parts & names)
    found = {}
    for total in direct:
        held, ahead = set[str](), {total}
        while ahead:
            ahead = {part for one in ahead for part in direct.get(one, ())} - held
            held |= ahead
        found[total] = held - {total}
    return found


def findings(taxa: Iterable[Taxon], values: Mapping[str, int]) -> list[Finding]:
    """What the ``values`` that count, by count, say of each of the ``taxa``. Where some counts of a
    taxon are missing and the others are 0, nothing is said of it.
    """
    found = []
    for taxon in taxa:
        recorded = {c.name: values[c.name] for c in taxon.counts if c.name in values}
        missing = tuple(c for c in taxon.leaves if c.name not in recorded)
        present = any(recorded.values())
        total = next((name for name in taxon.whole if name in recorded), None)
        if not recorded or (not present and missing and total is None):
            continue
        quantity, unit = _quantity(taxon, recorded, total, missing)
        contradicts = present and quantity == 0
        found.append(Finding(taxon, present, None if contradicts else quantity, unit, missing))
    return found


def _quantity(
    taxon: Taxon, recorded: Mapping[str, int], total: str | None, missing: Sequence[CountField]
) -> tuple[int | None, str]:
    """The whole quantity and its unit: as written in a total, else the leaves added up, where they
    are one count, have one unit, or the study adds them up itself.
    """
    as_total = next((c for c in taxon.counts if c.name in (total or taxon.whole)), None)
    units = {c.unit for c in taxon.leaves}
    unit = as_total.unit if as_total else ""
    if len(units) == 1:
        unit = unit or taxon.leaves[0].unit
    unit = unit or (as_total or taxon.leaves[0]).label
    if total is not None:
        return recorded[total], unit
    adds_up = as_total is not None or len(taxon.leaves) == 1 or len(units - {""}) == len(units) == 1
    if missing or not adds_up:
        nothing = not any(recorded.values())
        return (0 if nothing and not missing else None), unit
    return sum(recorded[c.name] for c in taxon.leaves), unit


@dataclass(frozen=True, slots=True)
class Counted:
    """A value that counts: of a count in a plot."""

    count: CountField
    value: int


@dataclass(frozen=True, slots=True)
class PlotEvent:
    """One plot at one visit, with all its values that count; ``effort`` is a text, "" where none
    is recorded.
    """

    visit: str
    plot: str
    effort: str
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
    numbers = tables.rows[[h.name for h in study.header if not h.kind.is_key]]
    shown = [texts(tables.rows[name]) for name in ("visit_id", *study.keys, "modified")]
    return [
        VisitEvent(
            event, site, day, {n: int(v) for n, v in head.items() if not pd.isna(v)},
            tuple(plots[event]), modified,
        )
        for event, site, day, modified, head in zip(
            *shown, numbers.to_dict("records"), strict=True
        )
        if site and day
    ]  # fmt: skip


def _plots(study: Study, tables: Tables) -> Mapping[str, list[PlotEvent]]:
    counts = {c.name: c for c in study.counts}
    taxa = {plot.name: taxa_of(study, plot.name) for plot in study.plots}
    frame = tables.counts
    cells = [frame[name].tolist() for name in ("visit_id", "plot", "count", "value")]
    has_value = frame["value"].notna().tolist()
    efforts, times = texts(frame["effort"]), texts(frame["modified"])
    effort: dict[tuple[str, str], str] = {}
    changed: dict[tuple[str, str], str] = defaultdict(str)
    counted: dict[tuple[str, str], list[Counted]] = defaultdict(list)
    for line, (visit, plot, count, value) in enumerate(zip(*cells, strict=True)):
        key = visit, plot
        effort[key] = efforts[line]
        changed[key] = max(changed[key], times[line])
        if has_value[line]:
            counted[key].append(Counted(counts[count], int(value)))
    found: dict[str, list[PlotEvent]] = defaultdict(list)
    for (visit, plot), spent in effort.items():
        own = tuple(counted[visit, plot])
        seen = tuple(findings(taxa[plot], {c.count.name: c.value for c in own}))
        found[visit].append(PlotEvent(visit, plot, spent, own, seen, changed[visit, plot]))
    return found


EVENT_TERMS = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort",
    "sampleSizeValue", "sampleSizeUnit", "eventRemarks", *PLACE_TERMS, "modified",
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
            size = (plot.effort, study.effort.unit) if study.effort and plot.effort else ("", "")
            lines.append(
                (plot.event, visit.event, "Observation", visit.day, protocol,
                 " ".join(size).strip(), *size, labels[plot.plot], *where, plot.modified)
            )  # fmt: skip
    return lines
