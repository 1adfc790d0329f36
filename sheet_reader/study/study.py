"""The study as plain frozen data: what ``study.toml`` and the site list say, checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from sheet_reader.study.days import Season
from sheet_reader.study.kinds import COUNT, DATE, SITE, Kind
from sheet_reader.study.words import ENGLISH, ENGLISH_LETTERS, SheetWords

Paper = Literal["A4", "Letter"]


@dataclass(frozen=True, slots=True)
class Visits:
    """Days between visits, how many days early or late still count as on time, and how many visits
    of a season a site needs at least (four or five: common practice, no source).
    """

    interval_days: int = 7
    tolerance_days: int = 2
    least: int = 4


@dataclass(frozen=True, slots=True)
class Site:
    """A line of the site list. ``number`` keeps its leading zeros and ends in its check digit;
    ``latitude`` and ``longitude`` are degrees in WGS 84, both None where the list gives none.
    """

    number: str
    label: str
    contact: str
    latitude: float | None = None
    longitude: float | None = None


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """Any field of the sheet by its full name: one of the head (the site number, the visit date, or
    any other number), or plot and count field joined.
    """

    name: str
    label: str
    kind: Kind
    boxes: int
    lowest: int | None = None
    highest: int | None = None
    plot: str = ""
    count: str = ""


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot; ``treatment`` is empty where the study compares nothing."""

    name: str
    label: str
    treatment: str = ""


@dataclass(frozen=True, slots=True)
class CountField:
    """Something counted, or noted otherwise, once in every plot. Values outside lowest..highest
    are implausible.

    ``tally`` says whether the sheet keeps space for tally strokes; None leaves it to the sheet
    (yes, but for totals, which are added up). ``taxon`` is the scientific name of what is counted,
    "" where the study does not name it.
    """

    name: str
    label: str
    boxes: int
    lowest: int
    highest: int
    unit: str = ""
    note: str = ""
    tally: bool | None = None
    taxon: str = ""
    life_stage: str = ""
    taxon_rank: str = ""
    kingdom: str = ""
    kind: Kind = COUNT


@dataclass(frozen=True, slots=True)
class SumRule:
    """``total`` must equal the sum of ``parts``; all are full field names (``pinched.plants``)."""

    total: str
    parts: tuple[str, ...]

    @property
    def fields(self) -> tuple[str, ...]:
        """Total and parts."""
        return self.total, *self.parts


@dataclass(frozen=True, slots=True)
class Comments:
    """The area for free remarks."""

    label: str
    height_mm: float


@dataclass(frozen=True, slots=True)
class Effort:
    """How long or how much was searched: ``field`` is a count (then each plot has its own) or a
    number of the head. ``equal``: the plots of a visit are to be searched alike.
    """

    field: str
    unit: str
    protocol: str = ""
    equal: bool = True


@dataclass(frozen=True, slots=True)
class Publication:
    """What users of published tables are told. ``licence`` is an SPDX identifier. Names of places
    and coordinates leave in published archives only where ``place_names`` is set and
    ``place_decimals`` (decimals of a degree) is given. ``country`` is that of all sites (ISO 3166-1
    alpha-2), ``identifier_base`` what published identifiers begin with.
    """

    licence: str = ""
    citation: str = ""
    description: str = ""
    publisher: str = ""
    place_names: bool = False
    place_decimals: int | None = None
    country: str = ""
    identifier_base: str = ""


@dataclass(frozen=True, slots=True)
class UpdatePlan:
    """What updates for volunteers compare: ``count`` (the name of a count) in the plots ``treated``
    and ``control``, and how many updates are ``planned`` for the season. What is "" or None is left
    to the update.
    """

    count: str = ""
    treated: str = ""
    control: str = ""
    planned: int | None = None


@dataclass(frozen=True, slots=True)
class Study:
    """A whole study, as checked by :func:`sheet_reader.study.reader.read_study`.

    ``key`` (lower case letters, digits, hyphens; at most 16) names the study in the machine code.
    ``allowed_error`` is the share of accepted fields that may be wrong. ``send_to`` says where
    photographs go, ``own_digits`` whether the sheet asks for the volunteer's own ten digits.
    ``fields`` is every field of a visit in printing order: header first, then plot by plot.
    ``sites_file`` is the name of the site list in ``folder``; ``letter_words`` and
    ``update_words`` are all words of the letters and updates to volunteers, by key.
    ``asked_twice`` is the share of the asked fields that two people are asked of. ``date_order``
    is that of the parts of a date from left to right; ``time_zone`` that of the sites, by its IANA
    name, "" for the machine's.
    """

    key: str
    title: str
    paper: Paper
    season: Season
    visits: Visits
    header: tuple[FieldSpec, ...]
    plots: tuple[Plot, ...]
    counts: tuple[CountField, ...]
    sums: tuple[SumRule, ...]
    comments: Comments | None
    instructions: tuple[str, ...]
    sites: tuple[Site, ...]
    folder: Path
    allowed_error: float = 0.002
    send_to: str = ""
    own_digits: bool = False
    words: SheetWords = ENGLISH
    sites_file: str = ""
    effort: Effort | None = None
    publication: Publication = Publication()
    letter_words: tuple[tuple[str, str], ...] = tuple(ENGLISH_LETTERS.items())
    update: UpdatePlan = UpdatePlan()
    update_words: tuple[tuple[str, str], ...] = ()
    asked_twice: float = 0.0
    date_order: tuple[str, ...] = ("day", "month", "year")
    time_zone: str = ""

    fields: tuple[FieldSpec, ...] = field(init=False, compare=False, repr=False)
    _by_name: Mapping[str, FieldSpec] = field(init=False, compare=False, repr=False)
    _by_number: Mapping[str, Site] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        body = [
            FieldSpec(f"{plot.name}.{count.name}", f"{plot.label}: {count.label}", count.kind,
                      count.boxes, count.lowest, count.highest, plot.name, count.name)
            for plot in self.plots for count in self.counts
        ]  # fmt: skip
        object.__setattr__(self, "fields", (*self.header, *body))
        object.__setattr__(self, "_by_name", {spec.name: spec for spec in self.fields})
        object.__setattr__(self, "_by_number", {s.number: s for s in reversed(self.sites)})

    def site(self, number: str) -> Site | None:
        """The line of the list with this number, or None."""
        return self._by_number.get(number)

    def spec(self, name: str) -> FieldSpec | None:
        """The field of this full name, or None."""
        return self._by_name.get(name)

    @property
    def site_field(self) -> FieldSpec:
        """The field of the head that holds the site's number."""
        return next(h for h in self.header if h.kind == SITE)

    @property
    def date_field(self) -> FieldSpec:
        """The field of the head that holds the visit date."""
        return next(h for h in self.header if h.kind == DATE)

    @property
    def keys(self) -> tuple[str, str]:
        """The names of the fields that place a sheet: of its site, of its date."""
        return self.site_field.name, self.date_field.name

    def placed(self, site: str, day: str) -> dict[str, str]:
        """The values of the fields that place a sheet, by name."""
        return {self.site_field.name: site, self.date_field.name: day}
