"""What the names of a study mean: the words that stand for each on its sheets."""

from __future__ import annotations

import json
from collections.abc import Mapping

from sheet_reader.study.model import Study

Key = tuple[str, str]
"""A kind of :data:`KINDS` and a name (of a site: its number, of a sum: its total)."""
Wording = Mapping[Key, str]
KINDS = {
    "plot": "plot",
    "count": "count",
    "number": "number in the head",
    "sum": "sum",
    "site": "site",
}
"""What can mean something else, as it is called to a person."""


def wording_of(study: Study) -> dict[Key, str]:
    """The words of every plot (label, treatment), count and number (label, unit) and sum (parts).

    >>> wording_of(study)["count", "minutes"]  # doctest: +SKIP
    'Time searched (min)'
    """
    effort = {study.effort.field: study.effort.unit} if study.effort else {}
    found = {("plot", p.name): _with(p.label, p.treatment) for p in study.plots}
    found |= {
        ("count", c.name): _with(c.label, c.unit, effort.get(c.name, "")) for c in study.counts
    }
    found |= {
        ("number", h.name): _with(h.label, effort.get(h.name, ""))
        for h in study.header
        if not h.kind.is_key
    }
    return found | {("sum", total): " + ".join(parts) for total, parts in sums_of(study).items()}


def sums_of(study: Study) -> dict[str, list[str]]:
    """The parts of each total, sorted: names of counts where it holds within each plot."""
    found: dict[str, list[str]] = {}
    for rule in study.sums:
        names = [name.rpartition(".") for name in (rule.total, *rule.parts)]
        within = len({plot for plot, _, _ in names}) == 1
        total, *parts = (name[2] if within else "".join(name) for name in names)
        found[total] = sorted(parts)
    return found


def site_labels(study: Study) -> dict[Key, str]:
    """The label of every site on the list."""
    return {("site", site.number): site.label for site in study.sites}


def _with(label: str, *more: str) -> str:
    told = ", ".join(dict.fromkeys(filter(None, more)))
    return f"{label} ({told})" if told else label


def as_text(wording: Wording) -> str:
    """The wording as the record keeps it (JSON); the same words give the same text."""
    return json.dumps([[*key, said] for key, said in sorted(wording.items())], ensure_ascii=False)


def from_text(text: str) -> dict[Key, str]:
    """The wording that :func:`as_text` has written."""
    return {(kind, name): said for kind, name, said in json.loads(text)}
