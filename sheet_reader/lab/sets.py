"""The open digit sets, and how a raw set is put into clean crops to be measured.

The recipe is fixed: the ink of each image is cut out, scaled so that its longer side is 42 px,
kept in proportion, put in the middle of a 64 × 64 crop of paper at grey 235 at a darkness of
0.85, with the sheets' own frame (fine dots, corner marks) around it. No set is tuned for.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.normalise import CROP_PX
from sheet_reader.numbers import LAB

DATA_VARIABLE = "SHEET_READER_DATA"
INK_SIDE_PX = LAB.set_ink_px
PAPER = LAB.set_paper
DARKNESS = LAB.set_darkness
_FRAME = LAB.crop_frame_px


def find_data(option: Path | None = None) -> Path | None:
    """The data folder: the option, else the environment variable ``SHEET_READER_DATA``, else
    ``shared/data`` in or beside the repository; None where there is none with a folder digits/.
    """
    root = Path(__file__).resolve().parents[2]
    named = os.environ.get(DATA_VARIABLE)
    places = [option, Path(named) if named else None, root / "shared/data",
              root.parent / "shared/data"]  # fmt: skip
    return next((p for p in places if p is not None and (p / "digits").is_dir()), None)


def data_folder() -> Path:
    """Where the digit sets lie; a folder that does not exist where there are none."""
    return (find_data() or Path(DATA_VARIABLE)) / "digits"


def load(name: str, folder: Path | None = None) -> dict[str, NDArray[Any]]:
    """The arrays of one set, ``name`` without ``.npz``; MNIST with its ``writers``."""
    where = folder or data_folder()
    arrays: dict[str, NDArray[Any]] = {}
    for file in (name, "mnist_writers") if name == "mnist" else (name,):
        with np.load(where / f"{file}.npz") as data:
            arrays |= {key: data[key] for key in data.files}
    return arrays


def ink_box(image: NDArray[np.uint8], threshold: int = 40) -> tuple[slice, slice] | None:
    """Rows and columns of an image (H, W), ink bright, that hold its ink; None without ink."""
    rows = np.flatnonzero(image.max(axis=1) > threshold)
    columns = np.flatnonzero(image.max(axis=0) > threshold)
    if not len(rows) or not len(columns):
        return None
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def clean_crops(images: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Images (N, H, W) of digits, ink bright, as clean crops uint8 (N, 64, 64), by the recipe."""
    paper = PAPER * (1.0 - 0.8 * own_frame())
    out = np.empty((len(images), CROP_PX, CROP_PX), np.uint8)
    for k, image in enumerate(images):
        ink = _placed(image).astype(np.float32) * (DARKNESS / 255.0)
        out[k] = np.round(paper * (1.0 - ink))
    return out


def _placed(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    canvas = np.zeros((CROP_PX, CROP_PX), np.uint8)
    box = ink_box(image)
    if box is None:
        return canvas
    ink = np.ascontiguousarray(image[box])
    scale = INK_SIDE_PX / max(ink.shape)
    height, width = (max(1, round(side * scale)) for side in ink.shape)
    way = cv2.INTER_AREA if scale < 1.0 else cv2.INTER_CUBIC
    scaled = cv2.resize(ink, (width, height), interpolation=way)
    top, left = (CROP_PX - height) // 2, (CROP_PX - width) // 2
    canvas[top : top + height, left : left + width] = scaled
    return canvas


@cache
def own_frame() -> NDArray[np.float32]:
    """The sheets' frame as ink 0..1 (64, 64): dots 0.25 mm wide, solid at the corners."""
    scale = 8
    side = CROP_PX * scale
    canvas = np.zeros((side, side), np.uint8)
    left, top, right, bottom = (round(v * scale) for v in _FRAME)
    width, reach, step = 2 * scale - 3, 7 * scale, 4 * scale
    for x, y, dx, dy in ((left, top, 1, 1), (right, top, -1, 1), (right, bottom, -1, -1),
                         (left, bottom, 1, -1)):  # fmt: skip
        cv2.line(canvas, (x, y), (x + dx * reach, y), 255, width)
        cv2.line(canvas, (x, y), (x, y + dy * reach), 255, width)
    for x in range(left + reach, right - reach, step):
        for y in (top, bottom):
            cv2.circle(canvas, (x, y), width // 2, 255, -1)
    for y in range(top + reach, bottom - reach, step):
        for x in (left, right):
            cv2.circle(canvas, (x, y), width // 2, 255, -1)
    small = cv2.resize(canvas, (CROP_PX, CROP_PX), interpolation=cv2.INTER_AREA)
    return np.asarray(small.astype(np.float32) / 255.0, np.float32)
