r"""What the pixels say about each box, with the doubts about the place of the box worked in.

The digits room gives P(class | crop). Two things can make that number too sure of itself:

* the crop was cut in the wrong place. For an isotropic normal position error with standard
  deviation sigma the distance from the true place follows a Rayleigh distribution, so the crop is
  off by more than t with probability ``exp(-t² / (2 sigma²))`` (Rayleigh tail, any textbook on
  probability). With t = 1.5 mm (box gap 2 mm, crop margin 1 mm; an assumption of this house) that
  is 4e-6 at 0.3 mm and 1 % at 0.5 mm;
* nothing can be seen: the vision room says the box is occluded.

With probability ``doubt`` the crop tells nothing, so the class probabilities are mixed with
"anything": ``(1 - doubt) * p + doubt / K``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.page_evidence import SeenBox
from sheet_reader.digits.classes import CLASSES, BoxReadings
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Occlusion

TOLERATED_OFFSET_MM = DECODE.tolerated_offset_mm
FAINTEST_CONTRAST = DECODE.faintest_contrast
WORST_BLUR_MM = DECODE.worst_blur_mm
FLOOR = DECODE.probability_floor


def place_doubt(error_mm: float) -> float:
    """Probability (0..1) that a crop with position error ``error_mm`` (sd, mm) shows too little."""
    if not error_mm > 0.0:
        return 0.0
    return math.exp(-(TOLERATED_OFFSET_MM**2) / (2.0 * error_mm**2))


def unreadable_because(box: SeenBox) -> Occlusion:
    """Why the box counts as hidden; ``Occlusion.NONE`` (falsy) for a box that can be read."""
    if box.occluded:
        return box.occluded
    if not math.isfinite(box.error_mm):
        return Occlusion.UNPLACED
    if box.contrast < FAINTEST_CONTRAST:
        return Occlusion.FAINT
    if box.blur_mm > WORST_BLUR_MM:
        return Occlusion.BLURRED
    return Occlusion.NONE


def box_probabilities(boxes: Sequence[SeenBox], readings: BoxReadings) -> NDArray[np.float64]:
    """Class probabilities of each box with all doubts worked in.

    ``readings.probabilities`` is (N, K) with rows in the order of ``boxes``. Returns float64
    (N, K), columns in the order of ``CLASSES``, rows sum to 1; an occluded box gives a flat row.
    Raises ValueError where the shapes do not fit.
    """
    given = np.asarray(readings.probabilities, dtype=np.float64)
    if given.shape != (len(boxes), len(readings.classes)):
        raise ValueError(f"{given.shape} probabilities for {len(boxes)} boxes")
    order = [readings.classes.index(name) for name in CLASSES]
    p: NDArray[np.float64] = np.nan_to_num(given[:, order], nan=0.0) + FLOOR
    p /= p.sum(axis=1, keepdims=True)
    doubt = np.array([1.0 if unreadable_because(b) else place_doubt(b.error_mm) for b in boxes])
    return (1.0 - doubt)[:, None] * p + (doubt / len(CLASSES))[:, None]
