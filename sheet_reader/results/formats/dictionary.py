"""What each column means, made from the study file: for people (Markdown) and programs (CSV)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, fields

from sheet_reader.record.history.meaning import Earlier
from sheet_reader.results.cells import render_csv
from sheet_reader.results.facts import STATUSES
from sheet_reader.results.frames import COUNT_COLUMNS, READING_COLUMNS, ROW_COLUMNS
from sheet_reader.study.study import FieldSpec, Study

SAME = "the same thing"
ANOTHER = "another thing: its values stand in readings alone, under its own words"


@dataclass(frozen=True, slots=True)
class Entry:
    """A column of a table. ``lowest`` and ``highest`` are the plausible values, as text; values
    outside are possible where a person confirmed them.
    """

    table: str
    column: str
    type: str
    meaning: str
    unit: str = ""
    lowest: str = ""
    highest: str = ""
    taxon: str = ""
    life_stage: str = ""


def entries(study: Study, earlier: Iterable[Earlier] = ()) -> list[Entry]:
    """All columns of all tables, and every count, in their order; with the words of ``earlier``
    sheets that a person took for the same thing.
    """
    effort = study.effort.unit if study.effort else ""
    words: dict[tuple[str, str], list[str]] = {}
    for then in earlier:
        if then.same:
            called = "" if then.former == then.name else f"{then.former} "
            words.setdefault((then.kind, then.name), []).append(f"{called}“{then.said}”")
    found = [_field(study, spec, words) for spec in study.fields]
    found += [Entry("rows", name, *ROW_COLUMNS[name]) for name in ROW_COLUMNS]
    found += [
        Entry("counts", name, *COUNT_COLUMNS[name], effort if name == "effort" else "")
        for name in COUNT_COLUMNS
    ]
    return found + [Entry("readings", name, *READING_COLUMNS[name]) for name in READING_COLUMNS]


def _field(study: Study, spec: FieldSpec, words: Mapping[tuple[str, str], list[str]]) -> Entry:
    count = next((c for c in study.counts if c.name == spec.count), None)
    meaning = spec.label + (f" ({count.note})" if count is not None and count.note else "")
    meaning += f"; {spec.kind.column_note}" if spec.kind.column_note else ""
    own = (("plot", spec.plot), ("count", spec.count), ("sum", spec.count), ("number", spec.name))
    former = [said for key in own for said in words.get(key, ())]
    meaning += f"; on earlier sheets {', '.join(former)}" if former else ""
    lowest, highest = ("" if v is None else str(v) for v in (spec.lowest, spec.highest))
    unit, *organism = (count.unit, count.taxon, count.life_stage) if count is not None else ("",)
    return Entry("rows", spec.name, spec.kind.column, meaning, unit, lowest, highest, *organism)


HEADER = tuple(field.name for field in fields(Entry))


def dictionary_csv(study: Study, earlier: Iterable[Earlier] = ()) -> bytes:
    """The dictionary as CSV, a line for each column."""
    return render_csv(HEADER, (astuple(entry) for entry in entries(study, earlier)))


def dictionary_markdown(study: Study, earlier: Sequence[Earlier] = ()) -> bytes:
    """The dictionary as Markdown: columns, statuses, plots, counts and sums in plain words."""
    columns = entries(study, earlier)
    counts = []
    for count in study.counts:
        extra = [count.note, count.unit and f"unit {count.unit}", count.taxon, count.life_stage]
        told = "; ".join(_plain(text) for text in extra if text)
        counts.append(f"- `{count.name}`: {_plain(count.label)}{f' ({told})' if told else ''}")
    parts = [(table, _table(e for e in columns if e.table == table))
             for table in ("rows", "counts", "readings")]  # fmt: skip
    parts += [
        ("status", [f"- `{name}`: {text}" for name, text in STATUSES.items()]),
        ("plots", [
            f"- `{p.name}`: {_plain(p.label)}" + (f", {_plain(p.treatment)}" if p.treatment else "")
            for p in study.plots
        ]),
        ("counts", counts),
        ("sums", [
            f"- `{rule.total}` = {' + '.join(f'`{part}`' for part in rule.parts)}"
            for rule in study.sums
        ]),
        ("words that changed", [
            f"- {then.kind} `{then.name}`: earlier sheets had `{then.former}` "
            f"“{_plain(then.said)}”, which is " + (SAME if then.same else ANOTHER)
            for then in earlier
        ]),
    ]  # fmt: skip
    lines = [f"# {_plain(study.title)}: what the columns mean", ""]
    lines += ["An empty cell means that there is no value. It never means 0."]
    for title, told_lines in parts:
        if told_lines:
            lines += ["", f"## {title}", "", *told_lines]
    return ("\n".join(lines) + "\n").encode()


def _table(found: Iterable[Entry]) -> list[str]:
    lines = ["| column | type | meaning | unit | plausible |", "|---|---|---|---|---|"]
    for e in found:
        span = f"{e.lowest}–{e.highest}" if e.highest else ""
        cells = (f"`{e.column}`", e.type, _plain(e.meaning), _plain(e.unit), span)
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def _plain(text: str) -> str:
    """``text`` without signs that Markdown would take for its own."""
    return re.sub(r"[\\`*_\[\]<>|#]", r"\\\g<0>", text)
