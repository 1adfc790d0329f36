"""The fields of a study file: header, plots, counts and the sums that must hold."""

from __future__ import annotations

from collections.abc import Sequence

from sheet_reader.study.kinds import COUNT, KINDS, NUMBER
from sheet_reader.study.publication import read_taxon
from sheet_reader.study.study import CountField, FieldSpec, Plot, SumRule
from sheet_reader.study.table import TomlTable, entry_place, nearest, shown

OWN_DIGITS = "own_digits"
"""The name of the ten boxes for the volunteer's own digits; no field of a visit."""
RESERVED = frozenset(
    (OWN_DIGITS, "photo", "sheet", "page", "field", "value", "confidence", "status", "reason",
     "waiting", "doubted", "site_name", "pages_in", "pages_of", "corrected", "remarks")
)  # fmt: skip


def read_header(top: TomlTable) -> tuple[FieldSpec, ...]:
    """The fields of ``[[header]]``; exactly one site and one date among them."""
    tables = top.tables("header", most=12, required=True)
    fields = tuple(_header_field(table) for table in tables)
    _unique(tables, [f.name for f in fields])
    if tables:
        for kind in (kind for kind in KINDS.values() if kind.is_key):
            given = [i for i, f in enumerate(fields) if f.kind == kind]
            if not given and all(table.has("kind") for table in tables):
                top.wrong("header", f"no field has kind = “{kind.name}”; the sheet needs one")
            for i in given[1:]:
                tables[i].wrong("kind", f"only one field may have kind “{kind.name}”")
    return fields


def _header_field(table: TomlTable) -> FieldSpec:
    name = table.name()
    label = table.text("label", longest=40)
    kinds = tuple(kind.name for kind in KINDS.values() if kind.in_head)
    kind = KINDS.get(table.choice("kind", kinds), NUMBER)
    if name in RESERVED:
        table.wrong("name", f"“{name}” is a column of every export; choose another name")
    table.only(("name", "label", "kind", *kind.keys))
    return FieldSpec(name, label, kind, *kind.size(table))


def read_plots(top: TomlTable) -> tuple[Plot, ...]:
    """The plots, each with its treatment where the study compares any."""
    tables = top.tables("plots", most=60, required=True)
    plots = []
    for table in tables:
        table.only(("name", "label", "treatment"))
        treatment = table.text("treatment", longest=60, required=False)
        plots.append(Plot(table.name(), table.text("label", longest=40), treatment))
    _unique(tables, [p.name for p in plots])
    return tuple(plots)


def read_counts(top: TomlTable) -> tuple[CountField, ...]:
    """The counts made in every plot."""
    tables = top.tables("counts", most=40, required=True)
    kinds = tuple(kind.name for kind in KINDS.values() if kind.in_plots)
    counts = []
    for table in tables:
        named = len(kinds) > 1 and table.has("kind")
        kind = KINDS.get(table.choice("kind", kinds), COUNT) if named else COUNT
        table.only(
            ("name", "label", *kind.keys, "unit", "note", "tally", "taxon", "life_stage",
             "taxon_rank", "kingdom", *(["kind"] if len(kinds) > 1 else []))
        )  # fmt: skip
        boxes, lowest, highest = kind.size(table)
        counts.append(
            CountField(
                table.name(),
                table.text("label", longest=60),
                boxes,
                lowest or 0,
                highest or 0,
                table.text("unit", longest=20, required=False),
                table.text("note", longest=90, required=False),
                table.flag("tally"),
                *read_taxon(table),
                kind,
            )
        )
    _unique(tables, [c.name for c in counts])
    return tuple(counts)


def _unique(tables: Sequence[TomlTable], names: Sequence[str]) -> None:
    first: dict[str, str] = {}
    for table, name in zip(tables, names, strict=True):
        if not name:
            continue
        if name in first:
            table.wrong("name", f"“{name}” is already the name of {first[name]}")
        else:
            first[name] = table.place()


def read_sums(
    top: TomlTable,
    header: tuple[FieldSpec, ...],
    plots: tuple[Plot, ...],
    counts: tuple[CountField, ...],
) -> tuple[SumRule, ...]:
    """The sums: names of counts (applied in every plot) or full field names throughout."""
    count_names = {c.name for c in counts if c.name}
    full_names = {f"{p.name}.{c}" for p in plots if p.name for c in count_names}
    full_names |= {h.name for h in header if h.kind.is_amount and h.name}
    rules: list[SumRule] = []
    totals: set[str] = set()
    for table in top.tables("sums", most=40, required=False):
        table.only(("total", "parts"))
        total = table.text("total", longest=80)
        parts = table.texts("parts", longest=80, most=40, required=True)
        in_plots = total in count_names or (total not in full_names and "." not in total)
        known = count_names if in_plots else full_names
        if not _sum_is_sound(table, total, parts, known) or total in totals:
            if total and total in totals:
                table.wrong("total", f"“{total}” already has a sum")
            continue
        totals.add(total)
        if in_plots:
            rules += [
                SumRule(f"{p.name}.{total}", tuple(f"{p.name}.{part}" for part in parts))
                for p in plots
            ]
        else:
            rules.append(SumRule(total, parts))
    return tuple(rules)


def _sum_is_sound(table: TomlTable, total: str, parts: tuple[str, ...], known: set[str]) -> bool:
    sound = bool(total)
    if total and total not in known:
        table.wrong("total", f"{shown(total)} is no field{nearest(total, known)}")
        sound = False
    if table.has("parts") and not parts:
        table.wrong("parts", "must name at least one field")
    for i, part in enumerate(parts):
        if part == total:
            table.wrong(entry_place("parts", i), "a total can't be a part of itself")
        elif part in parts[:i]:
            table.wrong(entry_place("parts", i), f"{shown(part)} is there twice")
        elif part not in known:
            table.wrong(entry_place("parts", i), f"{shown(part)} is no field{nearest(part, known)}")
        else:
            continue
        sound = False
    return sound and bool(parts)
