"""Printed pages laid on a desk through surfaces of our own, and how far a finding is off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import Page
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import Finding, NoSheet, SheetView
from sheet_reader.vision.surface import apply_homography

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]
Bend = Callable[[Array], Array]


def flat(points: Array) -> Array:
    return points


@dataclass(frozen=True)
class Place:
    """Page mm to picture px: ``bend`` moves points in mm, then ``homography``."""

    homography: Array
    bend: Bend = flat

    def to_px(self, points: Array) -> Array:
        return apply_homography(self.homography, self.bend(points))


def standing(scale: float, left: float, top: float, turn_deg: float = 0.0) -> Array:
    """Page mm to px: turned about the page's origin, scaled, moved."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[scale * c, -scale * s, left], [scale * s, scale * c, top], [0, 0, 1.0]])


def lay(canvas: Gray, raster: Gray, page: Page, place: Place) -> None:
    """Draw a page's raster into ``canvas`` in place, by iterating the inverse of ``place``."""
    height, width = canvas.shape
    step = 6
    xs, ys = np.arange(-step, width + 2 * step, step), np.arange(-step, height + 2 * step, step)
    pixels = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2).astype(np.float64)
    target = apply_homography(np.linalg.inv(place.homography), pixels)
    points = target.copy()
    for _ in range(30):
        points += target - place.bend(points)
    nodes = points.reshape(len(ys), len(xs), 2).astype(np.float32)
    dense = cv2.resize(nodes, None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
    off = step + (step - 1) / 2  # where the node of pixel 0 comes to lie
    shift = np.array([[1, 0, -off], [0, 1, -off]])
    dense = cv2.warpAffine(dense, shift, (width, height), borderMode=cv2.BORDER_REPLICATE)
    factor = np.array(raster.shape[::-1]) / (page.width_mm, page.height_mm)
    at = (dense * factor - 0.5).astype(np.float32)
    cv2.remap(raster, at, None, cv2.INTER_LINEAR, dst=canvas, borderMode=cv2.BORDER_TRANSPARENT)


def true_centres(page: Page, place: Place) -> Array:
    boxes = np.array([c.box_mm for c in page.cells])
    return place.to_px(boxes[:, :2] + boxes[:, 2:] / 2)


def found_centres(view: SheetView) -> Array:
    return np.array([b.corners_px.mean(axis=0) for b in view.boxes])


def errors_mm(view: SheetView, page: Page, place: Place, scale: float) -> Array:
    """Distance (N,) of the found from the true centres in mm, for boxes that are not occluded."""
    shown = np.array([not b.occluded for b in view.boxes])
    off = np.linalg.norm(found_centres(view) - true_centres(page, place), axis=1) / scale
    result: Array = off[shown]
    return result


def views(findings: list[Finding]) -> list[SheetView]:
    return [f for f in findings if isinstance(f, SheetView)]


def only_view(findings: list[Finding]) -> SheetView:
    assert len(findings) == 1, findings
    view = findings[0]
    assert isinstance(view, SheetView), view
    return view


PLACE = Place(standing(6.0, 60, 50, 0.8))
"""Where ``plain`` lies in its picture."""
HEAD = (14.0, 14.0, 60.0, 24.0)
"""Where every layout prints the site number in the head, mm."""


def corners(box: tuple[float, float, float, float]) -> Array:
    x, y, w, h = box
    return PLACE.to_px(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]))


def painted(picture: Gray, box: tuple[float, float, float, float], grey: int) -> Gray:
    copy = picture.copy()
    cv2.fillConvexPoly(copy, np.rint(corners(box)).astype(np.int32), grey)
    return copy


def covered_print(picture: Gray, page: Page, head: bool = True) -> Gray:
    """The picture with the printed code occluded, and the site number in the head too."""
    x, y, w, h = page.printed_code_box_mm
    covered = painted(picture, (x - 1, y - 1, w + 2, h + 2), 150)
    return painted(covered, HEAD, 150) if head else covered


def refusal(picture: Gray, book: LayoutBook) -> NoSheet:
    found = find_sheets(picture, book)
    assert len(found) == 1
    assert isinstance(found[0], NoSheet), found[0]
    return found[0]
