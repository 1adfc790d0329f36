"""Handwriting for measuring: writers who never took part in training or tuning."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheet_reader.lab.splits import TEST, pendigits_split, unipen_split
from sheet_reader.simulate.sources import (
    Hands,
    ImageHands,
    MixedHands,
    ProceduralHands,
    StrokeHands,
    load_strokes,
)

Split = Callable[[Mapping[str, Any]], NDArray[np.str_]]
_SETS: tuple[tuple[str, str, Split], ...] = (
    ("pendigits (writers of its test split)", "pendigits_orig.npz", pendigits_split),
    ("UNIPEN (writers held back)", "unipen_1a.npz", unipen_split),
)


def held_out_hands(data: Path | None) -> Hands:
    """Test writers of pendigits and UNIPEN; without the data, the procedural hand and
    scikit-learn's copy of the UCI optdigits test set (8 × 8 bitmaps), as far as installed.
    """
    if data is not None:
        return MixedHands([_strokes(data, *entry) for entry in _SETS])
    try:
        from sklearn.datasets import load_digits
    except ImportError:
        return ProceduralHands()
    found = load_digits()
    images = np.asarray(found.images * (255 / 16), np.uint8)
    name = "optdigits (scikit-learn's copy of the UCI test set)"
    return MixedHands([ProceduralHands(), ImageHands(name, images, found.target)])


def _strokes(data: Path, name: str, file: str, split: Split) -> Hands:
    path = data / "digits" / file
    with np.load(path) as arrays:
        keep = split(arrays) == TEST
    return StrokeHands(name, load_strokes(path, keep))
