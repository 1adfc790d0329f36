"""Finding fiducial markers in a grey picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.identity import dictionary as sheet_dictionary
from sheet_reader.vision.arrays import Array, Gray, as_array, as_gray
from sheet_reader.vision.flat_page import Pyramid

SHEET_DICTIONARY = "AprilTag 36h11"
"""The dictionary of our sheets: 587 ids, smallest Hamming distance 11."""

DICTIONARIES = {
    SHEET_DICTIONARY: cv2.aruco.DICT_APRILTAG_36h11,
    "ArUco 6x6 250": cv2.aruco.DICT_6X6_250,
}


@dataclass(frozen=True, slots=True)
class SeenMarker:
    """A marker in a picture: ``corners_px`` float64 (4, 2), x and y, clockwise from the marker's
    own top left; pixel centres lie at whole numbers.
    """

    id: int
    corners_px: Array

    @property
    def centre_px(self) -> Array:
        """Its middle (2,)."""
        return as_array(self.corners_px.mean(axis=0))

    @property
    def module_px(self) -> float:
        """Mean width of one of the marker's eight modules, in pixels."""
        return float(mean_side(self.corners_px) / VISION.markers.modules)

    def enlarged(self, factor: float, offset: tuple[float, float] = (0.0, 0.0)) -> SeenMarker:
        """In the full picture, for one seen in a picture reduced by ``factor``, in a piece of it
        that begins at ``offset`` (x, y).
        """
        return SeenMarker(self.id, (self.corners_px + offset + 0.5) * factor - 0.5)


def mean_side(corners: Array) -> float:
    """Mean length of the sides of a quadrilateral with these ``corners`` (4, 2)."""
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())


Ids = tuple[int, ...]
"""Of markers that are looked for, in rising order; empty: all of the dictionary."""


@lru_cache(maxsize=64)
def _detector(
    dictionary: str, correction: float, windows: tuple[int, ...], ids: Ids
) -> cv2.aruco.ArucoDetector:
    """OpenCV's, for these ``ids`` alone, told by their places among them: it holds every square
    that it sees against each id in four turns, and most squares on a sheet are digit boxes.
    """
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = correction
    parameters.adaptiveThreshWinSizeMin = windows[0]
    parameters.adaptiveThreshWinSizeMax = windows[-1]
    if len(windows) > 1:
        parameters.adaptiveThreshWinSizeStep = windows[1] - windows[0]
    if dictionary == SHEET_DICTIONARY:
        table = sheet_dictionary()
    else:
        table = cv2.aruco.getPredefinedDictionary(DICTIONARIES[dictionary])
    if ids:
        some = table.bytesList[list(ids)]
        table = cv2.aruco.Dictionary(some, table.markerSize, table.maxCorrectionBits)
    return cv2.aruco.ArucoDetector(table, parameters)


def detect_markers(
    gray: Gray, dictionary: str = SHEET_DICTIONARY, correction: float | None = None, ids: Ids = (),
    *, windows: tuple[int, ...] = (3, 13, 23), factor: float = 1.0,
) -> list[SeenMarker]:  # fmt: skip
    """Every marker of ``dictionary`` in a picture, or those with these ``ids``. The same id may
    come several times.

    ``gray`` is uint8 (H, W), a picture reduced by ``factor``: markers are told as they lie in the
    full one. ``dictionary`` is a key of :data:`DICTIONARIES`; ``correction`` the share (0..1) of
    correctable bits that may be wrong, None for OpenCV's own; ``windows`` are sides of the squares,
    evenly spaced, within which black is told from white.
    """
    if min(gray.shape) < 16:
        return []
    share = VISION.markers.opencv_correction if correction is None else correction
    corners, numbers, _ = _detector(dictionary, share, windows, ids).detectMarkers(gray)
    if numbers is None:
        return []
    return [
        SeenMarker(ids[i] if ids else i, as_array(c).reshape(4, 2)).enlarged(factor)
        for i, c in zip(map(int, np.ravel(numbers)), corners, strict=True)
    ]


def reduce_by(pyramid: Pyramid, long_side: int) -> tuple[Gray, float]:
    """The picture with its long side near ``long_side`` px (never enlarged), and the factor."""
    depth = 0
    while max(pyramid.level(depth).shape) >= 2 * long_side:
        depth += 1
    level, factor = pyramid.level(depth), 2.0**depth
    ratio = max(level.shape) / long_side
    if ratio <= VISION.markers.near_scale:
        return level, factor
    size = (round(level.shape[1] / ratio), round(level.shape[0] / ratio))
    reduced = as_gray(cv2.resize(level, size, interpolation=cv2.INTER_LINEAR))
    return reduced, factor * level.shape[1] / size[0]


def levelled(gray: Gray, tiles: int) -> Gray:
    """Local contrast evened out in ``tiles`` × ``tiles`` parts, against deep shadow or glare."""
    return as_gray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(tiles, tiles)).apply(gray))


def merge_markers(*lists: list[SeenMarker]) -> list[SeenMarker]:
    """All markers of the lists without those found twice (same id, centres within one third of
    a side); the first list wins.
    """
    merged: list[SeenMarker] = []
    for marker in (m for found in lists for m in found):
        reach = marker.module_px * VISION.markers.modules / 3
        if all(
            m.id != marker.id or np.linalg.norm(m.centre_px - marker.centre_px) > reach
            for m in merged
        ):
            merged.append(marker)
    return merged


def fast_markers(pyramid: Pyramid, ids: Ids = ()) -> list[SeenMarker]:
    """Sheet markers with these ``ids`` by one pass over a reduced picture: fast, and enough for
    most photographs.
    """
    reduced, factor = reduce_by(pyramid, VISION.markers.fast_px)
    share = VISION.markers.correction
    return detect_markers(reduced, SHEET_DICTIONARY, share, ids, windows=(9,), factor=factor)


def exhaustive_markers(
    pyramid: Pyramid, known: list[SeenMarker], ids: Ids = ()
) -> list[SeenMarker]:
    """Sheet markers with these ``ids`` by several passes at other scales and levels of light,
    ``known`` included.
    """
    share, scaled = VISION.markers.correction, (reduce_by(pyramid, side) for side in (1000, 2000))
    passes = [
        detect_markers(each, SHEET_DICTIONARY, share, ids, windows=(5, 15, 25), factor=factor)
        for picture, factor in scaled
        for each in (picture, levelled(picture, 8))
    ]
    return merge_markers(known, *passes)


def refine_corners(pyramid: Pyramid, marker: SeenMarker) -> SeenMarker:
    """The marker with its corners brought to a fraction of a pixel at full resolution.

    A corner that lies more than one module from where it was seen keeps its first place.
    """
    depth = int(np.clip(np.log2(max(marker.module_px / 6.0, 1.0)), 0, 3))
    level, factor = pyramid.level(depth), float(2**depth)
    start = ((marker.corners_px + 0.5) / factor - 0.5).astype(np.float32)
    half = int(np.clip(round(0.6 * marker.module_px / factor), 2, 9))
    height, width = level.shape
    border = half + 2
    if (start < border).any() or (start > (width - border, height - border)).any():
        return marker
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    end = cv2.cornerSubPix(level, start.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), criteria)
    end = end.reshape(4, 2)
    outlying = np.linalg.norm(end - start, axis=1) > marker.module_px / factor
    end[outlying] = start[outlying]
    return SeenMarker(marker.id, end.astype(np.float64)).enlarged(factor)
