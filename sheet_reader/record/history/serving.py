"""What became of the values of a page: they serve in its visit, or why not. Pure functions."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from sheet_reader.record.history.answers import SameSheet
from sheet_reader.record.history.states import Decision, FieldState, Visit
from sheet_reader.study.model import Study

Served = Literal["read", "replaced", "repeated", "without a place"]


@dataclass(frozen=True, slots=True)
class Became:
    """What became of a page: its values serve or are asked about ("read"), another photo of the
    same sheet serves by a person's ``decision`` ("replaced") or since it says the same
    ("repeated"), or its site or date waits. ``instead`` is the photo that serves, by its neutral
    name.
    """

    what: Served
    instead: str = ""
    decision: Decision | None = None

    @property
    def words(self) -> str:
        """The same in words."""
        if not self.instead:
            return self.what
        return f"{'replaced by' if self.what == 'replaced' else 'same as'} {self.instead}"


def became(study: Study, visit: Visit, page: int) -> Became:
    """What became of the page instance ``page`` of a visit."""
    if not (visit.site and visit.visit_date):
        return Became("without a place")
    counts = {spec.name for spec in study.fields if spec.kind not in ("site", "date")}
    fields = [e for e in visit.fields if e.reading.field in counts]
    own = [e for e in fields if e.observation.page_instance_id == page]
    asked = {rival.page_instance_id for e in fields if e.needs_review for rival in e.rivals}
    if not own or page in asked or any(e.is_current or e.needs_review for e in own):
        return Became("read")
    if (best := _preferred(visit.fields, page)) is not None and best.decision is not None:
        return Became("replaced", best.observation.photo, best.decision)
    names = {e.reading.field for e in own}
    return Became(
        "repeated",
        next(e.observation.photo for e in fields if e.is_current and e.reading.field in names),
    )


def _preferred(fields: Sequence[FieldState], page: int) -> FieldState | None:
    """The field by which a person said last that another page shows the sheet of this one."""
    found = [
        e
        for e in fields
        if e.observation.page_instance_id != page and page in same_as(e.decision)
    ]
    return max(found, key=lambda e: e.decision.decision_id if e.decision else 0, default=None)


def same_as(decision: Decision | None) -> Collection[int]:
    """The pages that a person took for one sheet when she decided."""
    told = decision.told if decision is not None else ()
    return {page for one in told if isinstance(one, SameSheet) for page in one.pages}
