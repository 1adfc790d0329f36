"""The fiducial markers of a page: AprilTag 36h11, ten to a page."""

from __future__ import annotations

import zlib
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sheet_reader.sheet.drawing import Blocks
from sheet_reader.sheet.model import Marker

if TYPE_CHECKING:
    import cv2

MARKER_MM = 10.4
"""Side of the black square: 8 modules of 1.3 mm."""
MODULES = 8
EDGE_MM = 9.0
"""Distance of everything printed from the edge of the paper."""
PER_PAGE = 10
SETS = 58
CORRECTABLE_BITS = 5
"""Of a distance of 11, (11 - 1) / 2 wrong bits can be put right."""


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """The dictionary as OpenCV ships it (587 ids, smallest Hamming distance 11).

    OpenCV 4 says that none of its bits can be corrected, OpenCV 5 that five can
    (opencv/opencv#29034), so it is said here.
    """
    import cv2  # the status of a study places markers and draws none

    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    table.maxCorrectionBits = CORRECTABLE_BITS
    return table


def marker_set(study: str, page: int) -> int:
    """The set of ten ids for a page of a study: pages of one study follow one another."""
    return (zlib.crc32(study.encode()) + page - 1) % SETS


def marker_ids(study: str, page: int) -> range:
    """The ids on a page, by slot: four corners clockwise from top left, top and bottom middle,
    upper and lower left, upper and lower right.
    """
    first = marker_set(study, page) * PER_PAGE
    return range(first, first + PER_PAGE)


def place_markers(study: str, page: int, width_mm: float, height_mm: float) -> tuple[Marker, ...]:
    """The ten markers of a page of the given size."""
    left, top = EDGE_MM, EDGE_MM
    right, bottom = width_mm - EDGE_MM - MARKER_MM, height_mm - EDGE_MM - MARKER_MM
    middle = (left + right) / 2
    upper, lower = top + (bottom - top) * 0.36, top + (bottom - top) * 0.69
    places = (
        (left, top), (right, top), (right, bottom), (left, bottom),
        (middle, top), (middle, bottom),
        (left, upper), (left, lower), (right, upper), (right, lower),
    )  # fmt: skip
    ids = marker_ids(study, page)
    return tuple(Marker(i, _square(x, y)) for i, (x, y) in zip(ids, places, strict=True))


def _square(x: float, y: float) -> tuple[tuple[float, float], ...]:
    x0, y0 = round(x, 3), round(y, 3)
    x1, y1 = round(x0 + MARKER_MM, 3), round(y0 + MARKER_MM, 3)
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def marker_modules(marker_id: int) -> NDArray[np.bool_]:
    """Bool (8, 8), True where the marker prints black, row 0 at the top."""
    import cv2

    image = cv2.aruco.generateImageMarker(dictionary(), marker_id, MODULES, borderBits=1)
    return np.asarray(image) < 128


def marker_mark(marker: Marker) -> Blocks:
    """The black modules of a marker in its place."""
    (x, y), (right, _), *_ = marker.corners_mm
    side = (right - x) / MODULES
    return Blocks(
        tuple(
            (round(x + c * side, 4), round(y + r * side, 4), side, side)
            for r, row in enumerate(marker_modules(marker.id))
            for c, dark in enumerate(row)
            if dark
        )
    )
