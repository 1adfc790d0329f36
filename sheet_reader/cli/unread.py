"""Which photos of the record are still not read, or not wholly, and why: told after every read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from sheet_reader.record.history.photos import both_names
from sheet_reader.wording import words

if TYPE_CHECKING:
    from sheet_reader.record.history.photos import PhotoLine

MOST_NAMES = 5
MOST_REASONS = 6


def still_unread(photos: Iterable[PhotoLine], told: Collection[int]) -> list[str]:
    """Lines that name the photos in which something was not read, by reason, most photos first.

    ``told`` are photos whose reasons were just told, or are settled. Photos that wait are another
    matter.
    """
    by_reason: dict[str, list[str]] = defaultdict(list)
    for photo in photos:
        if photo.status != "waiting" and photo.reasons and photo.photo_id not in told:
            anywhere = dict.fromkeys(reason.on_page(None) for reason in photo.reasons)
            by_reason[words(anywhere)].append(both_names(photo.photo_id, photo.name))
    if not by_reason:
        return []
    count = sum(map(len, by_reason.values()))
    what = "photo is" if count == 1 else "photos are"
    lines = [f"From before, {count} {what} not read, or not wholly:"]
    ordered = sorted(by_reason.items(), key=lambda item: -len(item[1]))
    lines += [f"  {_some(names)}: {reason}" for reason, names in ordered[:MOST_REASONS]]
    if rest := sum(len(names) for _, names in ordered[MOST_REASONS:]):
        lines.append(f"  and {rest} more for other reasons")
    return lines


def _some(names: list[str]) -> str:
    more = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
