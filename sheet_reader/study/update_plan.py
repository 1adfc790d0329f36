"""What the study file says of the updates for volunteers: the count and the plots compared."""

from __future__ import annotations

from collections.abc import Sequence

from sheet_reader.study.model import CountField, Plot, UpdatePlan
from sheet_reader.study.table import Table, nearest, shown

MOST_UPDATES = 100


def read_update_plan(top: Table, plots: Sequence[Plot], counts: Sequence[CountField]) -> UpdatePlan:
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


def _named(table: Table, key: str, names: Sequence[str], nothing: str) -> str:
    name = table.text(key, longest=80, required=False)
    known = [known for known in names if known]
    if name and name not in known:
        table.wrong(key, f"{shown(name)} is {nothing} of this study{nearest(name, known)}")
    return name
