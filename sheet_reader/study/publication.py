"""What the study file says of tables and updates that are handed out: licence, citation, places,
effort; the count and the plots that updates compare.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from sheet_reader.study.study import CountField, Effort, FieldSpec, Plot, Publication, UpdatePlan
from sheet_reader.study.table import TomlTable, nearest, shown

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
MOST_UPDATES = 100
_NAME = re.compile(r"[^\W\d_][\w .()×'-]*\Z")
_COUNTRY = re.compile(r"[A-Z]{2}")
_SIGNS = r"[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*"
_BASE = re.compile(
    rf"https?://[A-Za-z0-9.-]+(:\d+)?/({_SIGNS}[/#=:])?"
    rf"|urn:[A-Za-z0-9][A-Za-z0-9-]{{0,30}}[A-Za-z0-9]:({_SIGNS}[:/])?"
)
"""A web address (RFC 3986) or URN (RFC 8141) to which a name can be added."""
_BASE_MEANT = (
    "a web address that ends in / or #, or a URN that ends in a colon, such as "
    "“https://example.org/bean-tips/”"
)
RANKS = ("kingdom", "phylum", "class", "order", "family", "subfamily", "tribe", "genus",
         "subgenus", "species", "subspecies", "variety")  # fmt: skip
"""Ranks of GBIF's vocabulary rank_2015-04-24 that count studies use."""
KINGDOMS = ("Animalia", "Archaea", "Bacteria", "Chromista", "Fungi", "Plantae", "Protozoa",
            "Viruses")  # fmt: skip
"""The examples of dwc:kingdom."""


def read_publication(top: TomlTable) -> Publication:
    """The table ``[publication]``; without it nothing is said and no place leaves."""
    table = top.table("publication", required=False)
    if table is None:
        return Publication()
    table.only(
        ("licence", "citation", "description", "publisher", "place_names", "place_decimals",
         "country", "identifier_base")
    )  # fmt: skip
    licence = table.choice("licence", tuple(LICENCES)) if table.has("licence") else ""
    return Publication(
        licence=licence,
        citation=table.text("citation", longest=500, required=False),
        description=table.text("description", longest=1000, required=False),
        publisher=table.text("publisher", longest=120, required=False),
        place_names=table.flag("place_names") or False,
        place_decimals=table.whole("place_decimals", 0, MOST_DECIMALS, required=False),
        country=_matching(table, "country", _COUNTRY, "two capital letters, such as “DE”"),
        identifier_base=_matching(table, "identifier_base", _BASE, _BASE_MEANT),
    )


def _matching(table: TomlTable, key: str, form: re.Pattern[str], meant: str) -> str:
    text = table.text(key, longest=200, required=False)
    if text and not form.fullmatch(text):
        table.wrong(key, f"{shown(text)} must be {meant}")
        return ""
    return text


def read_effort(
    top: TomlTable, header: Sequence[FieldSpec], counts: Sequence[CountField]
) -> Effort | None:
    """The table ``[effort]``: which count or number of the head says how long was searched."""
    table = top.table("effort", required=False)
    if table is None:
        return None
    table.only(("field", "unit", "protocol", "equal"))
    name = table.text("field", longest=80)
    units = {c.name: c.unit for c in counts if c.name}
    units |= {h.name: "" for h in header if h.kind.is_amount and h.name}
    if name and name not in units:
        table.wrong("field", f"{shown(name)} is no count or number{nearest(name, units)}")
    unit = table.text("unit", longest=20, required=False) or units.get(name, "")
    if name in units and not unit:
        table.wrong("unit", f"is missing, and {name} has none: say what the effort is counted in")
    protocol = table.text("protocol", longest=300, required=False)
    return Effort(name, unit, protocol, table.flag("equal") is not False)


def read_taxon(table: TomlTable) -> tuple[str, str, str, str]:
    """``taxon``, ``life_stage``, ``taxon_rank`` and ``kingdom`` of a count; empty where she does
    not name them.
    """
    taxon = table.text("taxon", longest=120, required=False)
    if taxon and not _NAME.match(taxon):
        table.wrong("taxon", f"{shown(taxon)} must be a scientific name, such as “Aphis fabae”")
    if taxon and taxon[0].islower():
        table.wrong("taxon", f"{shown(taxon)} must begin with a capital letter")
    life_stage = table.text("life_stage", longest=40, required=False)
    if life_stage and not taxon:
        table.wrong("life_stage", "needs a taxon: the stage of what?")
    chosen = {
        key: table.choice(key, choices) if table.has(key) else ""
        for key, choices in (("taxon_rank", RANKS), ("kingdom", KINGDOMS))
    }
    for key, text in chosen.items():
        if text and not taxon:
            table.wrong(key, "needs a taxon")
    return taxon, life_stage, chosen["taxon_rank"], chosen["kingdom"]


def read_update_plan(
    top: TomlTable, plots: Sequence[Plot], counts: Sequence[CountField]
) -> UpdatePlan:
    """The table ``[update]``: count, treated, control (names of plots), planned; all optional."""
    table = top.table("update", required=False)
    if table is None:
        return UpdatePlan()
    table.only(("count", "treated", "control", "planned"))
    count = _named(table, "count", [c.name for c in counts], "no count")
    names = [plot.name for plot in plots]
    treated = _named(table, "treated", names, "no plot")
    control = _named(table, "control", names, "no plot")
    if table.has("treated") != table.has("control"):
        lacking = "control" if table.has("treated") else "treated"
        table.wrong(lacking, "is missing: a comparison needs two plots")
    elif treated and treated == control:
        table.wrong("control", f"{shown(control)} can't be compared with itself")
    planned = table.whole("planned", 1, MOST_UPDATES, required=False)
    return UpdatePlan(count, treated, control, planned)


def _named(table: TomlTable, key: str, names: Sequence[str], nothing: str) -> str:
    name = table.text(key, longest=80, required=False)
    known = [known for known in names if known]
    if name and name not in known:
        table.wrong(key, f"{shown(name)} is {nothing} of this study{nearest(name, known)}")
    return name
