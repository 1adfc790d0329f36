"""What is truly on a simulated sheet and where it truly lies in the photograph; JSON in and out."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from sheet_reader.sheet.page import SheetCode

FieldState = Literal["written", "empty", "corrected", "struck", "mark"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FieldTruth:
    """A field as written: ``value`` text as the reader should give it ("14", "2041",
    "2026-05-20"), None where nothing readable stands there. ``state`` "written", "empty",
    "corrected" (a digit crossed out or its box filled in, the number goes on in the next), "struck"
    (all of it, perhaps with the right number beside the boxes) or "mark"
    (a dash, tick or question mark).
    """

    field: str
    value: str | None
    state: FieldState = "written"


@dataclass(frozen=True, slots=True)
class CellTruth:
    """A box. ``content`` is the digit, "empty", "struck" or "other"; ``stray`` says that a stray
    mark touches it. ``corners_px`` run clockwise from the printed top left, in the upright
    picture. ``covered`` and ``saturated`` are the shares (0..1) of the box under a thumb or another
    sheet, and lost in glare.
    """

    field: str
    index: int
    content: str
    stray: bool = False
    corners_px: tuple[Point, ...] = ()
    inside: bool = True
    covered: float = 0.0
    saturated: float = 0.0


@dataclass(frozen=True, slots=True)
class SheetTruth:
    """One sheet in the picture: its code, its site and date, fields and boxes, markers, outline of
    the paper; ``print_scale`` 0.9..1; ``wrong_sums`` are totals that the volunteer got wrong;
    ``person`` who wrote it, set and writer, "" where invented.
    """

    code: SheetCode
    site: str | None
    visit_date: str | None
    fields: tuple[FieldTruth, ...]
    cells: tuple[CellTruth, ...]
    print_scale: float = 1.0
    wrong_sums: tuple[str, ...] = ()
    person: str = ""
    marker_corners_px: dict[int, tuple[Point, ...]] = field(default_factory=dict)
    outline_px: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class PhotoTruth:
    """A photograph. ``kind`` is "sheet", "desk", "text" or "other study"; ``sheets`` holds those
    of the study itself; ``orientation`` the EXIF tag written; size in px when upright.
    """

    kind: str
    level: str
    seed: int
    width: int
    height: int
    orientation: int
    sheets: tuple[SheetTruth, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain data for a JSON file."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> PhotoTruth:
        """The truth back from :meth:`to_json`."""
        return cls(**{**data, "sheets": tuple(_sheet(s) for s in data["sheets"])})


def _points(data: Any) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in data)


def _sheet(data: dict[str, Any]) -> SheetTruth:
    return SheetTruth(
        **{
            **data,
            "code": SheetCode(**data["code"]),
            "fields": tuple(FieldTruth(**f) for f in data["fields"]),
            "cells": tuple(
                CellTruth(**{**c, "corners_px": _points(c["corners_px"])}) for c in data["cells"]
            ),
            "wrong_sums": tuple(data["wrong_sums"]),
            "marker_corners_px": {int(k): _points(v) for k, v in data["marker_corners_px"].items()},
            "outline_px": _points(data["outline_px"]),
        }
    )
