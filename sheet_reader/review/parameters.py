"""When an answer is typed blind, and how boxes are shown, with unit and origin."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_HOUSE = "choice: a choice of this house, no source"
_LOOKS = "choice: looks well"


@dataclass(frozen=True, slots=True)
class ReviewParameters:
    """All of the room, in the order of its modules."""

    coin_flip: float = parameter(
        0.6, "probability", _HOUSE, "below which the reader's guess helps nobody"
    )
    overlay_px: int = parameter(
        2400, "px", "choice: fills a large screen", "longer side of a photo with its boxes drawn"
    )
    overlay_quality: int = parameter(85, "JPEG quality", _LOOKS, "of a photo with its boxes drawn")
    plate: tuple[int, int, int] = parameter(
        (255, 255, 255), "blue, green, red", _LOOKS, "behind a value that is drawn"
    )
    crop_aspect: float = parameter(
        9 / 11,
        "ratio",
        "standard: a box of 8 by 9.5 mm with its margin",
        "width by height on paper; crops are stretched to squares",
    )
    tallest_rows: int = parameter(
        12,
        "terminal rows",
        "choice: more would push the question off a small screen",
        "of a picture",
    )
    gap_px: int = parameter(3, "px", _LOOKS, "between crops")
    few_boxes: int = parameter(
        3, "boxes", _LOOKS, "in a row of more, crops lose their margins, for larger digits"
    )
    trim_px: int = parameter(4, "px", _LOOKS, "of margin that they lose")
    ink_level: int = parameter(
        150, "grey value", _LOOKS, "below which a pixel is drawn as ink where there are no colours"
    )


REVIEW = ReviewParameters()
"""In force."""
