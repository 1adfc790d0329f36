"""Finding fiducial markers in a grey picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.sheet.markers import dictionary as sheet_dictionary
from sheet_reader.vision.arrays import Array, Float32, Gray, as_gray
from sheet_reader.vision.flatten import Pyramid

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
    def module_px(self) -> float:
        """Mean width of one of the marker's eight modules, in pixels."""
        sides = np.linalg.norm(self.corners_px - np.roll(self.corners_px, 1, axis=0), axis=1)
        return float(sides.mean() / VISION.markers.modules)


Ids = tuple[int, ...]
"""Of markers that are looked for, in rising order; empty: all of the dictionary."""


@lru_cache(maxsize=64)
def _detector(dictionary: str, correction: float, windows: tuple[int, ...], ids: Ids) -> object:
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


def _detect(
    gray: Gray, dictionary: str, correction: float, windows: tuple[int, ...], wanted: Ids = ()
) -> list[SeenMarker]:
    if min(gray.shape) < 16:
        return []
    corners, ids, _ = _detector(dictionary, correction, windows, wanted).detectMarkers(gray)  # type: ignore[attr-defined]
    if ids is None:
        return []
    return [
        SeenMarker(
            wanted[int(i)] if wanted else int(i), np.asarray(c, dtype=np.float64).reshape(4, 2)
        )
        for i, c in zip(np.ravel(ids), corners, strict=True)
    ]


def detect_markers(
    gray: Gray,
    dictionary: str = SHEET_DICTIONARY,
    correction: float | None = None,
    ids: Ids = (),
) -> list[SeenMarker]:
    """Every marker of ``dictionary`` in a picture, or those with these ``ids``, at the picture's
    own scale.

    ``gray`` is uint8 (H, W); ``dictionary`` a key of :data:`DICTIONARIES`; ``correction`` the
    share (0..1) of correctable bits that may be wrong, None for OpenCV's own.
    The same id may come several times.
    """
    share = VISION.markers.opencv_correction if correction is None else correction
    return _detect(gray, dictionary, share, (3, 13, 23), ids)


def _scaled(found: list[SeenMarker], factor: float) -> list[SeenMarker]:
    """Corners of a picture reduced by ``factor`` in the coordinates of the full picture."""
    return [SeenMarker(m.id, (m.corners_px + 0.5) * factor - 0.5) for m in found]


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


def _levelled(gray: Gray) -> Gray:
    """Local contrast evened out, for pictures with deep shadow or glare."""
    return as_gray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(gray))


def merge_markers(*lists: list[SeenMarker]) -> list[SeenMarker]:
    """All markers of the lists without those found twice (same id, centres within one third of
    a side); the first list wins.
    """
    merged: list[SeenMarker] = []
    for marker in (m for found in lists for m in found):
        centre, reach = (
            marker.corners_px.mean(axis=0),
            marker.module_px * VISION.markers.modules / 3,
        )
        if all(
            m.id != marker.id or np.linalg.norm(m.corners_px.mean(axis=0) - centre) > reach
            for m in merged
        ):
            merged.append(marker)
    return merged


def fast_markers(pyramid: Pyramid, ids: Ids = ()) -> list[SeenMarker]:
    """Sheet markers with these ``ids`` by one pass over a reduced picture: fast, and enough for
    most photographs.
    """
    reduced, factor = reduce_by(pyramid, VISION.markers.fast_px)
    found = _detect(reduced, SHEET_DICTIONARY, VISION.markers.correction, (9,), ids)
    return _scaled(found, factor)


def exhaustive_markers(
    pyramid: Pyramid, known: list[SeenMarker], ids: Ids = ()
) -> list[SeenMarker]:
    """Sheet markers with these ``ids`` by several passes at other scales and levels of light,
    ``known`` included.
    """
    passes: list[list[SeenMarker]] = [known]
    for long_side in (1000, 2000):
        reduced, factor = reduce_by(pyramid, long_side)
        for picture in (reduced, _levelled(reduced)):
            found = _detect(picture, SHEET_DICTIONARY, VISION.markers.correction, (5, 15, 25), ids)
            passes.append(_scaled(found, factor))
    return merge_markers(*passes)


def refine_corners(pyramid: Pyramid, found: list[SeenMarker]) -> list[SeenMarker]:
    """Corners brought to a fraction of a pixel at full resolution.

    A corner that lies more than one module from where it was seen keeps its first place.
    """
    refined = []
    for marker in found:
        depth = int(np.clip(np.log2(max(marker.module_px / 6.0, 1.0)), 0, 3))
        factor = float(2**depth)
        start = ((marker.corners_px + 0.5) / factor - 0.5).astype(np.float32)
        half = int(np.clip(round(0.6 * marker.module_px / factor), 2, 9))
        refined.append(_refine_one(pyramid.level(depth), marker, start, half, factor))
    return refined


def _refine_one(
    level: Gray,
    marker: SeenMarker,
    start: Float32,
    half: int,
    factor: float,
) -> SeenMarker:
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    height, width = level.shape
    border = half + 2
    if (start < border).any() or (start > (width - border, height - border)).any():
        return marker
    end = cv2.cornerSubPix(level, start.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), criteria)
    end = end.reshape(4, 2)
    outlying = np.linalg.norm(end - start, axis=1) > marker.module_px / factor
    end[outlying] = start[outlying]
    return SeenMarker(marker.id, (end.astype(np.float64) + 0.5) * factor - 0.5)
