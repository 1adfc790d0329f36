"""Thresholds of what leaves the room: crops, what occludes them, quality."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import SIMULATED, UNTRIED, parameter


@dataclass(frozen=True, slots=True)
class CropParameters:
    """Of ``crops.py``."""

    paper: float = parameter(
        245.0,
        "grey value",
        "choice: just under white, so that noise is not cut off",
        "blank paper in a crop",
    )
    ink: float = parameter(
        0.30, "share of paper", UNTRIED, "darker by as much is ink of a neighbour"
    )
    ink_inset_mm: float = parameter(
        0.7,
        "mm",
        UNTRIED,
        "rim of the box where ink is not measured",
    )
    faintest: float = parameter(0.10, "share of paper", SIMULATED, "least depth of ink in a box")
    darkest_ground: int = parameter(
        208, "grey value", UNTRIED, "a box without ground as light as this is filled in"
    )
    mad: float = parameter(
        0.6745,
        "standard deviations",
        "standard: median absolute deviation of the normal distribution",
        "turns a median deviation into a standard deviation",
    )


@dataclass(frozen=True, slots=True)
class BoxInkParameters:
    """Of ``box_ink.py``, ``bands.py`` and ``tally_ink.py``."""

    directions: int = parameter(12, "directions", UNTRIED, "of the line filters")
    filter_reach_px: int = parameter(6, "px of half a crop", UNTRIED, "to either side")
    line_sd_px: float = parameter(
        1.0, "px of half a crop", UNTRIED, "standard deviation across: a pen's line"
    )
    line_px: float = parameter(9.0, "px of half a crop", UNTRIED, "length along: some 3 mm")
    usual_crop_mm: float = parameter(
        10.75, "mm", "choice: the mean side of a crop of a box 8 by 9.5 mm", "scale of the filters"
    )
    inset_mm: float = parameter(0.6, "mm", UNTRIED, "rim of the box that the filters leave out")
    faintest: float = parameter(
        0.10, "share of paper", UNTRIED, "least depth of ink that leaves its box"
    )
    leaving_share: float = parameter(
        0.4, "share of the box's stroke", UNTRIED, "least depth of ink that leaves its box"
    )
    frame_mm: float = parameter(0.35, "mm", UNTRIED, "to either side of the frame's middle line")
    slant_px: int = parameter(5, "px", UNTRIED, "by which a stroke may slant across the frame")
    least_px: int = parameter(2, "px", UNTRIED, "of a column that is ink beyond the frame")
    band: float = parameter(
        0.06, "share of paper", UNTRIED, "least depth of a band of shade that is levelled out"
    )
    bare_percentile: float = parameter(
        80.0, "percent", UNTRIED, "of a row's pixels in the box: bare paper beside a digit's ink"
    )
    band_sd_px: float = parameter(1.5, "px", UNTRIED, "over which the light of rows is smoothed")
    darkest_band: float = parameter(0.5, "share of paper", UNTRIED, "darker is no shade")
    widest_line_mm: float = parameter(
        1.3, "mm", "choice: wider than a pen's line with its blur", "darker rows so few are a line"
    )
    shade_share: float = parameter(
        0.5, "share of the depth", UNTRIED, "that is left of a shade without all narrow lines"
    )
    gap_left_mm: float = parameter(
        0.4, "mm", UNTRIED, "clear of the corner marks of the tally space"
    )
    gap_right_mm: float = parameter(
        0.5, "mm", UNTRIED, "clear of the box: a digit may reach so far over its frame"
    )
    edge_px: int = parameter(12, "px", UNTRIED, "of a crop that hold one side of the frame")
    edge_slant_px: int = parameter(
        6, "px", UNTRIED, "by which a tally stroke may slant over a crop's height"
    )
    edge_ends_px: int = parameter(
        14, "px", UNTRIED, "of a crop's height at either end that a tally stroke need not reach"
    )


@dataclass(frozen=True, slots=True)
class QualityParameters:
    """Of ``quality.py``."""

    saturated: int = parameter(250, "grey value", UNTRIED, "from here a place counts as burnt out")
    profile_mm: float = parameter(
        1.1, "mm", UNTRIED, "half length of the profiles across a marker's edges"
    )
    samples: int = parameter(45, "samples", UNTRIED, "on a profile")
    profiles: int = parameter(5, "profiles", UNTRIED, "per edge")
    unknown_blur_mm: float = parameter(
        0.5,
        "mm",
        "choice: worse than any blur that is complained about",
        "of a marker without an edge",
    )
    fewest_px_per_mm: float = parameter(4.0, "px/mm", SIMULATED, "below it the sheet is too small")
    most_blur_mm: float = parameter(0.30, "mm", SIMULATED, "above it the picture is called blurred")
    least_contrast: float = parameter(
        0.35, "share of paper", SIMULATED, "below it the light is called poor"
    )
    glare_share: float = parameter(
        0.04, "share of the page", SIMULATED, "above it a reflection is named"
    )
    most_noise: float = parameter(
        0.07, "share of contrast", SIMULATED, "above it the light is called poor"
    )


@dataclass(frozen=True, slots=True)
class ViewParameters:
    """Of ``view.py``."""

    lost: float = parameter(
        0.12,
        "share of the usual contrast",
        SIMULATED,
        "a corner of a frame below it is not to be seen",
    )
    gone: float = parameter(
        0.03,
        "share of the usual contrast",
        SIMULATED + "; misses in benchmark seed 777",
        "a box with one corner below this",
    )
    torn: float = parameter(
        0.36,
        "share of the usual contrast",
        SIMULATED + "; misses in benchmark seed 777",
        "and another below this is covered in part",
    )
    covered_level: float = parameter(
        0.8, "share of paper", SIMULATED, "ground darker than this is something else than paper"
    )
    paper_radius_mm: float = parameter(
        45.0, "mm", UNTRIED, "boxes within it tell how bright the paper is"
    )


@dataclass(frozen=True, slots=True)
class PrintCheckParameters:
    """Of ``print_check.py`` and ``paper_edges.py``."""

    least_scale: float = parameter(
        0.885,
        "share of true size",
        "choice: 90 % is promised, and edges of paper are found to about 1 %",
        "a smaller print is too small",
    )
    most_scale: float = parameter(
        1.015, "share of true size", "choice: as least_scale, for 100 %", "a larger is too large"
    )
    most_stretch: float = parameter(
        0.02, "share", UNTRIED, "by which the scales across and down may differ"
    )
    inward_mm: float = parameter(7.0, "mm", UNTRIED, "profile inside the paper's edge")
    outward_mm: float = parameter(45.0, "mm", UNTRIED, "profile outside the paper's edge")
    step_mm: float = parameter(0.25, "mm", UNTRIED, "between samples of a profile")
    paper_mm: float = parameter(2.5, "mm", UNTRIED, "start of a profile that is paper")
    lines: int = parameter(48, "profiles", UNTRIED, "along an edge")
    ends: float = parameter(0.08, "share of an edge", UNTRIED, "left out at both ends")
    change: float = parameter(0.12, "share of paper", UNTRIED, "change of light at the edge")
    lasting_mm: float = parameter(1.5, "mm", UNTRIED, "over which the change lasts")
    agree_mm: float = parameter(2.0, "mm", UNTRIED, "within which profiles agree on the edge")
    least_agreeing: float = parameter(0.6, "share of profiles", UNTRIED, "that agree on an edge")
