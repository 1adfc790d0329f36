"""Which samples train, which are for development, calibration and the test; one rule per set.

Nothing that is ``test`` is ever trained on, tuned on or used for calibration. Rules:

- MNIST: of ``train``, in an order shuffled with a fixed seed, 55,000 train, 2,500 are dev and
  2,500 calibration; ``test`` is the test.
- pendigits: writers ``tra01``–``tra26`` train, ``tra27``–``tra28`` dev, ``tra29``–``tra30``
  calibration; the 14 writers of ``tes`` are the test.
- UNIPEN: a sample is test where the CRC-32 of its writer or of its donor is a multiple of 5;
  else by the CRC-32 of the writer modulo 10: 1 is dev, 2 calibration, the rest trains.
- boxed_uk: by puzzle, as the set itself says; the hand is never trained on, only empty boxes and
  boxes of small candidates are, from the puzzles of its training split.
- Semeion, USPS, optdigits, Chars74K: test only.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

TRAIN, DEV, CALIBRATION, TEST = "train", "dev", "calibration", "test"
PENDIGITS_DEV = ("tra27", "tra28")
PENDIGITS_CALIBRATION = ("tra29", "tra30")
MNIST_SEED = 4
MNIST_DEV_FROM, MNIST_CALIBRATION_FROM = 55_000, 57_500


def crc(name: str) -> int:
    """CRC-32 of a name in UTF-8: a hash that is the same everywhere."""
    return zlib.crc32(name.encode("utf-8"))


def mnist_split(data: Mapping[str, Any]) -> NDArray[np.str_]:
    """The split of each MNIST sample; ``data`` holds the set's arrays."""
    given = np.asarray(data["split"]).astype(str)
    out = np.full(len(given), TEST, dtype="<U11")
    training = np.random.default_rng(MNIST_SEED).permutation(np.flatnonzero(given == "train"))
    out[training] = TRAIN
    out[training[MNIST_DEV_FROM:]] = DEV
    out[training[MNIST_CALIBRATION_FROM:]] = CALIBRATION
    return out


def pendigits_split(data: Mapping[str, Any]) -> NDArray[np.str_]:
    """The split of each pendigits sample, by writer."""

    def of(writer: str) -> str:
        if writer.startswith("tes"):
            return TEST
        if writer in PENDIGITS_DEV:
            return DEV
        return CALIBRATION if writer in PENDIGITS_CALIBRATION else TRAIN

    return np.array([of(str(writer)) for writer in data["writers"]], dtype="<U11")


def unipen_split(data: Mapping[str, Any]) -> NDArray[np.str_]:
    """The split of each UNIPEN sample, by writer and donor."""

    def of(writer: str, donor: str) -> str:
        if crc(writer) % 5 == 0 or crc(donor) % 5 == 0:
            return TEST
        return {1: DEV, 2: CALIBRATION}.get(crc(writer) % 10, TRAIN)

    pairs = zip(data["writers"], data["donor"], strict=True)
    return np.array([of(str(writer), str(donor)) for writer, donor in pairs], dtype="<U11")


def boxed_puzzles(hand: Mapping[str, Any]) -> dict[str, str]:
    """From a puzzle's date ("02_17") to its split, read off ``boxed_uk_hand``; val is dev."""
    names = {"train": TRAIN, "val": DEV, "test": TEST}
    pairs = zip(hand["photo"], hand["split"], strict=True)
    return {str(photo)[:5]: names[str(split)] for photo, split in pairs}


def boxed_split(data: Mapping[str, Any], puzzles: Mapping[str, str]) -> NDArray[np.str_]:
    """The split of each boxed_uk crop, by puzzle; puzzles not known count as test."""
    return np.array([puzzles.get(str(photo)[:5], TEST) for photo in data["photo"]], dtype="<U11")
