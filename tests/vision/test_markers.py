"""Markers in pictures nobody here made, and how exactly their corners are found."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import pytest

from sheet_reader.vision.flat_page import Pyramid
from sheet_reader.vision.markers import (
    DICTIONARIES,
    SeenMarker,
    detect_markers,
    exhaustive_markers,
    fast_markers,
    merge_markers,
    reduce_by,
    refine_corners,
)

NAMES = {"DICT_APRILTAG_36h11": "AprilTag 36h11", "DICT_6X6_250": "ArUco 6x6 250"}


def test_every_marker_that_opencv_decodes_is_found_at_its_id(photo_folder: Path) -> None:
    """Outside check: decoded_ids.csv lists what OpenCV 5.0 decodes in 23 real photographs."""
    listed = 0
    with (photo_folder / "markers" / "decoded_ids.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            gray = cv2.imread(str(photo_folder / "markers" / row["file"]), cv2.IMREAD_GRAYSCALE)
            expected = Counter(map(int, row["ids decoded by OpenCV (lower bound)"].split()))
            found = Counter(m.id for m in detect_markers(gray, NAMES[row["dictionary"]]))
            assert not expected - found, row["file"]
            listed += expected.total()
    assert listed > 200


@pytest.mark.parametrize(
    ("name", "ids", "distance"), [("AprilTag 36h11", 587, 11), ("ArUco 6x6 250", 250, 11)]
)
def test_dictionaries_have_their_published_size_and_distance(
    name: str, ids: int, distance: int
) -> None:
    """Source: Olson, AprilTag (ICRA 2011), whose name says 36 bits and Hamming distance 11 of 587
    ids; OpenCV's documentation for the 6 x 6 set of 250.
    """
    table = cv2.aruco.getPredefinedDictionary(DICTIONARIES[name])
    bits = np.array(
        [
            cv2.aruco.Dictionary.getBitsFromByteList(code[None], 6).ravel()
            for code in table.bytesList
        ]
    ).astype(np.int16)
    assert len(bits) == ids
    least = 36
    for turn in range(4):
        turned = np.rot90(bits.reshape(-1, 6, 6), turn, axes=(1, 2)).reshape(-1, 36)
        apart = bits.sum(1)[:, None] + turned.sum(1)[None] - 2 * bits @ turned.T
        if turn == 0:
            np.fill_diagonal(apart, 36)
        least = min(least, int(apart.min()))
    assert least == distance


def _marker_picture(centre: tuple[float, float], side: float) -> tuple[np.ndarray, np.ndarray]:
    """A marker on white, and its corners in pixel coordinates."""
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    image = cv2.aruco.generateImageMarker(table, 7, 400, borderBits=1)
    image = np.pad(image, 100, constant_values=255)
    corner, scale = np.array(centre) - side / 2, side / 400
    # the marker's edge in the source lies between pixels 99 and 100
    matrix = np.array([[scale, 0, corner[0] - 99.5 * scale], [0, scale, corner[1] - 99.5 * scale]])
    soft = cv2.GaussianBlur(image, (0, 0), 0.5 / scale)
    picture = cv2.warpAffine(soft, matrix, (800, 600), flags=cv2.INTER_LINEAR, borderValue=255)
    return picture, corner + np.array([[0, 0], [side, 0], [side, side], [0, side]])


@pytest.mark.parametrize("side", [45.0, 80.0, 140.0])
def test_corners_are_found_to_a_third_of_a_pixel(side: float) -> None:
    picture, corners = _marker_picture((400.3, 300.7), side)
    pyramid = Pyramid(picture)
    found = [refine_corners(pyramid, marker) for marker in fast_markers(pyramid)]
    assert [m.id for m in found] == [7]
    assert np.abs(found[0].corners_px - corners).max() < 1 / 3


def test_patience_finds_what_a_deep_shadow_cuts_in_two() -> None:
    picture, _ = _marker_picture((400.0, 300.0), 90.0)
    dim = (picture * 0.35).astype(np.uint8)
    dim[:, :380] = (picture[:, :380] * 0.9).astype(np.uint8)
    assert [m.id for m in exhaustive_markers(Pyramid(dim), [])] == [7]


def test_merged_lists_keep_two_markers_of_one_id_apart() -> None:
    square = np.array([[0, 0], [40, 0], [40, 40], [0, 40]], dtype=float)
    here, again, there = (SeenMarker(3, square + d) for d in (0.0, 2.0, 200.0))
    assert merge_markers([here], [again, there]) == [here, there]


def test_a_picture_is_reduced_but_never_enlarged() -> None:
    small, factor = reduce_by(Pyramid(np.zeros((300, 400), np.uint8)), 1400)
    assert small.shape == (300, 400)
    assert factor == 1.0
    reduced, factor = reduce_by(Pyramid(np.zeros((3000, 4000), np.uint8)), 1400)
    assert max(reduced.shape) == 1400
    assert factor == pytest.approx(4000 / 1400)


def test_a_tiny_picture_has_no_markers() -> None:
    assert detect_markers(np.zeros((5, 5), np.uint8)) == []


@pytest.mark.parametrize(("spoilt", "found"), [(0, [7]), (2, [7]), (3, [])])
def test_two_wrong_bits_are_put_right_with_every_opencv(spoilt: int, found: list[int]) -> None:
    picture, corners = _marker_picture((400.0, 300.0), 160.0)
    for row, column in [(2, 2), (4, 5), (5, 3)][:spoilt]:
        x, y = (corners[0] + 20 * np.array([column, row])).round().astype(int)
        piece = picture[y + 1 : y + 19, x + 1 : x + 19]
        piece[:] = 255 if piece.mean() < 128 else 0
    assert [m.id for m in fast_markers(Pyramid(picture))] == found


def test_only_markers_that_are_looked_for_are_found_and_keep_their_ids() -> None:
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    picture = np.full((300, 1000), 255, np.uint8)
    for place, number in enumerate((5, 250, 586)):
        marker = cv2.aruco.generateImageMarker(table, number, 80, borderBits=1)
        picture[100:180, 100 + 300 * place : 180 + 300 * place] = marker
    pyramid = Pyramid(picture)
    every = {m.id: m.corners_px for m in fast_markers(pyramid)}
    assert set(every) == {5, 250, 586}
    some = {m.id: m.corners_px for m in fast_markers(pyramid, (7, 250, 586))}
    assert set(some) == {250, 586}
    assert all(np.array_equal(corners, every[number]) for number, corners in some.items())
    assert [m.id for m in exhaustive_markers(pyramid, [], (250,))] == [250]
    assert [m.id for m in detect_markers(picture, ids=(5,))] == [5]
