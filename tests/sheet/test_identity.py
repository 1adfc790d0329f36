"""Machine code, printed code and markers."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from sheet_reader.sheet.identity import (
    LETTERS,
    SETS,
    check_character,
    code_modules,
    dictionary,
    machine_text,
    marker_ids,
    marker_modules,
    parse_machine_text,
    parse_printed_text,
    place_markers,
    printed_text,
    study_mark,
)
from sheet_reader.sheet.page import BLANK, SheetCode

KEYS = st.from_regex(r"[a-z0-9]{1,5}(-[a-z0-9]{1,4}){0,2}", fullmatch=True)
CODES = st.builds(
    SheetCode,
    KEYS,
    st.text(LETTERS, min_size=4, max_size=4),
    st.one_of(st.just(BLANK), st.text("0123456789", min_size=2, max_size=8)),
    st.integers(1, 9),
)
CODE = SheetCode("bean-tips", "HKRV", "2043", 1)


def test_published_check_character() -> None:
    # ISO/IEC 7064 MOD 37,36: the standard's example A12425GABC1234002 -> M
    assert check_character("A12425GABC1234002") == "M"


@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=30))
def test_check_character_as_the_reference_library(text: str) -> None:
    # python-stdnum, module stdnum.iso7064.mod_37_36
    assert check_character(text) == mod_37_36.calc_check_digit(text)


@given(CODES)
def test_machine_text_round_trip(code: SheetCode) -> None:
    text = machine_text(code)
    assert parse_machine_text(text) == code
    # ISO/IEC 18004: 47 signs fit version 3 at level Q in the alphanumeric mode
    assert len(text) <= 47
    assert set(text) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


@given(CODES)
def test_printed_text_round_trip(code: SheetCode) -> None:
    read = parse_printed_text(printed_text(code))
    assert read == SheetCode("#" + study_mark(code.study), code.layout, code.sheet, code.page)
    assert read is not None
    assert printed_text(read) == printed_text(code)


def test_longest_code_fits_the_machine_code() -> None:
    code = SheetCode("a-study-of-16-ch", "HKRV", "12345678", 9)
    assert len(code_modules(machine_text(code))) == 29


@given(CODES, st.data())
def test_one_wrong_sign_is_never_taken(code: SheetCode, data: st.DataObject) -> None:
    for text, parse in (
        (machine_text(code), parse_machine_text),
        (printed_text(code), parse_printed_text),
    ):
        # A dash read as a sign adds one: not what a check character promises to catch.
        whole = parse is parse_machine_text
        places = [p for p, sign in enumerate(text) if whole or sign != "-"]
        place = data.draw(st.sampled_from(places))
        sign = data.draw(st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
        read = parse(text[:place] + sign + text[place + 1 :])
        assert read is None or read == parse(text)


@pytest.mark.parametrize("change", [str.lower, lambda t: t.replace("-", " "), lambda t: f" {t}\n"])
def test_printed_text_as_a_recogniser_gives_it(change: object) -> None:
    assert callable(change)
    assert parse_printed_text(change(printed_text(CODE))) == parse_printed_text(printed_text(CODE))


@pytest.mark.parametrize(("right", "read"), [("0", "O"), ("1", "I"), ("5", "S"), ("2", "Z")])
def test_letters_read_for_digits_of_like_shape(right: str, read: str) -> None:
    code = SheetCode("bean-tips", "HKRV", "2015", 1)
    text = printed_text(code)
    head, number, tail = text[:9], text[9:13], text[13:]
    assert parse_printed_text(head + number.replace(right, read) + tail) == parse_printed_text(text)


@given(st.text(max_size=80))
def test_any_text_is_taken_or_refused_quietly(text: str) -> None:
    for parse in (parse_machine_text, parse_printed_text):
        code = parse(text)
        assert code is None or isinstance(code, SheetCode)


@pytest.mark.parametrize(
    "text",
    ["", "S1/", "https://example.org/x", "S1/A/HKRV/2043/1/", "S1//HKRV/2043/1/ACDEF",
     machine_text(CODE) + "\n", " " + machine_text(CODE), machine_text(CODE).lower(),
     "S1/" + "A" * 5000, "٣" * 12, "-" * 64, "K" * 63],
)  # fmt: skip
def test_strange_text_is_refused(text: str) -> None:
    assert parse_machine_text(text) is None
    assert parse_printed_text(text) is None


def test_random_text_of_the_right_form_is_refused() -> None:
    # five letters of 18 make 1,889,568 codes: none of 3,000 wrong ones may pass
    body = machine_text(CODE)[:-5]
    right = machine_text(CODE)[-5:]
    others = (
        LETTERS[i % 18] + LETTERS[i // 18 % 18] + LETTERS[i // 324] + "AC" for i in range(3000)
    )
    assert all(parse_machine_text(body + o) is None for o in others if o != right)


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
    sets = {marker_ids("rock-pools", page)[0] // 10 for page in range(1, 10)}
    assert len(sets) == 9


def test_study_decides_the_set() -> None:
    # CRC-32 as in ISO 3309: crc32("123456789") = 0xCBF43926 (catalogue of CRC algorithms)
    assert marker_ids("123456789", 1)[0] // 10 == 0xCBF43926 % 58


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
