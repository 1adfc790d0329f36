"""Which pages were typed in by hand, and what is left of them when answers were taken back."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from sheet_reader.record.history.states import PageObservation, StoredReading

TYPED = "typed"
"""Stands for the layout of a typed page, what its reading was identified by, and the status of the
line in ``photos`` of a typed sheet without a photo.
"""


def without_undone(
    pages: Sequence[PageObservation],
    reads: Iterable[StoredReading],
    decided: Collection[tuple[int, str]],
) -> tuple[list[PageObservation], list[StoredReading]]:
    """Pages and readings without those typed fields that were taken back, and without typed pages
    of which nothing is left. ``decided`` are page instance and field of the standing decisions.
    """
    typed = {page.page_instance_id for page in pages if page.layout == TYPED}
    kept = [
        read
        for read in reads
        if read.page_instance_id not in typed or (read.page_instance_id, read.field) in decided
    ]
    left = typed & {read.page_instance_id for read in kept}
    return [p for p in pages if p.page_instance_id in left or p.layout != TYPED], kept
