"""Markers against the dictionary's published figures, and the ids of pages."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from sheet_reader.sheet.markers import (
    SETS,
    dictionary,
    marker_ids,
    marker_modules,
    marker_set,
    place_markers,
)


def _codes() -> list[int]:
    """The 36 bits of every marker, in each of its four rotations (rows: ids, then rotations)."""
    codes = []
    for marker_id in range(587):
        inner = marker_modules(marker_id)[1:7, 1:7]
        for turn in range(4):
            bits = np.rot90(inner, turn).ravel()
            codes.append(int("".join("1" if b else "0" for b in bits), 2))
    return codes


def test_smallest_hamming_distance_is_11() -> None:
    # AprilTag 36h11: 587 ids, smallest distance 11 over all rotations (Olson 2011; the name
    # says 36 bits, h11); recomputed here from the modules that are printed
    assert dictionary().bytesList.shape[0] == 587
    codes = np.array(_codes(), dtype=np.uint64)
    upright = codes[::4]
    smallest = 36
    for i, code in enumerate(upright):
        distances = np.bitwise_count(codes[i * 4 + 1 :] ^ code)
        smallest = min(smallest, int(distances.min()))
    assert smallest == 11


def test_border_is_black_all_round() -> None:
    for marker_id in (0, 123, 586):
        modules = marker_modules(marker_id)
        assert modules.shape == (8, 8)
        assert modules[[0, -1], :].all()
        assert modules[:, [0, -1]].all()


def test_ids_stay_within_the_dictionary() -> None:
    ids = [i for page in range(1, SETS + 1) for i in marker_ids("any-study", page)]
    assert sorted(ids) == list(range(580))


def test_pages_of_one_study_have_sets_of_their_own() -> None:
    sets = {marker_set("rock-pools", page) for page in range(1, 10)}
    assert len(sets) == 9


def test_study_decides_the_set() -> None:
    # CRC-32 as in ISO 3309: crc32("123456789") = 0xCBF43926 (catalogue of CRC algorithms)
    assert marker_set("123456789", 1) == 0xCBF43926 % 58


@pytest.mark.parametrize("size", [(210.0, 297.0), (215.9, 279.4)])
def test_ten_markers_clockwise_from_top_left(size: tuple[float, float]) -> None:
    markers = place_markers("any-study", 1, *size)
    assert len({m.id for m in markers}) == 10
    for marker in markers:
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = marker.corners_mm
        assert (ay, bx, cy, dx) == (by, cx, dy, ax)
        assert bx - ax == pytest.approx(10.4)
        assert cy - by == pytest.approx(10.4)
        assert ax >= 9
        assert ay >= 9
        assert cx <= size[0] - 9 + 1e-6
        assert cy <= size[1] - 9 + 1e-6


def test_the_patterns_are_those_printed_so_far() -> None:
    """SHA-256 of the dictionary's bytes, as OpenCV 4.10 to 5.0 ship them (computed). A release that
    turns or renumbers the patterns would read no sheet that is printed already.
    """
    digest = hashlib.sha256(np.ascontiguousarray(dictionary().bytesList).tobytes()).hexdigest()
    assert digest.startswith("de7efbe10d71c090")
    rows = ["".join("01"[not black] for black in row) for row in marker_modules(190)]
    assert rows == [
        "00000000",
        "01001110",
        "00010010",
        "00110000",
        "01011110",
        "00111010",
        "00000010",
        "00000000",
    ]


def test_as_many_bits_can_be_put_right_with_every_opencv() -> None:
    """(d - 1) / 2 of the smallest distance d (Hamming 1950); OpenCV 4 says 0 (opencv#29034)."""
    assert dictionary().maxCorrectionBits == (11 - 1) // 2
