"""Which taxon was found in a plot at a visit, and how much of it: one occurrence for each.

Stages of a taxon, and totals, are no occurrences of their own, so that nobody adds up what belongs
together or finds one taxon both present and absent in one event. An occurrence gives the whole
quantity of its taxon or none, as "Inclusive" has it for the Humboldt extension
(rs.tdwg.org/dwc/doc/inclusive); each stage and total stands beside it as a measurement.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sheet_reader.study.model import CountField, Study


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
