"""Line filters against OpenCV's plain filtering, which does the same place by place."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sheet_reader.vision.line_filters import line_answers, line_filters, standing_filters


@pytest.mark.parametrize("shape", [(23, 22), (3, 28), (1, 1)])
@pytest.mark.parametrize("standing", [False, True])
def test_answers_are_those_of_plain_filtering(shape: tuple[int, int], standing: bool) -> None:
    pictures = np.random.default_rng(2).uniform(0, 1, (3, *shape)).astype(np.float32)
    kernels = standing_filters() if standing else line_filters()
    found = line_answers(pictures, standing=standing)
    assert found.shape == (3, len(kernels), *shape)
    for picture, answers in zip(pictures, found, strict=True):
        for kernel, answer in zip(kernels, answers, strict=True):
            plain = cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REPLICATE)
            assert np.abs(answer - plain).max() < 1e-5


def test_mirrored_pictures_go_on_as_in_a_mirror() -> None:
    picture = np.random.default_rng(3).uniform(0, 1, (20, 24)).astype(np.float32)
    found = line_answers(picture[None], mirrored=True)[0]
    for kernel, answer in zip(line_filters(), found, strict=True):
        plain = cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REFLECT)
        assert np.abs(answer - plain).max() < 1e-5


def test_a_line_answers_most_to_the_filter_of_its_direction() -> None:
    for turn in range(12):
        y, x = np.mgrid[-15:16, -15:16].astype(float)
        angle = turn * np.pi / 12
        across = y * np.cos(angle) - x * np.sin(angle)
        line = np.clip(1.25 - np.abs(across), 0, 1).astype(np.float32)
        answers = line_answers(line[None])[0, :, 15, 15]
        assert int(answers.argmax()) == turn
        assert answers.max() == pytest.approx(1.0, abs=0.1)
