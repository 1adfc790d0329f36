"""The people of one role as hands that fill in simulated sheets."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sheet_reader.lab import splits
from sheet_reader.lab.sets import data_folder, load
from sheet_reader.lab.writers import TEST, TRAIN, Role
from sheet_reader.simulate.sources import (
    Hands,
    ImageHands,
    MixedHands,
    ProceduralHands,
    StrokeHands,
    load_strokes,
)

STROKE_SETS = {"pendigits_orig": "pendigits", "unipen_1a": "UNIPEN"}
"""Sets of pen strokes and their names in reports."""


@cache
def mislabelled() -> dict[str, list[int]]:
    """Places of samples that hold no single digit, or another than their label says, by set."""
    text = resources.files(__package__).joinpath("mislabelled.json").read_text("utf-8")
    found: dict[str, list[int]] = json.loads(text)["samples"]
    return found


def sound(name: str, role: Role, folder: Path | None = None) -> NDArray[np.bool_]:
    """Which samples (N,) of a set are by writers of this role and rightly labelled."""
    held: NDArray[np.bool_] = splits.roles(name, load(name, folder)) == role
    held[mislabelled().get(name, [])] = False
    return held


def hands_of(role: Role, folder: Path | None = None) -> Hands:
    """The writers of one role. Where sheets train or measure, those of pendigits and UNIPEN, each
    set with equal chance, for training with the procedural hand; in the other roles those of MNIST
    too, each person with about equal chance.
    """
    where = folder or data_folder()
    pens = [
        StrokeHands(title, load_strokes(where / f"{name}.npz", sound(name, role, where)))
        for name, title in STROKE_SETS.items()
    ]
    if role == TRAIN:
        return MixedHands([*pens, ProceduralHands()])
    if role == TEST:
        return MixedHands([*pens])
    data = load("mnist", where)
    held = sound("mnist", role, where)
    names = splits.writer_names("mnist", data["writers"][held])
    images = ImageHands("MNIST", data["images"][held], data["labels"][held], names)
    people = [*(pen.people for pen in pens), images.people]
    return MixedHands([*pens, images], [n / sum(people) for n in people])
