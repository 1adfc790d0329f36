"""The printed page measured in pixels: sizes, markers, boxes and codes at their mm."""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp
from numpy.typing import NDArray

from sheet_reader.sheet.identity import dictionary, machine_text
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.page import Page
from sheet_reader.sheet.pdf import rasterise, render_pdf
from sheet_reader.study.study import Study

PX = 20.0
TOLERANCE_MM = 0.05
Picture = NDArray[np.uint8]


@pytest.fixture(scope="module")
def printed(sample: Study) -> list[tuple[Page, Picture]]:
    layout = lay_out(sample)
    pdf = render_pdf(layout, sample)
    return [(page, rasterise(pdf, page.number, PX)) for page in layout.pages]


def _dark(picture: Picture, box: tuple[float, float, float, float]) -> Picture:
    """How black (0..1) the pixels of a box in mm (left, top, right, bottom) are."""
    left, top, right, bottom = (round(v * PX) for v in box)
    return 1.0 - picture[top:bottom, left:right] / 255.0


def test_page_sizes_against_the_standards(sample: Study) -> None:
    # ISO 216: A4 is 210 mm × 297 mm; ANSI/ASME Y14.1: size A is 8.5 in × 11 in
    expected = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}[sample.paper]
    layout = lay_out(sample)
    document = pdfium.PdfDocument(render_pdf(layout, sample))
    sizes = [tuple(v / 72 * 25.4 for v in document[i].get_size()) for i in range(len(document))]
    document.close()
    assert len(sizes) == len(layout.pages)
    for size, page in zip(sizes, layout.pages, strict=True):
        assert size == pytest.approx(expected, abs=0.01)
        assert (page.width_mm, page.height_mm) == pytest.approx(expected)


@pytest.mark.parametrize("px_per_mm", [4.0, 7.3, 300 / 25.4])
def test_raster_has_exactly_the_size_asked_for(sample: Study, px_per_mm: float) -> None:
    layout = lay_out(sample)
    picture = rasterise(render_pdf(layout, sample), 1, px_per_mm)
    page = layout.pages[0]
    assert picture.dtype == np.uint8
    assert picture.shape == (round(page.height_mm * px_per_mm), round(page.width_mm * px_per_mm))
    assert picture[0, 0] == 255
    assert picture.min() == 0


def test_markers_lie_where_the_geometry_says(printed: list[tuple[Page, Picture]]) -> None:
    for page, picture in printed:
        for marker in page.markers:
            (x0, y0), _, (x1, y1), _ = marker.corners_mm
            margin = 1.2
            dark = _dark(picture, (x0 - margin, y0 - margin, x1 + margin, y1 + margin))
            # the border is black: each edge's place is where the darkness adds up to
            columns, rows = dark[:, :].max(axis=0), dark.max(axis=1)
            left = round((x0 - margin) * PX) / PX
            top = round((y0 - margin) * PX) / PX
            half = len(columns) // 2
            assert left + (half - columns[:half].sum()) / PX == pytest.approx(x0, abs=TOLERANCE_MM)
            assert left + (half + columns[half:].sum()) / PX == pytest.approx(x1, abs=TOLERANCE_MM)
            half = len(rows) // 2
            assert top + (half - rows[:half].sum()) / PX == pytest.approx(y0, abs=TOLERANCE_MM)
            assert top + (half + rows[half:].sum()) / PX == pytest.approx(y1, abs=TOLERANCE_MM)


def test_opencv_decodes_each_marker_at_its_id_and_place(
    printed: list[tuple[Page, Picture]],
) -> None:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(dictionary(), parameters)
    for page, picture in printed:
        small = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        corners, ids, _ = detector.detectMarkers(small)
        found = {
            int(i): (c.reshape(4, 2) + 0.5) / (PX / 2)
            for i, c in zip(ids.ravel(), corners, strict=True)
        }
        assert sorted(found) == sorted(m.id for m in page.markers)
        for marker in page.markers:
            assert np.abs(found[marker.id] - np.array(marker.corners_mm)).max() < 0.12


