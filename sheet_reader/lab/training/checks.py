"""How a network does on development data: never on the benchmark's writers."""

from __future__ import annotations

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.special import softmax

from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.lab import measures, splits
from sheet_reader.lab.sets import clean_crops, load
from sheet_reader.lab.training import crossed_out
from sheet_reader.lab.training.fit import scores_of
from sheet_reader.lab.writers import DEV


def development(
    network: torch.nn.Module, temperature: float, device: torch.device
) -> dict[str, float]:
    """Error, error at 2 % rejected and calibration error, in per cent, by set and kind."""
    out: dict[str, float] = {}

    def read(crops: NDArray[np.uint8]) -> NDArray[np.float64]:
        return softmax(scores_of(network, torch.from_numpy(crops).to(device)) / temperature, axis=1)

    for name, crops, labels in _digit_sets():
        figures = measures.figures(read(crops), labels)
        out[f"{name} error"] = 100 * figures.error
        out[f"{name} at 2 %"] = 100 * figures.error_at_2
        out[f"{name} calibration"] = 100 * figures.calibration
    puzzles = splits.boxed_puzzles(load("boxed_uk_hand"))
    boxes = load("boxed_uk_empty")
    held = splits.boxed_roles(boxes, puzzles) == DEV
    kind = boxes["kind"].astype(str)
    blank = read(boxes["gray"][held & (kind == "blank")])
    out["blank taken for ink"] = 100 * float((blank.argmax(1) != CLASSES.index(EMPTY)).mean())
    several = read(boxes["gray"][held & (kind == "candidates")])
    out["candidates sure digit"] = 100 * measures.sure_digits(several)
    crops, groups = crossed_out.crops_of_groups(DEV)
    for group, name in enumerate(crossed_out.GROUPS):
        if (groups == group).any():
            struck, digit, sure = crossed_out.shares(read(crops[groups == group]))
            out[f"{name}: called struck"] = 100 * struck
            out[f"{name}: called a digit"] = 100 * digit
            out[f"{name}: a digit over 0.9"] = 100 * sure
    return out


def _digit_sets() -> list[tuple[str, NDArray[np.uint8], NDArray[np.int64]]]:
    found = []
    for name in splits.KNOWN_WRITERS:
        data = load(name)
        held = splits.roles(name, data) == DEV
        labels = data["labels"][held].astype(np.int64)
        found.append((name, clean_crops(data["images"][held]), labels))
    return found
