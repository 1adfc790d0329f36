"""Thresholds of the paper's shape: from markers to every box."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import SIMULATED, UNTRIED, parameter


@dataclass(frozen=True, slots=True)
class SurfaceParameters:
    """Of ``surface.py``."""

    knot_mm: float = parameter(32.0, "mm", SIMULATED, "spacing of the spline's knots")
    curvature_per_mm: float = parameter(
        1.2e-3,
        "1/mm",
        "measured: 9 mm of curl over a sheet's height, seen at 35 degrees, come to about this",
        "prior standard deviation of the displacement's second derivatives",
    )
    affine_sd_mm: float = parameter(
        30.0,
        "mm",
        "choice: so weak that it only keeps the matrix invertible",
        "prior standard deviation of the whole displacement",
    )


@dataclass(frozen=True, slots=True)
class TemplateParameters:
    """Of ``template.py``."""

    coarse_px_per_mm: float = parameter(
        2.5, "px/mm", SIMULATED, "scale at which large tiles are matched"
    )
    fine_px_per_mm: float = parameter(
        5.0, "px/mm", SIMULATED, "scale at which the boxes are matched"
    )
    raster_px_per_mm: float = parameter(
        10.0,
        "px/mm",
        UNTRIED,
        "scale of the raster from which templates are made",
    )
    soften_px: float = parameter(
        0.9,
        "px",
        "choice: print and picture are softened alike, so that the top of the correlation is round",
        "standard deviation of that softening",
    )
    tile_mm: float = parameter(24.0, "mm", SIMULATED, "side of a tile of the page")
    tile_step_mm: float = parameter(
        23.0, "mm", "choice: neighbouring tiles just overlap", "largest distance of two tiles"
    )
    around_box_mm: float = parameter(2.6, "mm", UNTRIED, "shown around a box in its tile")
    frame_mm: float = parameter(
        0.7,
        "mm",
        UNTRIED,
        "rim of a box that belongs to its frame",
    )
    least_structure: float = parameter(
        0.012, "share of black", UNTRIED, "a tile with less contrast is left out"
    )
    least_slope: float = parameter(
        1.0, "share of black, squared", UNTRIED, "smaller eigenvalue of a tile's structure tensor"
    )


@dataclass(frozen=True, slots=True)
class MatchParameters:
    """Of ``match.py``."""

    peaks_apart_mm: float = parameter(
        1.6, "mm", UNTRIED, "a second peak nearer than this is the same peak"
    )
    steps: int = parameter(4, "steps", UNTRIED, "of Lucas and Kanade's iteration")
    outlier: float = parameter(
        0.25, "share of the print's contrast", SIMULATED, "pixels off by more weigh less"
    )


@dataclass(frozen=True, slots=True)
class FlattenParameters:
    """Of ``flatten.py``."""

    level_mm: float = parameter(
        12.0,
        "mm",
        "choice: larger than a filled box, so that a struck box does not pass for paper",
        "side of the square whose closing gives the paper",
    )
    grid_mm: float = parameter(
        2.0,
        "mm",
        UNTRIED,
        "distance of the nodes through which a page is sampled",
    )


@dataclass(frozen=True, slots=True)
class LocateParameters:
    """Of ``locate.py``."""

    marker_sd_mm: float = parameter(
        0.08, "mm", SIMULATED, "standard deviation of a marker's corner"
    )
    pointed_sd_mm: float = parameter(
        1.5,
        "mm",
        "choice: a corner of the paper as a person points at it, no source",
        "standard deviation of a corner of the page",
    )
    tile_sd_mm: float = parameter(
        0.15, "mm", SIMULATED, "standard deviation of a tile matched perfectly"
    )
    box_sd_mm: float = parameter(
        0.05, "mm", SIMULATED, "standard deviation of a frame matched perfectly"
    )
    most_search_mm: float = parameter(
        6.0,
        "mm",
        UNTRIED,
        "largest search radius of a tile",
    )
    tile_score: float = parameter(0.40, "correlation", SIMULATED, "a tile below it is not believed")
    tile_second_peak: float = parameter(
        0.85, "ratio", SIMULATED, "a tile whose second peak is higher is ambiguous"
    )
    box_score: float = parameter(0.45, "correlation", SIMULATED, "a frame below it is not believed")
    fewest_boxes: int = parameter(
        4,
        "boxes",
        "choice: a plane has eight unknowns, four boxes give as many equations",
        "below it no finer surface is fitted",
    )
    fast_score: float = parameter(
        0.75, "correlation", SIMULATED, "a frame found so well by small steps is not searched for"
    )
    clear_score: float = parameter(
        0.65, "correlation", SIMULATED, "a frame above it is believed further from the surface"
    )
    far_mm: float = parameter(
        1.5,
        "mm",
        "standard: the sheet's boxes stand 9 mm apart, so it cannot be the neighbour",
        "how far that is",
    )
    fine_knot_mm: float = parameter(22.0, "mm", SIMULATED, "knots of the surface through the boxes")
    fine_curvature_per_mm: float = parameter(
        3e-3, "1/mm", SIMULATED, "its prior standard deviation of second derivatives"
    )
    rounds: int = parameter(5, "rounds", UNTRIED, "of growing the coarse surface")
    sure_mm: float = parameter(0.35, "mm", SIMULATED, "a surface this exact needs no further tiles")
    search_sds: float = parameter(
        2.5, "standard deviations", UNTRIED, "search radius by the surface's own error"
    )
    tile_search_more_mm: float = parameter(0.6, "mm", UNTRIED, "added to a tile's search radius")
    tile_least_search_mm: float = parameter(0.9, "mm", UNTRIED, "smallest search radius of a tile")
    box_search_more_mm: float = parameter(0.4, "mm", UNTRIED, "added to a box's search radius")
    box_search_range_mm: tuple[float, float] = parameter(
        (0.6, 1.6), "mm", UNTRIED, "smallest and largest search radius of a box"
    )
    around_boxes_mm: float = parameter(
        18.0,
        "mm",
        "choice: half a box, its surroundings and the largest search, twice",
        "around the middles of all boxes, in which they are sought",
    )
    near_mm: float = parameter(0.25, "mm", SIMULATED, "a frame is believed within this")
    near_sds: float = parameter(
        3.0, "standard deviations", SIMULATED, "and so much of the surface's own error"
    )
    error_mm: float = parameter(
        0.035, "mm", SIMULATED, "error of a frame matched perfectly where it was expected"
    )
    error_by_score_mm: float = parameter(0.14, "mm", SIMULATED, "error added at a correlation of 0")
    error_by_offset: float = parameter(
        0.15, "share", SIMULATED, "error added by the distance from the surface"
    )