def test_frames_of_the_boxes_lie_where_the_geometry_says(
    printed: list[tuple[Page, Picture]],
) -> None:
    for page, picture in printed:
        for cell in page.cells:
            x, y, width, height = cell.box_mm
            for edge, along in ((x, "x"), (x + width, "x"), (y, "y"), (y + height, "y")):
                if along == "x":
                    dark = _dark(picture, (edge - 0.5, y + 0.3, edge + 0.5, y + 1.3)).mean(axis=0)
                else:
                    dark = _dark(picture, (x + 0.3, edge - 0.5, x + 1.3, edge + 0.5)).mean(axis=1)
                centre = (np.arange(len(dark)) + 0.5) @ dark / dark.sum() / PX
                place = round((edge - 0.5) * PX) / PX + centre
                assert place == pytest.approx(edge, abs=TOLERANCE_MM)


def test_inside_and_around_a_box_the_paper_is_white(printed: list[tuple[Page, Picture]]) -> None:
    for page, picture in printed:
        for cell in page.cells:
            x, y, width, height = cell.box_mm
            inner = _dark(picture, (x + 0.25, y + 0.25, x + width - 0.25, y + height - 0.25))
            assert inner.max() == 0
            for ring in (0.3, 0.7, 1.0, 1.2):
                outer = _dark(picture, (x - ring, y - ring, x + width + ring, y + height + ring))
                edge = np.r_[outer[0], outer[-1], outer[:, 0], outer[:, -1]]
                assert edge.max() == 0


def test_nothing_is_grey(sample: Study) -> None:
    pdf = render_pdf(lay_out(sample), sample)
    page = rasterise(pdf, 1, 40.0)
    # only anti-aliased edges (and notches of letters) lie between black and white
    grey = ((page > 40) & (page < 215)).mean()
    assert grey < 0.01
    solid = cv2.erode((page < 215).astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    assert (page[solid] >= 40).mean() < 1e-5


def test_machine_code_reads_with_two_libraries(printed: list[tuple[Page, Picture]]) -> None:
    for page, picture in printed:
        small = cv2.resize(picture, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
        codes = zxingcpp.read_barcodes(small)
        assert [code.text for code in codes] == [machine_text(page.code)]
        x, y, width, height = page.code_box_mm
        corner = codes[0].position.top_left
        assert (corner.x / (PX * 0.4), corner.y / (PX * 0.4)) == pytest.approx((x, y), abs=0.4)
        # OpenCV's reader gives up on some patterns at some scales, so it may try three
        sizes = [cv2.resize(small, None, fx=f, fy=f) for f in (1.0, 0.75, 1.25)]
        found = {cv2.QRCodeDetector().detectAndDecode(size)[0] for size in sizes}
        assert found - {""} == {machine_text(page.code)}
        quiet = _dark(picture, (x - 3.2, y - 3.2, x + width + 3.2, y + height + 3.2))
        quiet[64 : 64 + round(height * PX), 64 : 64 + round(width * PX)] = 0
        assert quiet.max() < 0.6, "ISO/IEC 18004 asks for four white modules around the code"


def test_same_bytes_every_time(sample: Study) -> None:
    layout = lay_out(sample)
    assert render_pdf(layout, sample) == render_pdf(lay_out(sample), sample)


def test_pdf_is_vector_and_carries_its_typeface(sample: Study) -> None:
    pdf = render_pdf(lay_out(sample), sample)
    assert b"/Subtype /Image" not in pdf
    assert b"/FontFile2" in pdf
    assert len(pdf) < 150_000


def test_layout_of_another_study_is_refused(beans: Study, pools: Study) -> None:
    with pytest.raises(ValueError, match="another study"):
        render_pdf(lay_out(pools), beans)
