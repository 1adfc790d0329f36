"""Thresholds in the open: where they stand, and that each says unit and origin."""

from __future__ import annotations

import ast
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

import sheet_reader
from sheet_reader.digits.normalise import NORMALISE
from sheet_reader.digits.read import AGAIN
from sheet_reader.lab.sensitivity import INFLUENTIAL, in_force, scaled
from sheet_reader.numbers import (
    DECODE,
    INTAKE,
    LAB,
    ORIGINS,
    READING,
    RECORD,
    REVIEW,
    SIMULATE,
    VISION,
    Described,
    described,
    frozen,
)

ROOT = Path(sheet_reader.__file__).parent
ROOMS = (INTAKE, VISION, NORMALISE, AGAIN, DECODE, RECORD, READING, REVIEW, SIMULATE, LAB)
ALL = [e for p in ROOMS for e in described(p)]
CONTRACTS = {"CROP_PX", "CROP_MARGIN_MM", "PLANES", "PLANE_PX", "BLOCK", "DIGITS", "NO_SHEET",
             "BITMAP_PX", "FORM", "POINTS", "LINES"}  # fmt: skip
"""Sizes and marks that rooms agree on, not thresholds."""


@pytest.mark.parametrize("each", ALL, ids=[each.name for each in ALL])
def test_every_threshold_says_its_unit_origin_and_meaning(each: Described) -> None:
    kind, _, why = each.origin.partition(": ")
    assert kind in ORIGINS
    assert len(why) > 5
    assert each.unit
    assert each.meaning
    assert isinstance(each.value, int | float | tuple)


def test_a_threshold_without_an_origin_cannot_be_written_down() -> None:
    with pytest.raises(ValueError, match="origin"):
        frozen({"a": [3.0, "mm", "because", "a meaning"]}, "TEST")
    with pytest.raises(ValueError, match="unit"):
        frozen({"a": [3.0, "", "choice: for a test", "a meaning"]}, "TEST")


@pytest.mark.parametrize("parameters", [VISION.locate, DECODE, NORMALISE])
def test_nobody_changes_a_threshold_in_passing(parameters: object) -> None:
    name = next(described(parameters)).name
    with pytest.raises(FrozenInstanceError):
        setattr(parameters, name, 1.0)


def _lone_numbers(source: str) -> set[str]:
    """Names of module-level constants that are a number or hold nothing but numbers."""
    found = set()
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign):
            try:
                value = ast.literal_eval(node.value)
            except ValueError:
                continue
            parts = value if isinstance(value, tuple) else (value,)
            if parts and all(isinstance(part, int | float) for part in parts):
                found |= {n.id for n in ast.walk(node.targets[0]) if isinstance(n, ast.Name)}
    return found


@pytest.mark.parametrize("room", ["vision", "digits", "decode", "reading", "review", "lab"])
def test_no_threshold_hides_in_a_module(room: str) -> None:
    allowed = CONTRACTS | {"_LOTS", "_SIZES", "AQLS", "_ACCEPT", "_E", "_S", "_CHUNK"}
    allowed |= {"_CORNERS", "_LUMINANCE", "_STEPS", "_STEPS_BY_WRITER"}
    for path in (ROOT / room).rglob("*.py"):
        assert _lone_numbers(path.read_text("utf-8")) <= allowed, path.name


def test_the_check_sees_numbers() -> None:
    assert _lone_numbers("A = 3\nB, C = 1.5, 2\nD = (1, 2)\nE = 'x'\nF = G.h") == set("ABCD")


def test_another_value_holds_inside_the_block_only() -> None:
    before = VISION.locate.box_score
    with in_force("locate.box_score", 0.9):
        assert VISION.locate.box_score == 0.9
    assert VISION.locate.box_score == before
    with pytest.raises(TypeError):
        _fail_with("locate.box_score")
    assert VISION.locate.box_score == before
    with pytest.raises(ValueError, match="templates"):
        _fail_with("template.tile_mm")


def _fail_with(name: str) -> None:
    with in_force(name, 0.9):
        raise TypeError


@pytest.mark.parametrize("name", INFLUENTIAL)
def test_the_influential_ones_exist_and_keep_their_kind(name: str) -> None:
    value = {each.name: each.value for each in described(VISION)}[name]
    assert type(scaled(name, 0.8)) is type(value)
    assert scaled(name, 0.8) < value < scaled(name, 1.2)
    assert scaled(name, 1.0) == value
