"""The values that are doubted, and why, in words. Pure functions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping

from sheet_reader.reasons import Code
from sheet_reader.record.history.states import Visit

Doubts = Mapping[tuple[str, str, str], str]
"""Why values are doubted, by site, visit date and field."""
WHY = {
    Code.PHOTOS_DIFFER: "contradicted by another photo",
    Code.DECISION_DIFFERS: "contradicted by another photo",
    Code.WAS_SURE: "read otherwise now",
    Code.SUM_OFF: "in a sum that does not fit",
    Code.PARTS_EXCEED: "in a sum that does not fit",
    Code.ABOVE_RANGE: "outside the range of study.toml",
    Code.BELOW_RANGE: "outside the range of study.toml",
    Code.NOT_EXPECTED: "outside the range of study.toml",
    Code.STRICTER: "not certain enough for allowed_error",
    Code.HISTORY_DIFFERS: "unlike the site's other counts",
}
LESS_CERTAIN = "less certain now"


def doubts_of(visits: Iterable[Visit]) -> Doubts:
    """Every value that is doubted, with why."""
    return {
        (visit.site, visit.visit_date, e.reading.field): next(
            (WHY[reason.code] for reason in e.reasons if reason.code in WHY), LESS_CERTAIN
        )
        for visit in visits
        for e in visit.fields
        if e.is_current and e.status == "doubted"
    }


def raised(before: Doubts, now: Doubts) -> list[str]:
    """The doubts that were not there ``before``, in one line; none for none."""
    news = [why for place, why in now.items() if place not in before]
    return [f"Doubted since this read: {_told(news)}."] if news else []


def standing(now: Doubts) -> list[str]:
    """All doubts in one line; none for none."""
    return [f"doubted: {_told(now.values())}"] if now else []


def _told(why: Collection[str]) -> str:
    stays = "1 value; it stays" if len(why) == 1 else f"{len(why):,} values; they stay"
    causes = ", ".join(f"{n:,} {cause}" for cause, n in Counter(why).most_common())
    return f"{stays} in the tables, marked, until you answer in review ({causes})"
