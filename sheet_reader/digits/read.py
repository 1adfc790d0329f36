"""Reads photographed boxes: crops in, calibrated probabilities out."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import softmax

from sheet_reader.digits.normalise import CROP_PX, normalise
from sheet_reader.digits.types import CLASSES, BoxReadings

WEIGHTS = "weights.onnx"
CALIBRATION = "calibration.json"
_CHUNK = 25
"""Boxes read at once: with more, the layers outgrow the cache."""


class Reader:
    """The network with its calibration. ``weights`` is an ONNX file, ``calibration`` the JSON that
    the training writes beside it; without arguments the ones in the package.
    """

    def __init__(self, weights: Path | None = None, calibration: Path | None = None) -> None:
        package = resources.files("sheet_reader.digits")
        model = weights.read_bytes() if weights else package.joinpath(WEIGHTS).read_bytes()
        text = (calibration or package.joinpath(CALIBRATION)).read_text("utf-8")
        settings = json.loads(text)
        self._net = cv2.dnn.readNetFromONNX(np.frombuffer(model, np.uint8))
        self._net.setPreferableBackend(cv2.dnn.DNN_BACKEND_OPENCV)
        self._sharpness = 1.0 / float(settings["temperature"])
        self._shift = np.array(settings["shift"], np.float64)

    @classmethod
    def of_folder(cls, folder: Path | None) -> Reader:
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
        _check(crops)
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


def _check(crops: NDArray[np.uint8]) -> None:
    if not isinstance(crops, np.ndarray) or crops.dtype != np.uint8:
        found = getattr(crops, "dtype", type(crops).__name__)
        raise TypeError(f"crops must be a numpy array of uint8, got {found}")
    if crops.ndim != 3 or crops.shape[1:] != (CROP_PX, CROP_PX):
        raise ValueError(f"crops must be (N, {CROP_PX}, {CROP_PX}), got {crops.shape}")


@cache
def _reader() -> Reader:
    return Reader()
