"""Numbers that are alike at every level, with unit and origin; the ranges by level are in
``levels.py``. Colours, and shapes drawn by hand, stay beside what draws them."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_GUESS = "choice: our guess (common practice, no source)"
_NUMERICS = "choice: numerics, finer changes nothing that can be seen"


@dataclass(frozen=True, slots=True)
class SimulateParameters:
    """All of the room but its levels, in the order of its modules."""

    glare_contrast: float = parameter(
        0.2, "share of paper", _GUESS, "ink that keeps less contrast is lost in glare"
    )
    text_px_per_mm: float = parameter(8.0, "px/mm", _NUMERICS, "scale of pages of other print")
    screen_lines_per_mm: float = parameter(
        4.2,
        "1/mm",
        "choice: about 106 lines per inch, common practice of office lasers",
        "of a halftone",
    )
    wrong_sum_share: float = parameter(
        0.03, "share of totals", _GUESS, "that a volunteer adds wrongly"
    )
    unit_mm: float = parameter(9.5, "mm", "standard: the pens' unit box", "side of a digit's box")
    stroke_widths_mm: tuple[float, float] = parameter(
        (0.4, 0.9), "mm", _GUESS, "thinnest and widest stroke"
    )
    pale_pressures: tuple[float, float] = parameter(
        (0.45, 1.1), "ratio", _GUESS, "darkness of one digit to that of its pale pencil"
    )
    behind_shift_mm: float = parameter(
        60.0, "mm", _GUESS, "most that the page behind lies to the side of the front"
    )
    known_well: int = parameter(60, "samples", _GUESS, "till which a person's chance grows")
    lean: float = parameter(0.04, "share", _GUESS, "standard deviation of a sample's slant, dx/dy")
    widen: float = parameter(0.04, "share", _GUESS, "standard deviation of a sample's log width")
    oversampling: int = parameter(4, "ratio", _NUMERICS, "of a drawn stroke")
    mapping_rounds: int = parameter(
        40, "rounds", _NUMERICS, "of the fixed point from pixel to paper"
    )
    mapping_enough_mm: float = parameter(2e-3, "mm", _NUMERICS, "change at which it is settled")
    canvas_boxes: float = parameter(1.6, "boxes", _GUESS, "canvas of a digit that goes astray")
    arc_step_mm: float = parameter(0.5, "mm", _NUMERICS, "of the tables of a bend")
    arc_reach_mm: float = parameter(
        420.0, "mm", "standard: more than the diagonal of A4", "length of the tables to either side"
    )
    bump_step_mm: float = parameter(2.0, "mm", _NUMERICS, "of the grid of bumps")
    crease_radius_mm: float = parameter(0.8, "mm", _GUESS, "of paper at a fold")
    crease_relax_mm: tuple[float, float] = parameter(
        (18.0, 40.0), "mm", _GUESS, "over which folded paper lies down again"
    )
    crease_points: int = parameter(60, "points", _NUMERICS, "of a rubbed line")
    desk_px_per_mm: float = parameter(2.0, "px/mm", _NUMERICS, "scale of the desk")
    desk_px: int = parameter(1024, "px", _NUMERICS, "side of a tile of the desk")
    bare_share: float = parameter(0.05, "share of pictures", _GUESS, "without a sheet of the study")
    scanner_far_mm: float = parameter(
        1e6, "mm", _NUMERICS, "distance of a camera with parallel rays"
    )
    print_px_per_mm: float = parameter(12.0, "px/mm", _NUMERICS, "scale of the printed page")
    print_detail: float = parameter(
        1.25, "ratio", _NUMERICS, "the printed page's scale to the finest that a picture can show"
    )
    paper_long_mm: float = parameter(297.0, "mm", "standard: ISO 216, A4", "longest side of paper")
    blank_share: float = parameter(0.4, "share of sheets", _GUESS, "without a printed site number")
    other_paper_share: float = parameter(
        0.1, "share of sheets", _GUESS, "printed on the other paper size"
    )
    gamma: float = parameter(
        1 / 2.2,
        "power",
        "standard: display gamma of 2.2, near to sRGB's",
        "from light to grey values",
    )


SIMULATE = SimulateParameters()
"""In force."""
