"""What the laboratory's programs assume and how much they take, with unit and origin; one frozen
object holds it.

Each module binds those that it uses to the names of its formulas. Ranges that are drawn from stand
in the calls that draw; sizes of arrays that modules share (points of a stroke, sides of a bitmap)
and the tables of a standard stay where they are.
"""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_CROP = "standard: a crop of 10.0 mm by 11.5 mm about a box 8 by 9.5 mm, in 64 x 64 px"
_GUESS = "choice: our guess (common practice, no source)"
_LOOKS = "choice: looks well"
_RECIPE = "choice: a fixed recipe, tuned for no set"
_SEEDS = "choice: a range of its own, so that no photograph serves two purposes"
_SPEED = "choice: enough for the figure, and done in bearable time"
_TESSERACT = "choice: Tesseract wants larger letters with a rim (common practice, no source)"
_TRAINED = "choice: the recipe of the training; neighbours were not compared"


@dataclass(frozen=True, slots=True)
class LabParameters:
    """All of the room, in the order of its modules."""

    tesseract_sample: int = parameter(150, "crops", _SPEED, "that Tesseract reads of each set")
    baseline_sample: int = parameter(
        1_000, "crops", _SPEED, "that the other baselines read of each set"
    )
    training_sample: int = parameter(
        4_000, "crops", _SPEED, "of each set that the baselines are trained on"
    )
    tesseract_enlarge: int = parameter(3, "ratio", _TESSERACT, "a crop is enlarged for it")
    tesseract_rim_px: int = parameter(20, "px", _TESSERACT, "of paper around an enlarged crop")
    calibration_seed: int = parameter(
        77_000_000, "seed", _SEEDS, "first one of the photographs that give the checked fields"
    )
    writer_seed: int = parameter(
        84_000_000,
        "seed",
        _SEEDS,
        "first one of the photographs that the writer model is fitted to",
    )
    contact_columns: int = parameter(12, "tiles", _LOOKS, "side by side on a contact sheet")
    contact_tile_px: int = parameter(96, "px", _LOOKS, "side of a crop on a contact sheet")
    contact_text_px: int = parameter(18, "px", _LOOKS, "height of the words under a crop")
    plot_side_px: int = parameter(320, "px", _LOOKS, "side of a reliability plot")
    plot_rim_px: int = parameter(50, "px", _LOOKS, "around a reliability plot")
    reliability_bins: int = parameter(
        15, "bins", "choice: common practice, no source", "of equal width, from 0 to 1"
    )
    profile_long_side_px: int = parameter(
        4_000, "px", "standard: 4,000 by 3,000 is a phone's 12 megapixels", "of profiled photos"
    )
    report_width: int = parameter(44, "characters", _LOOKS, "of the names of figures")
    earlier_visits: int = parameter(3, "visits", _GUESS, "that a made-up past of a site has")
    plain_covered: float = parameter(
        0.02, "share of a box", _GUESS, "above which it is not plainly visible"
    )
    plain_saturated: float = parameter(
        0.05, "share of a box", _GUESS, "above which it is not plainly visible"
    )
    lost_share: float = parameter(
        0.3,
        "share of a box",
        _GUESS,
        "under something from which on it is lost (twice that in glare)",
    )
    sensitivity_factors: tuple[float, ...] = parameter(
        (0.8, 1.2), "ratio", "choice: a fifth lower and higher", "by which a threshold is moved"
    )
    set_ink_px: int = parameter(42, "px", _RECIPE, "longer side of the ink of a clean crop")
    set_paper: float = parameter(235.0, "grey value", _RECIPE, "of the paper of a clean crop")
    set_darkness: float = parameter(0.85, "share of paper", _RECIPE, "of the ink of a clean crop")
    crop_frame_px: tuple[float, ...] = parameter(
        (6.4, 5.57, 57.6, 58.43), "px", _CROP, "left, top, right, bottom of the frame"
    )
    teacher_rate: float = parameter(
        0.5, "ratio", _TRAINED, "the teacher's learning rate to the network's"
    )
    seeds_a_run: int = parameter(
        4, "seeds", "choice: more than a run has parts", "that one run has to itself"
    )
    crossed_share: float = parameter(
        0.55,
        "share of struck boxes",
        _TRAINED,
        "with a digit crossed out; the others are scribbled over",
    )
    candidates_share: float = parameter(
        0.25, "share of boxes", _TRAINED, "of those with several digits that are photographed ones"
    )
    takes: int = parameter(
        2,
        "photographs",
        _SPEED,
        "of each scene, in different light and sharpness: drawing takes longer",
    )
    mild_share: float = parameter(
        0.4, "share of crops", _TRAINED, "that are clear: a plain pen, good light, a sharp camera"
    )
    largest_bitmap_px: float = parameter(
        66.0, "px", "choice: a little more than a crop", "longest side of a digit in a crop"
    )
    crossed_crops: int = parameter(400, "crops", _SPEED, "about, of each group that is measured")
    single_cross: float = parameter(0.28, "share of crosses", _GUESS, "that are one stroke only")
    joined_cross: float = parameter(
        0.08, "share of crosses", _GUESS, "whose strokes are joined by the pen"
    )
    cross_over_box: float = parameter(
        0.6, "share of crosses", _GUESS, "over the whole box, not the digit only"
    )
    cross_same_pen: float = parameter(
        0.8, "share of crosses", _GUESS, "drawn with the digit's own pen"
    )
    taught: float = parameter(0.9, "weight", _TRAINED, "of the teacher's answers against labels")
    softened: float = parameter(
        2.0, "temperature", _TRAINED, "at which the answers of both are compared"
    )
    frame_shares: tuple[float, ...] = parameter(
        (0.40, 0.22, 0.20, 0.10, 0.08),
        "share of crops",
        _GUESS,
        "of the families of frames, in their order",
    )
    own_stretch: float = parameter(
        1.15, "ratio", _CROP, "so much wider than written: 11.5 mm by 10.0 mm in a square"
    )
    cpu_part: int = parameter(
        32, "crops", "choice: bounds memory on a processor", "drawn at a time"
    )
    lesson_hidden: float = parameter(
        0.02, "share of a box", _GUESS, "hidden or in glare from which on it is no lesson"
    )
    digits_a_box: int = parameter(3, "digits", _GUESS, "that stand side by side in one box at most")
    unlifted_share: float = parameter(
        0.07, "share of digits", _GUESS, "written without lifting the pen"
    )
    curled_points: int = parameter(
        6, "points", _GUESS, "at either end of a digit that a curl moves"
    )
    steepest_slash: float = parameter(
        1.15, "ratio", _GUESS, "rise of a slash to its run; a steeper one may be a 1"
    )


LAB = LabParameters()
"""In force."""
