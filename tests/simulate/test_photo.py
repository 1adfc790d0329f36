from __future__ import annotations

import io
import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.habits import NEAT
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.light import Light
from sheet_reader.simulate.mapping import CoarseGrid
from sheet_reader.simulate.photo import FilledSheet, photograph, placed
from sheet_reader.simulate.printer import Paper
from sheet_reader.simulate.scan import scan
from sheet_reader.simulate.sensor import jpeg, oriented
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import filled_sheet, photo_of
from sheet_reader.simulate.thumbs import paint_thumb, random_thumbs
from sheet_reader.simulate.truth import CellTruth, PhotoTruth
from sheet_reader.simulate.values import random_visit


def white_paper() -> Paper:
    return Paper(np.full((594, 420, 3), 250, np.uint8), 2.0)


def test_same_seed_same_file_and_it_decodes(beans: LayoutBook, hands: ProceduralHands) -> None:
    photo = photo_of(beans, hands, "hard", 5)
    assert photo_of(beans, hands, "hard", 5).data == photo.data
    assert photo_of(beans, hands, "hard", 6).data != photo.data
    with Image.open(io.BytesIO(photo.data)) as picture:
        upright = ImageOps.exif_transpose(picture)
        assert upright.size == (photo.truth.width, photo.truth.height)
        assert max(upright.size) in LEVELS["hard"].long_side_px


@pytest.mark.parametrize("tag", range(1, 9))
def test_every_orientation_tag_shows_the_same_upright_picture(tag: int) -> None:
    """Pillow's ``exif_transpose`` as the outside reading of the tag (EXIF 2.32, 0x0112)."""
    upright = np.zeros((60, 80, 3), np.uint8)
    upright[5:20, 5:50] = (250, 40, 40)
    upright[30:55, 60:75] = (40, 250, 250)
    with Image.open(io.BytesIO(jpeg(oriented(upright, tag), 95, tag))) as picture:
        assert picture.getexif().get(0x0112, 1) == tag
        seen = np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))[..., ::-1]
    assert seen.shape == upright.shape
    assert np.mean(np.abs(seen.astype(int) - upright)) < 6


@pytest.mark.parametrize("seed", range(2))
def test_opencv_finds_the_markers_where_the_truth_says(
    beans: LayoutBook, hands: ProceduralHands, seed: int
) -> None:
    """OpenCV's own AprilTag detector as outside witness of ids and places."""
    photo = photo_of(beans, hands, "easy", seed)
    gray = cv2.cvtColor(photo.upright, cv2.COLOR_BGR2GRAY)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), settings
    )
    corners, ids, _ = detector.detectMarkers(gray)
    true = photo.truth.sheets[0].marker_corners_px
    assert ids is not None
    found = {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}
    assert set(found) == set(true)
    for number, places in found.items():
        assert np.abs(places - np.array(true[number])).max() < 1.5


def test_the_print_scale_shows_in_the_markers_distance(
    beans: LayoutBook, hands: ProceduralHands
) -> None:
    page = beans.layout().pages[0]
    for seed in range(2):
        photo = photo_of(beans, hands, "easy", seed)
        sheet, sheet_map = photo.truth.sheets[0], photo.maps[0]
        first, last = (page.markers[i] for i in (0, -1))
        ends = np.array([sheet.marker_corners_px[m.id][0] for m in (first, last)])
        on_paper = np.linalg.norm(np.subtract(*sheet_map.to_mm(ends)))
        on_page = np.linalg.norm(np.subtract(first.corners_mm[0], last.corners_mm[0]))
        assert on_paper / on_page == pytest.approx(sheet.print_scale, abs=1e-3)
        assert 0.90 <= sheet.print_scale <= 1.0


