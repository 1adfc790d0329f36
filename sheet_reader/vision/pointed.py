"""The sheet in a picture that a person points at: are those the corners of the page she means?

Whether corners are plausible is asked here and nowhere else: their shape first, then whether the
page's print lies where they put it. A false place would give values from the wrong boxes.
"""

from __future__ import annotations

import cv2
import numpy as np

from sheet_reader.numbers import VISION
from sheet_reader.reasons import Code, because
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Page, SheetCode
from sheet_reader.vision.arrays import Array, Gray, as_float32, box_corners
from sheet_reader.vision.find import prepared_page
from sheet_reader.vision.findings import POINTED, NoSheet, SheetView
from sheet_reader.vision.flat_page import FlatPage, Pyramid, flatten
from sheet_reader.vision.locate import locate
from sheet_reader.vision.marker_groups import MarkerGroup, MarkerPlan
from sheet_reader.vision.markers import SeenMarker
from sheet_reader.vision.match import match_tiles
from sheet_reader.vision.printed_code import other_sheet
from sheet_reader.vision.surface import Correspondences, fit_surface
from sheet_reader.vision.template import PreparedPage
from sheet_reader.vision.view import build_view


def find_by_corners(
    gray: Gray, page: Page, corners_px: Array, book: LayoutBook
) -> SheetView | NoSheet:
    """The sheet whose paper has these corners: (4, 2) px, clockwise from the printed top left, as a
    person pointed at them, who also says which ``page`` of ``book`` it is; or why it is not there.
    Its markers need not be seen; boxes that are not found in their place are occluded.
    """
    wrong = implausible(corners_px, page, gray.shape)
    if wrong is not None:
        return wrong
    paper = box_corners((0.0, 0.0, page.width_mm, page.height_mm))
    matrix = np.asarray(
        cv2.getPerspectiveTransform(as_float32(paper), as_float32(corners_px)), np.float64
    )
    pyramid, prepared, plan = Pyramid(gray), prepared_page(book, page), MarkerPlan.of(page.markers)
    sd = np.full(4, VISION.locate.pointed_sd_mm)
    start = Correspondences(paper, np.asarray(corners_px, np.float64), sd)
    located = locate(pyramid, prepared, start, fit_surface(prepared.control_grid, matrix, start))
    flat = flatten(pyramid, located.surface, VISION.template.coarse_px_per_mm)
    pages = book.layout(page.code.sheet, page.code.layout).pages
    found_of = {each.code: _print_found(flat, prepared_page(book, each)) for each in pages}
    if found_of[page.code][0] < VISION.pointed.least_print:
        return NoSheet(because(Code.PRINT_NOT_THERE))
    likest = max(found_of, key=lambda code: found_of[code][1])
    printed = other_sheet(pyramid, located.surface, page, book) or likest
    if printed != page.code:
        chosen, found = (_named(code) for code in (page.code, printed))
        return NoSheet(because(Code.PRINT_SAYS, chosen=chosen, found=found))
    markers = tuple(
        SeenMarker(m.id, located.surface.to_px(plan.corners_mm[m.id])) for m in page.markers
    )
    return build_view(pyramid, page, plan, MarkerGroup(0, markers, matrix), located, POINTED)


def implausible(corners_px: Array, page: Page, shape: tuple[int, ...]) -> NoSheet | None:
    """Why corners (4, 2) can't be those of the paper of ``page``, clockwise from its printed top
    left, in a picture of ``shape`` (H, W); None where they can.
    """
    own = VISION.pointed
    corners, size = np.asarray(corners_px, np.float64), np.array(shape[1::-1], np.float64)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        return NoSheet(because(Code.CORNERS_ODD, what="missing"))
    if (corners < -own.margin * size).any() or (corners > (1 + own.margin) * size).any():
        return NoSheet(because(Code.CORNERS_ODD, what="outside"))
    edges = np.roll(corners, -1, axis=0) - corners
    following = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    if not (turns > 0).all():
        return NoSheet(because(Code.CORNERS_ODD, what="mirrored" if (turns < 0).all() else "bent"))
    lengths = np.linalg.norm(edges, axis=1)
    area = float(cv2.contourArea(as_float32(corners)))
    if lengths.min() < own.least_edge_px or area < own.least_area * float(size.prod()):
        return NoSheet(because(Code.CORNERS_ODD, what="small"))
    # Seen at an angle, a page is foreshortened along one of its sides, and its far edge is shorter.
    across, down = lengths[0] + lengths[2], lengths[1] + lengths[3]
    stretch = (across / down) / (page.width_mm / page.height_mm)
    unlike = max(max(a / b, b / a) for a, b in (lengths[[0, 2]], lengths[[1, 3]]))
    if max(stretch, 1 / stretch) > own.most_stretch or unlike > own.most_unlike:
        return NoSheet(because(Code.CORNERS_ODD, what="shape"))
    return None


def _print_found(flat: FlatPage, prepared: PreparedPage) -> tuple[float, float]:
    """Share of the tiles of the printed page, of those in the picture, that lie in their place, and
    their mean correlation. Frames of boxes alone would not tell: a row further down they fit, too.
    """
    inside = np.flatnonzero(flat.seen(prepared.tile_centres))
    tiles = [prepared.tiles[i] for i in inside]
    radius = np.full(len(tiles), VISION.pointed.print_off_mm)
    match = match_tiles(flat.ink(VISION.template.soften_px), tiles, radius, flat.px_per_mm)
    found = (match.score > VISION.locate.tile_score) & ~match.edge
    return (float(found.mean()), float(match.score.mean())) if len(tiles) else (0.0, 0.0)


def _named(code: SheetCode) -> str:
    whose = "a blank sheet" if code.sheet == BLANK else f"site {code.sheet}"
    return f"{whose}, page {code.page}"
