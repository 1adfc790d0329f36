"""The profile of one reading: time by stage, and work that is counted and not timed."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import click
import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from sheet_reader.demo.samples import sample_folder
from sheet_reader.digits.read import larger_reader, read_boxes
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab import benchmark, profile
from sheet_reader.lab.stages import PLACES, REST, StageClock, timed
from sheet_reader.lab.work_counts import WorkCounts, counted
from sheet_reader.reading.picture import read_picture
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.reader import read_study

LONG_SIDE = 2_000
BOXES_AT_ONCE = 25
MOST_RESAMPLED = 7.2
"""Megapixels, for a photo of 3: the page laid flat twice (0.4 and 1.6, and as much for their maps),
smaller pictures (1.9), boxes and codes; 6.8 in all."""


@dataclass(frozen=True)
class Golden:
    book: LayoutBook
    data: bytes
    boxes: int
    pixels: int


@pytest.fixture(scope="module")
def golden() -> Golden:
    """A plain photo of a page of 40 boxes, all of which are seen."""
    book = LayoutBook(read_study(sample_folder("bean_tips")))
    visit = random_visit(book.study, np.random.default_rng(5))
    request = Request(visit, 1, False)
    data = photo_of(book, ProceduralHands(), "easy", 71, request, long_side=LONG_SIDE).data
    boxes = len(book.layout(visit.site).pages[0].cells)
    with Image.open(io.BytesIO(data)) as image:
        return Golden(book, data, boxes, image.width * image.height)


def read(golden: Golden) -> None:
    (picture,) = pictures_in(golden.data, "photo.jpg")
    study = golden.book.study
    ((view, _),) = read_picture(picture, study, golden.book, study.season.last)
    assert len(view.boxes) == golden.boxes


def excess(counts: WorkCounts, golden: Golden) -> list[str]:
    """What is more than reading the golden photo takes."""
    found = []
    if counts.decoded > golden.pixels:
        found.append("decoded")
    if counts.network_calls > -(-golden.boxes // BOXES_AT_ONCE):
        found.append("network calls")
    if counts.boxes > golden.boxes:
        found.append("boxes")
    if counts.larger_calls > 1:
        found.append("larger calls")
    if counts.boxes_again > golden.boxes // 4:
        found.append("boxes again")
    if counts.resampled > MOST_RESAMPLED * 1e6:
        found.append("resampled")
    return found


@pytest.fixture(scope="module")
def counts(golden: Golden) -> WorkCounts:
    """Of a reading after a first one, which makes the template ready."""
    read(golden)
    with counted() as found:
        read(golden)
    return found


def test_a_photo_is_decoded_once_and_each_box_read_once(golden: Golden, counts: WorkCounts) -> None:
    assert excess(counts, golden) == []
    assert counts.decoded == golden.pixels
    assert counts.boxes == golden.boxes
    assert counts.resampled > 4e6


@pytest.mark.parametrize(
    "more", ["decoded", "by OpenCV", "network calls", "larger calls", "resampled"]
)
def test_more_work_is_caught(golden: Golden, counts: WorkCounts, more: str) -> None:
    with counted() as extra:
        if more == "decoded":
            next(iter(pictures_in(golden.data, "photo.jpg")))
        elif more == "by OpenCV":
            profile.grey(golden.data)
        elif more == "network calls":
            read_boxes(np.full((1, 64, 64), 245, np.uint8))
        elif more == "larger calls":
            for _ in range(2):
                larger_reader().read_boxes(np.full((golden.boxes, 64, 64), 245, np.uint8))
        else:
            cv2.resize(np.zeros((10, 10), np.uint8), (1485, 1050))
    both = WorkCounts(
        counts.decoded + extra.decoded, counts.resampled + extra.resampled,
        counts.network_calls + extra.network_calls, counts.boxes + extra.boxes,
        counts.larger_calls + extra.larger_calls, counts.boxes_again + extra.boxes_again,
    )  # fmt: skip
    caught = excess(both, golden)
    assert ("decoded" if more == "by OpenCV" else more) in caught
    assert ("boxes" in caught) == (more == "network calls")
    assert ("boxes again" in caught) == (more == "larger calls")


@pytest.mark.parametrize("context", [counted, lambda: timed(StageClock())])
def test_names_are_put_back_whatever_happens(context) -> None:
    names = [(cv2, "resize", ""), *PLACES]
    before = [getattr(owner, name) for owner, name, _ in names]

    def fail() -> None:
        with context():
            assert [getattr(owner, name) for owner, name, _ in names] != before
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert [getattr(owner, name) for owner, name, _ in names] == before


def test_every_stage_is_charged_for_itself_alone() -> None:
    now = [0.0]
    clock = StageClock(lambda: now[0])

    def wait(seconds: float) -> None:
        now[0] += seconds

    wait(1.0)
    with clock.within("outer"):
        wait(2.0)
        with clock.within("inner"):
            wait(4.0)
        wait(8.0)
    with pytest.raises(ZeroDivisionError), clock.within("inner"):
        wait(16.0 / 0)
    now[0] += 16.0
    assert clock.stop() == {REST: 17.0, "outer": 10.0, "inner": 4.0}


def test_a_reading_goes_through_the_stages(golden: Golden) -> None:
    clock = StageClock()
    views = profile.read(golden.data, golden.book, clock)
    assert len(views) == 1
    assert set(clock.stop()) == set(profile.STAGES)
    assert min(clock.seconds.values()) >= 0.0


def test_ratios_are_medians_over_rounds_and_the_table_over_photos() -> None:
    rounds = [
        profile.Round({"network": 2.0, REST: 1.0}, 1.0),
        profile.Round({"network": 9.0, REST: 3.0}, 3.0),
        profile.Round({"network": 8.0}, 2.0),
    ]
    ratios = profile.ratios_of(rounds)
    assert ratios == {"network": 3.0, REST: 1.0, profile.WHOLE: 4.0}
    found = profile.Profile(
        {"network": [1.0, 2.0, 6.0]}, [0.04], [WorkCounts(12_000_000, 500_000, 2, 44)]
    )
    rows = {tuple(line.split()) for line in profile.table("beans", found)}
    assert {("network", "2.00", "6.00"), ("megapixels", "decoded", "12.0", "12.0")} <= rows
    assert ("network", "calls", "2.0", "2.0") in rows


@pytest.mark.parametrize("program", [profile.main, benchmark.main])
def test_a_missing_folder_for_the_figures_is_told_before_the_work(
    program: click.Command, tmp_path: Path
) -> None:
    told = CliRunner().invoke(program, ["--json", str(tmp_path / "none" / "figures.json")])
    assert told.exit_code == 2
    assert "there is no folder" in told.output
