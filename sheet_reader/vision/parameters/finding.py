"""Thresholds of finding markers and telling whose sheet it is."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import SIMULATED, UNTRIED, parameter


@dataclass(frozen=True, slots=True)
class MarkerParameters:
    """Of ``markers.py``."""

    correction: float = parameter(
        0.4,
        "share",
        "choice: two bits of 36h11, far from its distance of 11",
        "wrong bits accepted, of those that the dictionary could correct",
    )
    opencv_correction: float = parameter(
        0.6,
        "share",
        "standard: OpenCV's DetectorParameters default",
        "the same for markers of other dictionaries",
    )
    modules: int = parameter(
        8,
        "modules",
        "standard: AprilTag 36h11, six modules and a border of one",
        "side of a marker",
    )
    near_scale: float = parameter(
        1.2, "ratio", UNTRIED, "a picture larger than wanted by up to this is not resampled"
    )
    fast_px: int = parameter(
        1200,
        "px",
        "measured: 98 % of the markers that 1600 px shows, in two thirds of the time",
        "long side of the picture in fast detection",
    )


@dataclass(frozen=True, slots=True)
class SeekParameters:
    """Of ``seek.py``."""

    side_px: int = parameter(48, "px", UNTRIED, "size at which a missing marker is sought")
    margin: float = parameter(0.8, "marker sides", UNTRIED, "searched around its expected place")
    enough: int = parameter(
        7,
        "markers",
        "choice: with so many the print between them does better than one more",
        "no further marker is sought",
    )


@dataclass(frozen=True, slots=True)
class GroupingParameters:
    """Of ``grouping.py``."""

    tolerance: float = parameter(
        0.045,
        "page diagonals",
        "measured: curl of 9 mm seen at 35 degrees moves a marker by about 8 mm",
        "distance of a marker from where the plane puts it",
    )
    size_range: tuple[float, float] = parameter(
        (0.6, 1.6), "ratio", UNTRIED, "size of a marker against the plane's"
    )
    most_pairs: int = parameter(
        220,
        "pairs",
        "choice: bounds the time on a desk full of markers",
        "pairs from which a group is grown",
    )


@dataclass(frozen=True, slots=True)
class FindParameters:
    """Of ``find.py``."""

    enough_markers: int = parameter(
        4, "markers", SIMULATED, "a group with fewer calls for exhaustive detection"
    )
    most_layouts: int = parameter(
        4, "layouts", UNTRIED, "so many prints are tried, newest first, to find a spoilt code"
    )


@dataclass(frozen=True, slots=True)
class PointedParameters:
    """Of ``pointed.py``."""

    margin: float = parameter(
        0.1, "share", UNTRIED, "of the picture's width or height that a corner may lie beyond it"
    )
    least_edge_px: float = parameter(200.0, "px", UNTRIED, "shortest edge of a page")
    least_area: float = parameter(
        0.03, "share", UNTRIED, "of the picture that a page fills; ten sheets at once have 0.05"
    )
    most_stretch: float = parameter(
        1.75,
        "ratio",
        "choice: a page seen at 55 degrees; pointed at from a wrong corner A4 has 2.0, Letter 1.67",
        "width to height against that of the page",
    )
    most_unlike: float = parameter(2.5, "ratio", UNTRIED, "length of two opposite edges")
    print_off_mm: float = parameter(1.0, "mm", UNTRIED, "how far a tile may lie from its place")
    least_print: float = parameter(
        0.7,
        "share",
        "measured: corners up to 3 mm off give 0.76 to 1.00, 5 mm off 0.54 to 0.87; another row, a "
        "part of the page, upside down, another study, no sheet 0.00 to 0.33",
        "of the page's tiles that must lie where the corners put them",
    )


@dataclass(frozen=True, slots=True)
class IdentifyParameters:
    """Of ``identify.py``."""

    anywhere_px: int = parameter(
        2000, "px", UNTRIED, "long side of the picture in which a code is sought without markers"
    )
    least_focus: float = parameter(
        6.0,
        "grey values",
        SIMULATED,
        "98th percentile of the Laplacian below which a picture is called blurred",
    )


@dataclass(frozen=True, slots=True)
class CodeParameters:
    """Of ``codes.py``."""

    machine_scales: tuple[float, ...] = parameter(
        (8.0, 5.0, 12.0), "px/mm", UNTRIED, "scales at which the machine code is tried"
    )
    quiet_mm: float = parameter(
        1.5,
        "mm",
        UNTRIED,
        "shown around the code",
    )
    longest_text: int = parameter(
        200, "characters", "choice: our texts have under 40", "longer ones are not ours"
    )


@dataclass(frozen=True, slots=True)
class ModuleParameters:
    """Of ``modules.py``."""

    px_per_module: int = parameter(6, "px", UNTRIED, "sampling of the code")
    search_px: int = parameter(4, "px", UNTRIED, "search radius for the code as a whole")
    local_modules: int = parameter(
        9, "modules", UNTRIED, "neighbourhood that a module is compared with"
    )
    least_agreement: float = parameter(
        0.82,
        "share",
        "choice: any other code agrees in little more than half",
        "modules that must agree",
    )
    least_margin: float = parameter(
        0.10,
        "share",
        "choice: three standard deviations of chance at 200 modules",
        "distance to the next code",
    )
    least_seen: int = parameter(
        200,
        "modules",
        "choice: fewer do not tell one code from another surely enough",
        "modules that must be seen",
    )


@dataclass(frozen=True, slots=True)
class PrintedParameters:
    """Of ``printed.py``."""

    scales: tuple[float, ...] = parameter(
        (12.0, 8.0), "px/mm", UNTRIED, "scales at which the printed code is tried"
    )
    side_mm: float = parameter(1.0, "mm", UNTRIED, "shown beside the printed code")
    head_mm: float = parameter(0.6, "mm", UNTRIED, "shown above and below it")
    padding_px: int = parameter(
        24, "px", UNTRIED, "blank rim around the text, which Tesseract wants"
    )
    most_wrong: int = parameter(
        2,
        "signs",
        "choice: the check character must fit besides",
        "misread signs of a code of the study",
    )
    least_likeness: float = parameter(0.35, "correlation", UNTRIED, "of each sign with its print")
    far_below: float = parameter(
        0.30, "correlation", UNTRIED, "a sign so far below the others' median is another one"
    )
    slide_px: int = parameter(5, "px", UNTRIED, "search radius of the print")


@dataclass(frozen=True, slots=True)
class OtherPrintParameters:
    """Of ``other_print.py``."""

    px_per_mm: float = parameter(10.0, "px/mm", UNTRIED, "scale of the comparison")
    slide_mm: float = parameter(0.5, "mm", UNTRIED, "search radius of a sign")
    soften_px: float = parameter(
        2.0, "px", UNTRIED, "standard deviation of the softening of the print"
    )
    least_likeness: float = parameter(
        0.75,
        "correlation",
        "measured: 40 typical and 40 hard photographs, seeds 79 and 78 million",
        "mean correlation of the differing signs with the other sheet's",
    )
    least_margin: float = parameter(
        0.15,
        "correlation",
        "measured: there no other sheet came nearer than -0.14 where print could be seen, pasted "
        "codes lay at +0.2 or more",
        "how far above that with the own sheet's",
    )
    fewest_signs: int = parameter(
        2, "signs", "choice: one sign may be a smudge", "signs that must differ"
    )
    more_signs: int = parameter(
        4,
        "signs",
        UNTRIED,
        "by which another sheet's line may be longer; what is longer still is not compared",
    )
