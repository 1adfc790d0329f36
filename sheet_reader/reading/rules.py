"""The rules that a page is decoded under, and a name for them by which a change is noticed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cached_property

from sheet_reader.decode.calibration import default_threshold
from sheet_reader.decode.page_evidence import PageEvidence
from sheet_reader.decode.sheet import decode_page
from sheet_reader.decode.types import PageReading
from sheet_reader.reading.read_with_history import with_history
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reading.versions import decoder_version
from sheet_reader.sheet.model import BLANK, SheetCode
from sheet_reader.study.model import Study

CAUSES = {
    "study": "study.toml",
    "sites": "the site list",
    "share": "allowed_error",
    "decoder": "the program",
    "history": "earlier counts of the sites",
}
"""The parts of a name of rules, and what changed where one differs."""


@dataclass(frozen=True)
class DecodingRules:
    """What decides how a page is decoded, its own boxes aside: the study as it is now, and the
    sites' counts.
    """

    study: Study
    history: SiteHistory | None = None

    def name(self, _layout: str, site: str | None, visit_date: str | None) -> str:
        """A name for the rules under which a page of this layout is decoded that was surely
        read as of this site and visit (None: not surely).
        """
        earlier: dict[str, object] = {}
        if self.history is not None and site and visit_date:
            earlier = dict(self.history.before([(site, visit_date)]))
            hands = [former.mark for former in self.history.hands_before(site, visit_date)]
            earlier |= {"hands": hands} if hands else {}
        parts = self._parts | {"history": _short(earlier) if earlier else "none"}
        return " ".join(f"{part}:{parts[part]}" for part in CAUSES)

    def name_for(self, page: PageReading) -> str:
        """A name for the rules under which ``page`` was decoded."""
        return self.name(page.code.layout, page.site, page.visit_date)

    @cached_property
    def _parts(self) -> dict[str, str]:
        study = self.study
        fields = [[f.name, f.kind, f.boxes, f.lowest, f.highest] for f in study.fields]
        season = [study.season.first.isoformat(), study.season.last.isoformat()]
        sums = [[rule.total, *rule.parts] for rule in study.sums]
        return {
            "study": _short([fields, season, sums]),
            "sites": _short(sorted(site.number for site in study.sites)),
            "share": f"{default_threshold(study.allowed_error):.12g}",
            "decoder": decoder_version().rpartition("-")[2],
        }

    def knows(self, code: SheetCode) -> bool:
        """Whether a photo of the page with this code would be read now."""
        return code.sheet == BLANK or self.study.site(code.sheet) is not None

    def decode(self, evidence: PageEvidence, threshold: float) -> PageReading:
        """The page, decoded anew: exactly what its photo would give now."""
        page = decode_page(evidence, self.study, threshold=threshold)
        return page if self.history is None else with_history(page, self.study, self.history)


def _short(told: object) -> str:
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:8]


def changed_parts(before: str, now: str) -> set[str]:
    """The keys of :data:`CAUSES` in which two names of rules differ."""
    return {one.partition(":")[0] for one in set(before.split()) ^ set(now.split())}


def same_share(before: str, now: str) -> bool:
    """Whether two names of rules take fields from the same confidence on, audits aside."""
    return "share" not in changed_parts(before, now)
