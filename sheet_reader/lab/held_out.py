"""Handwriting for measuring: writers who never took part in training or tuning."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sheet_reader.lab.hands import hands_of
from sheet_reader.lab.writers import TEST, Role
from sheet_reader.simulate.sources import Hands, ImageHands, MixedHands, ProceduralHands


def held_out_hands(data: Path | None, role: Role = TEST) -> Hands:
    """The writers of ``role``, by default the benchmark's of pendigits and UNIPEN; without the
    data, the procedural hand and scikit-learn's copy of the UCI optdigits test set (8 × 8 bitmaps),
    as far as installed.
    """
    if data is not None:
        return hands_of(role, data / "digits")
    try:
        from sklearn.datasets import load_digits
    except ImportError:
        return ProceduralHands()
    found = load_digits()
    images = np.asarray(found.images * (255 / 16), np.uint8)
    name = "optdigits (scikit-learn's copy of the UCI test set)"
    return MixedHands([ProceduralHands(), ImageHands(name, images, found.target)])
