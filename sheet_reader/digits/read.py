"""Reads photographed boxes: crops in, calibrated probabilities out; the doubtful ones twice.

The small network reads every box; where it is in doubt the larger one, which costs three times as
much a box, decides alone. Errors cluster by hand: a sheet with many doubtful digits is in a hand
that the small network knows badly and is surer of than it should be, so there nearly every digit
is read again.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import softmax

from sheet_reader.digits.classes import CLASSES, DIGIT_CLASSES, EMPTY, BoxReadings
from sheet_reader.digits.normalise import CROP_PX, normalise
from sheet_reader.numbers import DIGITS

WEIGHTS = "weights.onnx"
CALIBRATION = "calibration.json"
LARGER_WEIGHTS = "larger.onnx"
LARGER_CALIBRATION = "larger_calibration.json"
AGAIN = DIGITS.again
"""Which boxes are read again."""
_EMPTY_AT = CLASSES.index(EMPTY)
_CHUNK = 25
"""Boxes read at once: with more, the layers outgrow the cache."""


class BoxReader:
    """The network with its calibration. ``weights`` is an ONNX file, ``calibration`` the JSON that
    the training writes beside it; without arguments the ones in the package.
    """

    def __init__(
        self,
        weights: Path | Traversable | None = None,
        calibration: Path | Traversable | None = None,
    ) -> None:
        package = resources.files("sheet_reader.digits")
        model = weights.read_bytes() if weights else package.joinpath(WEIGHTS).read_bytes()
        text = (calibration or package.joinpath(CALIBRATION)).read_text("utf-8")
        settings = json.loads(text)
        self._net = cv2.dnn.readNetFromONNX(np.frombuffer(model, np.uint8))
        self._net.setPreferableBackend(cv2.dnn.DNN_BACKEND_OPENCV)
        self._sharpness = 1.0 / float(settings["temperature"])
        self._shift = np.array(settings["shift"], np.float64)

    @classmethod
    def of_folder(cls, folder: Path | None) -> BoxReader:
        """The reader whose files lie in ``folder``, or the package's own."""
        return cls(folder / WEIGHTS, folder / CALIBRATION) if folder else cls()

    def scores(self, crops: NDArray[np.uint8]) -> NDArray[np.float64]:
        """The network's raw outputs, (N, K), before calibration."""
        out = np.empty((len(crops), len(CLASSES)))
        for start in range(0, len(crops), _CHUNK):
            part = normalise(crops[start : start + _CHUNK])
            out[start : start + len(part)] = self.forward(part)
        return out

    def forward(self, planes: NDArray[np.float32]) -> NDArray[np.float32]:
        """One call of the network: its raw outputs (N, K) for normalised crops (N, 8, 32, 32)."""
        self._net.setInput(planes)
        return np.asarray(self._net.forward().reshape(len(planes), -1), np.float32)

    def read_boxes(self, crops: NDArray[np.uint8]) -> BoxReadings:
        """See ``read_boxes``."""
        if not isinstance(crops, np.ndarray) or crops.dtype != np.uint8:
            found = getattr(crops, "dtype", type(crops).__name__)
            raise TypeError(f"crops must be a numpy array of uint8, got {found}")
        if crops.ndim != 3 or crops.shape[1:] != (CROP_PX, CROP_PX):
            raise ValueError(f"crops must be (N, {CROP_PX}, {CROP_PX}), got {crops.shape}")
        scores = self.scores(crops) * self._sharpness + self._shift
        return BoxReadings(softmax(scores, axis=1), CLASSES)


def read_boxes(crops: NDArray[np.uint8]) -> BoxReadings:
    """What stands in each photographed box.

    ``crops`` is uint8 (N, 64, 64), rows down and columns right: grey as photographed, dark ink on
    light paper, one printed box per crop with its frame near the border, perhaps with slivers of
    the neighbours. Any printed grid will do. Returns probabilities float64 (N, 14), rows summing
    to 1, and the class names: ten digits, ``empty``, ``struck``, ``several``, ``other``. N may
    be 0. The same crops give the same answer. Raises TypeError for another dtype, ValueError for
    another shape.
    """
    return _reader().read_boxes(crops)


@cache
def _reader() -> BoxReader:
    return BoxReader()


def doubtful(probabilities: NDArray[np.float64]) -> NDArray[np.intp]:
    """Which boxes of one sheet, with class ``probabilities`` (N, 14), are to be read again."""
    digits = probabilities[:, : len(DIGIT_CLASSES)]
    held = digits[digits.sum(axis=1) > 0.5]
    unclear = int((held.max(axis=1, initial=0.0) < AGAIN.unclear).sum())
    odd = len(held) > 0 and (unclear - 1) / len(held) >= AGAIN.odd_share
    least = AGAIN.doubtful_if_odd if odd else AGAIN.doubtful
    asked = probabilities.max(axis=1, initial=0.0) < least
    return np.flatnonzero(asked & (probabilities[:, _EMPTY_AT] <= AGAIN.surely_empty))


def read_sheet(crops: NDArray[np.uint8]) -> BoxReadings:
    """What stands in the boxes of one sheet: as :func:`read_boxes`, but ``crops``
    (N, 64, 64) are all boxes of a sheet, filled in by one person, and the doubtful ones are read
    again.
    """
    first = read_boxes(crops).probabilities
    at = doubtful(first)
    if not len(at):
        return BoxReadings(first, CLASSES)
    found = first.copy()
    found[at] = larger_reader().read_boxes(crops[at]).probabilities
    return BoxReadings(found, CLASSES)


@cache
def larger_reader() -> BoxReader:
    """The larger network of the package."""
    package = resources.files("sheet_reader.digits")
    return BoxReader(package / LARGER_WEIGHTS, package / LARGER_CALIBRATION)
