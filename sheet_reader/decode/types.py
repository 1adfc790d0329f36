"""Values that leave the decode room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sheet_reader.sheet.model import SheetCode

DecodedStatus = Literal["accepted", "flagged", "empty"]


@dataclass(frozen=True, slots=True)
class FieldReading:
    """One field of one page in one picture.

    ``value`` is the most probable value as text ("14", "2041", "2026-05-20" for a date) or None
    where nothing was read; ``confidence`` (0..1) its probability; ``status`` "accepted",
    "flagged" or "empty" (all boxes surely blank: not recorded); ``reason`` why it is flagged, in
    words a person understands. ``runner_up`` is the next value and ``runner_up_confidence``
    its probability.
    """

    field: str
    value: str | None
    confidence: float
    status: DecodedStatus
    reason: str = ""
    runner_up: str | None = None
    runner_up_confidence: float = 0.0


@dataclass(frozen=True, slots=True)
class PageReading:
    """All fields of one page in one picture. ``site`` and ``visit_date`` (ISO 8601) are the
    accepted ones, or None while they wait for a decision.
    """

    code: SheetCode
    fields: tuple[FieldReading, ...]
    site: str | None
    visit_date: str | None
    advice: str = ""