def test_a_thumb_hides_what_lies_under_it() -> None:
    rng = np.random.default_rng(1)
    sheet_map = photograph([FilledSheet(white_paper())], LEVELS["easy"], 1, size=(900, 1200)).maps[
        0
    ]
    scene = np.full((1200, 900, 3), 240, np.uint8)
    cover = np.zeros((1200, 900), np.uint8)
    (thumb,) = random_thumbs(1, (210, 297), [(14.0, 148.0)], rng)
    paint_thumb(scene, cover, sheet_map, thumb, rng)
    root = sheet_map.to_px(thumb[:25].mean(axis=0)[None])[0].astype(int)
    assert cover[root[1], root[0]]
    assert scene[root[1], root[0]].mean() < 200
    far = sheet_map.to_px(np.array([[150.0, 148.0]]))[0].astype(int)
    assert not cover[far[1], far[0]]
    assert (scene[far[1], far[0]] == 240).all()
    painted = np.any(scene != 240, axis=2)
    assert painted[cover > 0].all()


def test_hidden_and_burnt_shares_of_a_box() -> None:
    grid = CoarseGrid(400, 300, 8)
    light = Light(np.ones(grid.shape, np.float32), np.zeros(grid.shape, np.float32))
    light.glare[:, grid.shape[1] // 2 :] = 1.1
    cover = np.zeros((300, 400), np.uint8)
    cover[:, :100] = 255
    square = np.array([(0, 0), (40, 0), (40, 40), (0, 40)], float)

    def at(x: float) -> CellTruth:
        corners = square + np.array([x, 100])
        return placed(CellTruth("a", 0, "1"), corners, cover, light, grid, 220.0)

    assert at(150).covered == at(150).burnt == 0.0
    assert at(150).inside
    assert at(20).covered == 1.0
    assert at(80).covered == pytest.approx(0.5, abs=0.1)
    assert at(300).burnt == 1.0
    assert not at(375).inside


def test_a_corner_outside_the_picture_is_outside() -> None:
    level = replace(LEVELS["hard"], cropped=1.0)
    photo = photograph([FilledSheet(white_paper())], level, 4, size=(900, 1200))
    corners = photo.maps[0].to_px(np.array([(0, 0), (210, 0), (210, 297), (0, 297)], float))
    outside = np.any((corners < 0) | (corners > np.array([899, 1199])), axis=1)
    assert outside.any()


def test_an_empty_desk_has_no_sheet_and_the_size_asked_for() -> None:
    photo = photograph([], LEVELS["typical"], 9, kind="desk", size=(640, 480), orientation=6)
    assert photo.truth.sheets == ()
    assert photo.upright.shape == (480, 640, 3)
    assert photo.upright.std() > 3


def test_two_sheets_lie_apart_in_one_picture() -> None:
    photo = photograph([FilledSheet(white_paper())] * 2, LEVELS["typical"], 1, size=(1600, 1200))
    first, second = (
        m.to_px(np.array([(0, 0), (210, 0), (210, 297), (0, 297)], float)) for m in photo.maps
    )
    area, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
    assert area == 0


def test_truth_comes_back_from_json(beans: LayoutBook, hands: ProceduralHands) -> None:
    truth = photo_of(beans, hands, "hard", 1).truth
    assert PhotoTruth.from_json(json.loads(json.dumps(truth.to_json()))) == truth


@pytest.mark.parametrize(("dpi", "bilevel"), [(150, False), (200, True), (300, False)])
def test_a_scan_is_true_to_size(
    beans: LayoutBook, hands: ProceduralHands, dpi: int, bilevel: bool
) -> None:
    """25.4 mm to the inch: the markers stand ``dpi`` px to the inch apart."""
    rng = np.random.default_rng(dpi)
    page = beans.layout().pages[0]
    visit = random_visit(beans.study, rng)
    sheet = filled_sheet(beans, page, visit, hands, LEVELS["easy"], NEAT, rng)
    made = scan(sheet, 3, dpi, bilevel)
    gray = cv2.imdecode(np.frombuffer(made.data, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert (set(np.unique(gray)) == {0, 255}) == bilevel
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(gray)
    found = {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}
    true = made.truth.sheets[0].marker_corners_px
    assert set(found) == set(true)
    assert max(np.abs(found[i] - np.array(true[i])).max() for i in found) < 2.5 * dpi / 150
    first, last = page.markers[0], page.markers[-1]
    seen = np.linalg.norm(found[first.id][0] - found[last.id][0]) / dpi * 25.4
    printed = np.linalg.norm(np.subtract(first.corners_mm[0], last.corners_mm[0]))
    assert seen / printed == pytest.approx(sheet.paper.scale, abs=0.004)
