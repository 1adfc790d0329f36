"""Crops of what is no digit, to measure: letters, signs, scribbles, several digits, empty boxes.

``python -m sheet_reader.lab.training.out_of_distribution OUT.npz``: made as in training, with other
seeds: the same forms, but no crop that was trained on.
"""

from __future__ import annotations

from pathlib import Path

import click
import numpy as np
import torch

from sheet_reader.lab.training import strokes
from sheet_reader.lab.training.batches import Batches, Mix
from sheet_reader.lab.training.sources import Wanted, gather
from sheet_reader.lab.writers import DEV


@click.command()
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--each", type=click.IntRange(1), default=500, help="Crops of each class.")
@click.option("--seed", type=int, default=909, show_default=True)
def main(out: Path, each: int, seed: int) -> None:
    """Write the crops and their classes to the file OUT."""
    strokes.start_workers()
    cpu = torch.device("cpu")
    sources = gather(cpu, Wanted(role=DEV, hand=12_000, seed=seed))
    mix = Mix(4, 0, each, each, each, each, 0)
    crops, labels = Batches(sources, mix, seed, cpu).next()
    kept = labels >= 10
    np.savez_compressed(
        out,
        gray=crops[kept].numpy().astype(np.uint8),
        labels=labels[kept].numpy().astype(np.uint8),
    )
    click.echo(f"{int(kept.sum())} crops in {out}")


if __name__ == "__main__":
    main()
