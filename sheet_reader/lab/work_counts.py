"""How much work reading a photo is, counted and not timed: the same on every machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from PIL import ImageFile

from sheet_reader.digits.read import BoxReader, larger_reader
from sheet_reader.lab.stages import replaced

RESAMPLING = ("resize", "remap", "warpAffine", "warpPerspective", "pyrDown", "getRectSubPix")
"""Functions of OpenCV whose output is a picture, or a part of one, sampled anew."""


@dataclass(slots=True)
class WorkCounts:
    """``decoded`` and ``resampled`` pixels, by any decoder and by OpenCV's functions;
    ``network_calls``, and the ``boxes`` sent to the network in them; the same of the larger
    network, which reads boxes again.
    """

    decoded: int = 0
    resampled: int = 0
    network_calls: int = 0
    boxes: int = 0
    larger_calls: int = 0
    boxes_again: int = 0


@contextmanager
def counted() -> Iterator[WorkCounts]:
    """Counts what is done by this process while it lasts."""
    counts = WorkCounts()
    names = (*RESAMPLING, "imdecode", "imread")
    places: list[tuple[object, str, Callable[..., Any]]] = [
        (cv2, name, _picture_counting(getattr(cv2, name), name, counts)) for name in names
    ]
    places.append((BoxReader, "forward", _network_counting(BoxReader.forward, counts)))
    places.append((ImageFile.ImageFile, "load", _load_counting(ImageFile.ImageFile.load, counts)))
    with replaced(tuple(places)):
        yield counts


def _picture_counting(
    function: Callable[..., Any], name: str, counts: WorkCounts
) -> Callable[..., Any]:
    def call(*args: Any, **options: Any) -> Any:
        made = function(*args, **options)
        pixels = 0 if made is None else int(np.prod(made.shape[:2]))
        if name in RESAMPLING:
            counts.resampled += pixels
        else:
            counts.decoded += pixels
        return made

    return call


def _load_counting(function: Callable[..., Any], counts: WorkCounts) -> Callable[..., Any]:
    def load(image: ImageFile.ImageFile) -> Any:
        if image.tile:  # later calls find it decoded
            counts.decoded += image.width * image.height
        return function(image)

    return load


def _network_counting(function: Callable[..., Any], counts: WorkCounts) -> Callable[..., Any]:
    def forward(reader: BoxReader, planes: Any) -> Any:
        if reader is larger_reader():
            counts.larger_calls += 1
            counts.boxes_again += len(planes)
        else:
            counts.network_calls += 1
            counts.boxes += len(planes)
        return function(reader, planes)

    return forward
