"""Other readers on the same crops, to compare: Tesseract, nearest neighbours, support vectors.

The two scikit-learn baselines are trained on clean crops of the training splits of MNIST, pendigits
and UNIPEN; Tesseract reads a sample of each set, digits only, in the mode for a block of text
(``--psm 6``, the best of modes 6, 8, 10 and 13 on 60 development digits of UNIPEN).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.normalise import normalise
from sheet_reader.lab import splits
from sheet_reader.lab.sets import clean_crops, load
from sheet_reader.lab.writers import TRAIN
from sheet_reader.numbers import LAB

TESSERACT_SAMPLE = LAB.tesseract_sample
BASELINE_SAMPLE = LAB.baseline_sample
TRAINING_SAMPLE = LAB.training_sample
_INSIDE = slice(9, 55)
_ENLARGE = LAB.tesseract_enlarge
_RIM = LAB.tesseract_rim_px

Crops = NDArray[np.uint8]
Labels = NDArray[np.int64]


def lines(crops: Crops, labels: Labels, seed: int = 1) -> Iterator[str]:
    """One line for each peer: its error on a sample of these crops, nothing rejected."""
    order = np.random.default_rng(seed).permutation(len(labels))
    some = order[:BASELINE_SAMPLE]
    for name, predict in _baselines():
        wrong = predict(features(crops[some])) != labels[some]
        yield f"  {name:20s} {len(some):6d} {100 * float(wrong.mean()):8.2f}"
    few = order[:TESSERACT_SAMPLE]
    answers = tesseract(crops[few])
    if answers is None:
        yield "  Tesseract is not installed"
    else:
        wrong = answers != labels[few]
        yield f"  {'Tesseract, psm 6':20s} {len(few):6d} {100 * float(wrong.mean()):8.2f}"


def features(crops: Crops) -> NDArray[np.float32]:
    """What the baselines see: ink against the paper close by, 16 × 16, as rows of 256."""
    ink = normalise(crops)[:, 4:].mean(axis=1)
    small = ink.reshape(len(ink), 16, 2, 16, 2).mean(axis=(2, 4))
    return np.asarray(small.reshape(len(ink), -1), np.float32)


def tesseract(crops: Crops, mode: int = 6) -> Labels | None:
    """Digits read by Tesseract, -1 where it reads none or several; None where it isn't installed.

    It gets the inside of each box (a frame makes it read worse), enlarged, with a white rim.
    """
    import pytesseract

    try:
        pytesseract.get_tesseract_version()
    except pytesseract.TesseractNotFoundError:
        return None
    settings = f"--psm {mode} -c tessedit_char_whitelist=0123456789"
    out = np.full(len(crops), -1, np.int64)
    for k, crop in enumerate(crops):
        inside = crop[_INSIDE, _INSIDE]
        large = cv2.resize(inside, None, fx=_ENLARGE, fy=_ENLARGE, interpolation=cv2.INTER_CUBIC)
        level = int(np.percentile(inside, 90))
        framed = cv2.copyMakeBorder(large, _RIM, _RIM, _RIM, _RIM, cv2.BORDER_CONSTANT, value=level)
        text = pytesseract.image_to_string(framed, config=settings).strip()
        out[k] = int(text) if len(text) == 1 and text.isdigit() else -1
    return out


@cache
def _baselines() -> list[tuple[str, Callable[[NDArray[np.float32]], NDArray[Any]]]]:
    from sklearn.neighbors import KNeighborsClassifier
    from sklearn.svm import SVC

    rows, labels = _training_rows()
    nearest = KNeighborsClassifier(3, weights="distance").fit(rows, labels)
    vectors = SVC(C=10.0, gamma="scale").fit(rows, labels)
    return [("3 nearest neighbours", nearest.predict), ("support vectors", vectors.predict)]


def _training_rows() -> tuple[NDArray[np.float32], Labels]:
    rows, labels = [], []
    rng = np.random.default_rng(3)
    for name in splits.KNOWN_WRITERS:
        data = load(name)
        trains = np.flatnonzero(splits.roles(name, data) == TRAIN)
        mine = rng.permutation(trains)[:TRAINING_SAMPLE]
        rows.append(features(clean_crops(data["images"][mine])))
        labels.append(data["labels"][mine].astype(np.int64))
    return np.concatenate(rows), np.concatenate(labels)
