"""The rules that a page is decoded under, and names by which a change is noticed: of these rules,
and of all data that decide a value.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache, cached_property
from importlib.resources import files
from typing import TYPE_CHECKING

from sheet_reader import __version__
from sheet_reader.decode.pages import PageEvidence, PageReading
from sheet_reader.decode.promise import default_threshold
from sheet_reader.decode.sheet import decode_page
from sheet_reader.digits.read import AGAIN
from sheet_reader.numbers import DECODE
from sheet_reader.reading.site_history import SiteHistory, with_history
from sheet_reader.reasons import Code
from sheet_reader.record.history.runs import OF_TIME
from sheet_reader.sheet.page import BLANK, SheetCode
from sheet_reader.study.days import mixed_orders
from sheet_reader.study.former import SAME, Names, Wording, as_text, by_present_rules, wording_of
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    from sheet_reader.sheet.book import LayoutBook

DATA = (
    ("sheet_reader.digits", "", (".onnx", ".json")),
    ("sheet_reader.decode", "data", (".json", ".csv")),
)
"""Package, folder in it and endings of what decides a value: the network, its calibration, the
writer model, the shipped checked fields."""


@cache
def decoder_version() -> str:
    """A name for all that decodes box probabilities: the program, its thresholds, its data."""
    digest = hashlib.sha256(f"{__version__} {DECODE}".encode())
    place = files("sheet_reader.decode").joinpath("data")
    for file in sorted(place.iterdir(), key=lambda f: f.name):
        digest.update(file.read_bytes())
    return f"decoder-{digest.hexdigest()[:8]}"


@cache
def model_version() -> str:
    """A name for all data that decide a value, and for which boxes are read again: changes whenever
    a byte of them does.
    """
    digest = hashlib.sha256(f"{AGAIN}".encode())
    for package, folder, endings in DATA:
        place = files(package).joinpath(folder) if folder else files(package)
        for file in sorted(place.iterdir(), key=lambda f: f.name):
            if file.name.endswith(endings):
                data = file.read_bytes()
                digest.update(f"{package}/{file.name}:{len(data)}:".encode() + data)
    return f"reader-{digest.hexdigest()[:12]}"


CAUSES = {
    "study": "study.toml",
    "sites": "the site list",
    "share": "allowed_error",
    "decoder": "the program",
    "history": "what is known of the sites",
    "day": "the day of today",
}
"""The parts of a name of rules, and what changed where one differs."""


@dataclass(frozen=True)
class DecodingRules:
    """What decides how a page is decoded, its own boxes aside: the study as it is now, the sites'
    counts, and for layouts printed before the fields that they have (``former``, by version), what
    those meant there, and the ``names`` that they have now. ``layouts`` are all versions that can
    be read; None where that does not matter.
    """

    study: Study
    history: SiteHistory | None = None
    former: Mapping[str, Study] = field(default_factory=dict)
    layouts: frozenset[str] | None = None
    wordings: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, Names] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        study: Study,
        history: SiteHistory | None,
        book: LayoutBook,
        renamed: Callable[[Wording], Names] = lambda _: SAME,
    ) -> DecodingRules:
        """The rules for every layout of ``book``; ``renamed`` gives the present names of the fields
        of a sheet by its wording.
        """
        then = {v: own for v in book.versions if (own := book.study_of(v)) is not book.study}
        names = {version: renamed(wording_of(own)) for version, own in then.items()}
        former = {v: by_present_rules(own, study, names[v]) for v, own in then.items()}
        wordings = {version: as_text(wording_of(own)) for version, own in then.items()}
        return cls(study, history, former, frozenset(book.versions), wordings, names)

    def study_of(self, layout: str) -> Study:
        """The study whose fields a page of this layout has."""
        return self.former.get(layout, self.study)

    def wording(self, layout: str) -> str:
        """What the names on a page of this layout mean, as text."""
        return self.wordings.get(layout) or as_text(wording_of(self.study))

    def name(
        self,
        layout: str,
        site: str | None,
        visit_date: str | None,
        doubts: Collection[Code] = (),
        last_day: date | None = None,
    ) -> str:
        """A name for the rules under which a page of this ``layout`` is decoded that was surely
        read as of this site and visit (None: not surely), with these ``doubts`` about its date, and
        was made on ``last_day`` at the latest.
        """
        earlier: dict[str, object] = {}
        if self.history is not None and site and visit_date:
            earlier |= self.history.before([(site, visit_date)])
            if hands := self.history.hands_before(site, visit_date):
                earlier["hands"] = [former.mark for former in hands]
        if self.history is not None and site and Code.DAY_OR_MONTH in doubts:
            own = self.study_of(layout)
            earlier["order"] = self.history.in_printed_order(own, layout, site)
        parts = self._parts[layout if layout in self.former else ""] | {
            "history": _short(earlier) if earlier else "none",
            "day": str(last_day) if OF_TIME.intersection(doubts) else "any",
        }
        return " ".join(f"{part}:{parts[part]}" for part in CAUSES)

    def name_for(self, page: PageReading, last_day: date | None = None) -> str:
        """A name for the rules under which ``page`` was decoded."""
        doubts = {reason.code for field in page.fields for reason in field.reasons}
        return self.name(page.code.layout, page.site, page.visit_date, doubts, last_day)

    @cached_property
    def _parts(self) -> dict[str, dict[str, str]]:
        """The parts of a name that a page's layout decides, by layout; "" for that of today."""
        studies = {"": self.study, **self.former}
        return {v: self._parts_of(own, self.names.get(v, SAME)) for v, own in studies.items()}

    @staticmethod
    def _parts_of(study: Study, names: Names) -> dict[str, str]:
        fields = [
            [names.get(f.name, f.name), f.kind.name, f.boxes, f.lowest, f.highest]
            for f in study.fields
        ]
        season = [study.season.first.isoformat(), study.season.last.isoformat()]
        sums = [rule.fields for rule in study.sums]
        dates = [study.visits.tolerance_days, mixed_orders(study)]
        return {
            "study": _short([fields, season, sums, dates]),
            "sites": _short(sorted(site.number for site in study.sites)),
            "share": f"{default_threshold(study.allowed_error):.12g}",
            "decoder": decoder_version().rpartition("-")[2],
        }

    def knows(self, code: SheetCode) -> bool:
        """Whether a photo of the page with this code would be read now."""
        if self.layouts is not None and code.layout not in self.layouts:
            return False
        return code.sheet == BLANK or self.study_of(code.layout).site(code.sheet) is not None

    def decode(
        self, evidence: PageEvidence, threshold: float, last_day: date | None = None
    ) -> PageReading:
        """The page, decoded anew: exactly what its photo would give now. Where its date lies after
        the day of its reading, that is taken for ``last_day``.
        """
        study = self.study_of(evidence.code.layout)
        if self.history is None:
            page = decode_page(evidence, study, threshold=threshold)
        else:
            names = self.names.get(evidence.code.layout, SAME)
            page = with_history(evidence, study, self.history, threshold, names)
        late = any(reason.code in OF_TIME for field in page.fields for reason in field.reasons)
        if late and last_day is not None and last_day > evidence.last_day:
            return self.decode(replace(evidence, last_day=last_day), threshold)
        return page


def _short(told: object) -> str:
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:8]


def changed_parts(before: str, now: str) -> set[str]:
    """The keys of :data:`CAUSES` in which two names of rules differ."""
    return {one.partition(":")[0] for one in set(before.split()) ^ set(now.split())}


def same_share(before: str, now: str) -> bool:
    """Whether two names of rules take fields from the same confidence on, audits aside."""
    return "share" not in changed_parts(before, now)
