"""Which markers belong to one sheet."""

from __future__ import annotations

import numpy as np
from desk_pictures import standing

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.vision.marker_groups import MarkerPlan, group_markers
from sheet_reader.vision.markers import SeenMarker
from sheet_reader.vision.surface import apply_homography


def seen(
    plan: MarkerPlan, homography: np.ndarray, ids: list[int] | None = None
) -> list[SeenMarker]:
    return [
        SeenMarker(i, apply_homography(homography, c))
        for i, c in plan.corners_mm.items()
        if ids is None or i in ids
    ]


def test_two_sheets_with_the_same_ids_come_apart(bean_book: LayoutBook) -> None:
    plan = MarkerPlan.of(bean_book.layout().pages[0].markers)
    left, right = standing(5, 50, 60, 8), standing(4.6, 1400, 90, -11)
    groups = group_markers((plan,), [*seen(plan, left), *seen(plan, right)])
    assert [len(g.markers) for g in groups] == [10, 10]
    for group in groups:
        expected = left if group.markers[0].corners_px[0, 0] < 1300 else right
        assert np.allclose(group.homography, expected, atol=0.05)


def test_any_two_markers_are_enough(bean_book: LayoutBook) -> None:
    plan = MarkerPlan.of(bean_book.layout().pages[0].markers)
    ids = list(plan.corners_mm)
    truth = standing(5, 900, 100, 77)
    for first in ids:
        for second in ids:
            if first < second:
                groups = group_markers((plan,), seen(plan, truth, [first, second]))
                assert [len(g.markers) for g in groups] == [2]


def test_one_marker_and_strangers_make_no_sheet(bean_book: LayoutBook) -> None:
    plan = MarkerPlan.of(bean_book.layout().pages[0].markers)
    first = next(iter(plan.corners_mm))
    truth = standing(5, 10, 10)
    strangers = [SeenMarker(586, np.array([[0, 0], [9, 0], [9, 9], [0, 9]], float))]
    assert group_markers((plan,), seen(plan, truth, [first]) + strangers) == []


def test_markers_in_places_that_no_plane_explains_are_left_out(bean_book: LayoutBook) -> None:
    plan = MarkerPlan.of(bean_book.layout().pages[0].markers)
    markers = seen(plan, standing(5, 10, 10))
    moved = SeenMarker(markers[4].id, markers[4].corners_px + np.array([260.0, 300.0]))
    groups = group_markers((plan,), [*markers[:4], moved, *markers[5:]])
    assert len(groups[0].markers) == 9
    assert moved not in groups[0].markers


def test_pages_of_one_visit_are_told_apart_by_their_ids(pool_book: LayoutBook) -> None:
    plans = tuple(MarkerPlan.of(p.markers) for p in pool_book.layout().pages)
    markers = [*seen(plans[0], standing(4, 20, 30)), *seen(plans[1], standing(4, 1000, 40, 5))]
    assert sorted(g.plan for g in group_markers(plans, markers)) == [0, 1]
