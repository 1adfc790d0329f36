"""Pages of a photo that was read again and in which another page is now seen in their place."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from sheet_reader.record.store import schema

Frame = tuple[int, int]
"""Photo and picture in it."""


def superseded(connection: Connection) -> set[int]:
    """Page instances that the last reading of their photo took for another page.

    A page that was not seen again and has no other one in its place stays: it may be refused now
    because its site left the list or the layout changed. Whatever a person decided on stays too.
    """
    s, k = schema.page_instances.c, schema.reading_runs.c
    query = (
        select(k.id, k.page_instance_id, s.photo_id, s.frame, k.attempt, k.outline)
        .join_from(schema.reading_runs, schema.page_instances, s.id == k.page_instance_id)
        .order_by(k.id)
    )
    last: dict[int, int] = defaultdict(int)
    latest: dict[int, tuple[Frame, int, str]] = {}
    for row in connection.execute(query):
        last[row.photo_id] = max(last[row.photo_id], row.attempt)
        latest[row.page_instance_id] = ((row.photo_id, row.frame), row.attempt, row.outline)
    newest: dict[Frame, list[str]] = defaultdict(list)
    for frame, attempt, outline in latest.values():
        if attempt == last[frame[0]]:
            newest[frame].append(outline)
    gone = {
        number
        for number, (frame, attempt, outline) in latest.items()
        if attempt < last[frame[0]] and any(_overlap(outline, new) for new in newest[frame])
    }
    for table in (schema.decisions, schema.sheet_decisions) if gone else ():
        decided = table.c.page_instance_id
        gone -= set(connection.scalars(select(decided).where(decided.is_not(None)).distinct()))
    return gone


def _overlap(one: str, other: str) -> bool:
    """Whether the middle of one page lies on the other; so too where an outline is not known."""
    first, second = (np.array(json.loads(text), np.float64).reshape(-1, 2) for text in (one, other))
    if len(first) < 3 or len(second) < 3:
        return True
    return _inside(first.mean(axis=0), second) or _inside(second.mean(axis=0), first)


def _inside(point: Sequence[float] | NDArray[np.float64], corners: NDArray[np.float64]) -> bool:
    """Whether a point lies within a convex polygon (n, 2), whichever way round it goes."""
    edges = np.roll(corners, -1, axis=0) - corners
    away = np.asarray(point) - corners
    side = edges[:, 0] * away[:, 1] - edges[:, 1] * away[:, 0]
    return bool((side >= 0).all() or (side <= 0).all())
