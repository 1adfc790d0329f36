"""The study as plain frozen data: what ``study.toml`` and the site list say, checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

from sheet_reader.study.words import ENGLISH, Words

Paper = Literal["A4", "Letter"]
HeaderKind = Literal["site", "date", "number"]


@dataclass(frozen=True, slots=True)
class Season:
    """First and last day on which a visit may lie, both included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Visits:
    """Days between visits and how many days early or late still count as on time."""

    interval_days: int = 7
    tolerance_days: int = 2


@dataclass(frozen=True, slots=True)
class Site:
    """A line of the site list. ``number`` keeps its leading zeros and ends in its check digit."""

    number: str
    label: str
    contact: str


@dataclass(frozen=True, slots=True)
class HeaderField:
    """A field of the sheet's head.

    ``kind`` "site" is the site number (one per study), "date" the visit date (one per study,
    six boxes: day, month, last two digits of the year), "number" any other number.
    """

    name: str
    label: str
    kind: HeaderKind
    boxes: int
    lowest: int | None = None
    highest: int | None = None


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot; ``treatment`` is empty where the study compares nothing."""

    name: str
    label: str
    treatment: str = ""


@dataclass(frozen=True, slots=True)
class CountField:
    """Something counted once in every plot. Values outside lowest..highest are implausible.

    ``tally`` says whether the sheet keeps space for tally strokes; None leaves it to the sheet
    (yes, but for totals, which are added up).
    """

    name: str
    label: str
    boxes: int
    lowest: int
    highest: int
    unit: str = ""
    note: str = ""
    tally: bool | None = None


@dataclass(frozen=True, slots=True)
class SumRule:
    """``total`` must equal the sum of ``parts``; all are full field names (``pinched.plants``)."""

    total: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comments:
    """The area for free remarks."""

    label: str
    height_mm: float


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """Any field of the sheet by its full name: a header field, or plot and count field joined."""

    name: str
    label: str
    kind: Literal["site", "date", "number", "count"]
    boxes: int
    lowest: int | None
    highest: int | None
    plot: str = ""
    count: str = ""


@dataclass(frozen=True, slots=True)
class Study:
    """A whole study, as checked by :func:`sheet_reader.study.reader.read_study`.

    ``key`` (lower case letters, digits, hyphens; at most 16) names the study in the machine code.
    ``allowed_error`` is the share of accepted fields that may be wrong. ``send_to`` says where
    photographs go, ``own_digits`` whether the sheet asks for the volunteer's own ten digits.
    ``sites_file`` is the name of the site list in ``folder``.
    """

    key: str
    title: str
    paper: Paper
    season: Season
    visits: Visits
    header: tuple[HeaderField, ...]
    plots: tuple[Plot, ...]
    counts: tuple[CountField, ...]
    sums: tuple[SumRule, ...]
    comments: Comments | None
    instructions: tuple[str, ...]
    sites: tuple[Site, ...]
    folder: Path
    allowed_error: float = 0.001
    send_to: str = ""
    own_digits: bool = False
    words: Words = ENGLISH
    sites_file: str = ""

    @property
    def fields(self) -> tuple[FieldSpec, ...]:
        """Every field of a visit in printing order: header first, then plot by plot."""
        head = tuple(
            FieldSpec(h.name, h.label, h.kind, h.boxes, h.lowest, h.highest) for h in self.header
        )
        body = tuple(
            FieldSpec(
                f"{p.name}.{c.name}",
                f"{p.label}: {c.label}",
                "count",
                c.boxes,
                c.lowest,
                c.highest,
                p.name,
                c.name,
            )
            for p in self.plots
            for c in self.counts
        )
        return head + body

    def site(self, number: str) -> Site | None:
        """The line of the list with this number, or None."""
        return next((s for s in self.sites if s.number == number), None)
