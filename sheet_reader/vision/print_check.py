"""A photograph of the page that checks printer and paper: will prints like this one be read?"""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, Occlusion, because
from sheet_reader.sheet.identity import PAPER_MM
from sheet_reader.sheet.proof import draw_proof, render_proof
from sheet_reader.sheet.raster import rasterise
from sheet_reader.study.model import Study
from sheet_reader.vision.arrays import as_gray
from sheet_reader.vision.flatten import Pyramid
from sheet_reader.vision.grouping import Group, MarkerPlan
from sheet_reader.vision.locate import locate
from sheet_reader.vision.paper_edges import paper_edges
from sheet_reader.vision.surface import Correspondences, Surface
from sheet_reader.vision.template import PreparedPage, prepare
from sheet_reader.vision.types import NoSheet, SheetView
from sheet_reader.vision.view import build_view

LEAST_SCALE, MOST_SCALE = VISION.print_check.least_scale, VISION.print_check.most_scale
"""The README promises 90 to 100 %; the edges of the paper are found to about one per cent."""
_MOST_STRETCH = VISION.print_check.most_stretch
LEAST_CONTRAST = VISION.quality.least_contrast
"""As for photographs of sheets (``vision/quality.py``)."""


@dataclass(frozen=True, slots=True)
class PrintSeen:
    """What a photograph of the page shows: ``scale`` along x and y (None where the paper's edges
    can't be seen) on ``paper``, ``contrast`` of the markers (0..1), ``markers`` seen ``of`` all,
    ``lost`` boxes whose printed frame is missing, and ``advice`` where the photograph is at fault.
    """

    scale: tuple[float, float] | None
    paper: str
    contrast: float
    markers: int
    of: int
    lost: int
    advice: str = ""


def check_print(
    pyramid: Pyramid,
    plan: MarkerPlan,
    group: Group,
    start: Correspondences,
    first: Surface,
    study: Study,
) -> NoSheet:
    """The result for a photograph in which this page was found; not a sheet, whatever it is."""
    prepared = _prepared(study)
    page = prepared.page
    located = locate(pyramid, prepared, start, first)
    view = build_view(pyramid, page, plan, group, located, "machine code")
    size = page.width_mm, page.height_mm
    edges = paper_edges(pyramid, located.surface, size)
    paper: str = study.paper
    scale = None
    if edges is not None:
        found = {name: edges.scale(size, mm) for name, mm in PAPER_MM.items()}
        own = found[paper]
        paper = min(found, key=lambda name: abs(float(found[name][0] / found[name][1]) - 1))
        paper = paper if abs(own[0] / own[1] - 1) > _MOST_STRETCH else study.paper
        scale = float(found[paper][0]), float(found[paper][1])
    seen = PrintSeen(
        scale, paper, view.quality.contrast, len(group.markers), len(page.markers), _lost(view),
        _fault_of_the_photo(view),
    )  # fmt: skip
    return NoSheet(because(Code.PRINT_CHECK, text=verdict(seen, study.paper)))


def _prepared(study: Study) -> PreparedPage:
    raster = as_gray(rasterise(render_proof(study), 1, VISION.template.raster_px_per_mm))
    return prepare(draw_proof(study).page, raster)


def _lost(view: SheetView) -> int:
    return sum(box.occluded is Occlusion.NO_FRAME for box in view.boxes)


def _fault_of_the_photo(view: SheetView) -> str:
    """The advice for a better photograph; "" where what is wrong may be the print."""
    dark = view.quality.contrast < LEAST_CONTRAST
    return "" if dark or _lost(view) else view.quality.advice


def verdict(seen: PrintSeen, paper: str) -> str:
    """The result in one line, for a study on this ``paper``."""
    if seen.advice:
        return f"this photograph can't tell. {seen.advice}"
    wrong = [*_of_scale(seen, paper), *_of_print(seen)]
    if wrong:
        return f"not fine: {'; '.join(wrong)}."
    good = f"contrast {seen.contrast:.2f}, all {seen.of} corner marks and all boxes are seen"
    if seen.scale is None:
        return (
            f"{good}; the scale can't be told, as not all edges of the paper are seen: photograph "
            "the whole page on a darker table."
        )
    return f"fine: printed at {_percent(*seen.scale)}, {good}."


def _of_scale(seen: PrintSeen, paper: str) -> list[str]:
    if seen.scale is None:
        return []
    across, down = seen.scale
    wrong = []
    if abs(across / down - 1) > _MOST_STRETCH:
        sides = f"{_percent(across)} across but {_percent(down)} down"
        wrong.append(f"printed at {sides}: both must be alike")
    elif not LEAST_SCALE <= (across + down) / 2 <= MOST_SCALE:
        wrong.append(
            f"printed at {_percent(across, down)}: choose 100 % (“actual size”) when you print"
        )
    if seen.paper != paper:
        wrong.append(f"the paper is {seen.paper}, but study.toml says {paper}")
    return wrong


def _of_print(seen: PrintSeen) -> list[str]:
    wrong = []
    if seen.contrast < LEAST_CONTRAST:
        wrong.append(
            f"the contrast is {seen.contrast:.2f}, less than {LEAST_CONTRAST}: print darker, or "
            "find more light"
        )
    if seen.markers < seen.of:
        wrong.append(
            f"{seen.of - seen.markers} of {seen.of} corner marks are not seen: they must be black, "
            "whole and inside the picture"
        )
    if seen.lost:
        wrong.append(f"the frames of {seen.lost} boxes are not seen: the fine lines must print")
    return wrong


def _percent(*scales: float) -> str:
    return f"{100 * sum(scales) / len(scales):.0f} %"
