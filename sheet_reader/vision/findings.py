"""What leaves the vision room: sheets found with their boxes, or why there is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheet_reader.reasons import Occlusion, Reason
from sheet_reader.sheet.page import Cell, Page

POINTED = "pointed at"
"""How a page was identified that a person pointed at."""
CROP_PX = 64
CROP_MARGIN_MM = 1.0
"""A crop shows the printed box and this much around it, stretched to CROP_PX × CROP_PX."""


@dataclass(frozen=True, slots=True)
class BoxEvidence:
    """What was found of one box, without its picture.

    ``error_mm`` is the estimated remaining position error (one standard deviation).
    ``occluded`` says why the box can't be read (falsy where it can).
    ``blur_mm`` and ``contrast`` (0..1 of paper level) describe the place.
    ``ink`` is the share (0..1) of the box's inside, away from the frame, that is dark. ``stroke``
    is the darkness (share of paper) of the most line-like place there and ``stroke_noise`` what
    such a measure gives on bare paper (standard deviation); 0: not measured. ``leaves_mm`` tells
    how far ink from inside reaches beyond the frame, ``gap_stroke`` the darkness of the most
    stroke-like place between the field's tally space and this box, ``edge_stroke`` by how much the
    frame is darker on the tally's side.
    """

    cell: Cell
    error_mm: float
    occluded: Occlusion = Occlusion.NONE
    blur_mm: float = 0.0
    contrast: float = 1.0
    ink: float = 0.0
    stroke: float = 0.0
    stroke_noise: float = 0.0
    leaves_mm: float = 0.0
    gap_stroke: float = 0.0
    edge_stroke: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView(BoxEvidence):
    """One box as found in the picture.

    ``crop`` uint8 (64, 64): grey, dark ink on light paper, paper levelled near white.
    ``corners_px`` float64 (4, 2): x, y in the picture, clockwise from the printed top left.
    ``px_per_mm`` is the scale there.
    """

    crop: NDArray[np.uint8]
    corners_px: NDArray[np.float64]
    px_per_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class PhotoQuality:
    """The whole sheet in this picture; ``advice`` is one sentence a volunteer can act on, or ""."""

    px_per_mm: float
    blur_mm: float
    contrast: float
    occluded_boxes: int
    glare_share: float
    advice: str = ""


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet found, identified and laid flat. ``identified_by`` is "machine code",
    "printed code" or another means; ``outline_px`` the page corners in the picture (4, 2).
    """

    page: Page
    boxes: tuple[BoxView, ...]
    quality: PhotoQuality
    identified_by: str
    outline_px: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NoSheet:
    """A picture, or a part of one, that gives no sheet, and why."""

    reason: Reason


Finding = SheetView | NoSheet
