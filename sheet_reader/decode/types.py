"""Values that leave the decode room."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sheet_reader.decode.page_evidence import PageEvidence
from sheet_reader.reasons import Reasons
from sheet_reader.sheet.model import SheetCode

DecodedStatus = Literal["accepted", "flagged", "empty"]


@dataclass(frozen=True, slots=True)
class FieldReading:
    """One field of one page in one picture.

    ``value`` is the most probable value as text ("14", "2041", "2026-05-20" for a date) or None
    where nothing was read; ``confidence`` (0..1) its probability; ``status`` "accepted",
    "flagged" or "empty" (all boxes surely blank: not recorded); ``reasons`` why it is flagged.
    ``runner_up`` is the next value and ``runner_up_confidence`` its probability (None with a
    probability above 0: the runner-up is "not recorded").
    """

    field: str
    value: str | None
    confidence: float
    status: DecodedStatus
    reasons: Reasons = ()
    runner_up: str | None = None
    runner_up_confidence: float = 0.0


@dataclass(frozen=True, slots=True)
class PageReading:
    """All fields of one page in one picture that have boxes on it. ``site`` and ``visit_date``
    (ISO 8601) are the accepted ones, or None while they wait for a decision; on a sheet printed
    for a site ``site`` comes from the code and is no field. ``threshold`` is the one from which on
    counts were accepted. ``evidence`` is what the page was decoded from, None where the reader does
    not give it.
    """

    code: SheetCode
    fields: tuple[FieldReading, ...]
    site: str | None
    visit_date: str | None
    advice: str = ""
    threshold: float = 0.0
    evidence: PageEvidence | None = field(default=None, compare=False, repr=False)
