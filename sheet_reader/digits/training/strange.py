"""Crops of what is no digit, to measure: letters, signs, scribbles, several digits, empty boxes.

``python -m sheet_reader.digits.training.strange OUT.npz``: made as in training, with other seeds:
the same forms, but no crop that was trained on.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch

from sheet_reader.digits import splits
from sheet_reader.digits.training import strokes
from sheet_reader.digits.training.batches import Batches, Mix
from sheet_reader.digits.training.sources import Wanted, gather


def main(arguments: list[str] | None = None) -> None:
    """Write the crops and their classes to one file."""
    parser = argparse.ArgumentParser(prog="python -m sheet_reader.digits.training.strange")
    parser.add_argument("out", type=Path)
    parser.add_argument("--each", type=int, default=500, help="crops of each class")
    parser.add_argument("--seed", type=int, default=909)
    options = parser.parse_args(arguments)
    strokes.start_workers()
    cpu = torch.device("cpu")
    sources = gather(cpu, Wanted(split=splits.DEV, hand=12_000, seed=options.seed))
    each: int = options.each
    mix = Mix(4, 0, each, each, each, each, 0)
    crops, labels = Batches(sources, mix, options.seed, cpu).next()
    kept = labels >= 10
    np.savez_compressed(
        options.out,
        gray=crops[kept].numpy().astype(np.uint8),
        labels=labels[kept].numpy().astype(np.uint8),
    )
    print(f"{int(kept.sum())} crops in {options.out}")


if __name__ == "__main__":
    main()
