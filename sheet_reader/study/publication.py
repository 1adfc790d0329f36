"""What the study file says for those who use the tables: licence, citation, places, effort."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from sheet_reader.study.model import CountField, Effort, HeaderField, Publication
from sheet_reader.study.table import Table, nearest, shown

LICENCES: Mapping[str, tuple[str, str]] = {
    "CC0-1.0": (
        "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
        "Creative Commons Zero 1.0",
    ),
    "CC-BY-4.0": (
        "https://creativecommons.org/licenses/by/4.0/legalcode",
        "Creative Commons Attribution 4.0",
    ),
    "CC-BY-NC-4.0": (
        "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
        "Creative Commons Attribution Non-Commercial 4.0",
    ),
}
"""By SPDX identifier: where the licence is to be read, and its name. These three are the licences
that the IPT user manual, "Dataset licensing", names for Darwin Core Archives (from memory)."""

MOST_DECIMALS = 6
_NAME = re.compile(r"[^\W\d_][\w .()×'-]*\Z")


def read_publication(top: Table) -> Publication:
    """The table ``[publication]``; without it nothing is said and no place leaves."""
    table = top.table("publication", required=False)
    if table is None:
        return Publication()
    table.only(
        ("licence", "citation", "description", "publisher", "place_names", "place_decimals")
    )
    licence = table.choice("licence", tuple(LICENCES)) if table.has("licence") else ""
    return Publication(
        licence=licence,
        citation=table.text("citation", longest=500, required=False),
        description=table.text("description", longest=1000, required=False),
        publisher=table.text("publisher", longest=120, required=False),
        place_names=table.flag("place_names") or False,
        place_decimals=table.whole("place_decimals", 0, MOST_DECIMALS, required=False),
    )


def read_effort(
    top: Table, header: Sequence[HeaderField], counts: Sequence[CountField]
) -> Effort | None:
    """The table ``[effort]``: which count or number of the head says how long was searched."""
    table = top.table("effort", required=False)
    if table is None:
        return None
    table.only(("field", "unit", "protocol", "equal"))
    name = table.text("field", longest=80)
    units = {c.name: c.unit for c in counts if c.name}
    units |= {h.name: "" for h in header if h.kind == "number" and h.name}
    if name and name not in units:
        table.wrong("field", f"{shown(name)} is no count or number{nearest(name, units)}")
    unit = table.text("unit", longest=20, required=False) or units.get(name, "")
    if name in units and not unit:
        table.wrong("unit", f"is missing, and {name} has none: say what the effort is counted in")
    protocol = table.text("protocol", longest=300, required=False)
    return Effort(name, unit, protocol, table.flag("equal") is not False)


def read_taxon(table: Table) -> tuple[str, str]:
    """``taxon`` and ``life_stage`` of a count; empty where she does not name them."""
    taxon = table.text("taxon", longest=120, required=False)
    if taxon and not _NAME.match(taxon):
        table.wrong("taxon", f"{shown(taxon)} must be a scientific name, such as “Aphis fabae”")
    if taxon and taxon[0].islower():
        table.wrong("taxon", f"{shown(taxon)} must begin with a capital letter")
    life_stage = table.text("life_stage", longest=40, required=False)
    if life_stage and not taxon:
        table.wrong("life_stage", "needs a taxon: the stage of what?")
    return taxon, life_stage
