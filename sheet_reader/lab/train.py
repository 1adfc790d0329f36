"""Trains the reader: ``python -m sheet_reader.lab.train``.

Writes ``weights.onnx`` and ``calibration.json``. With ``--out`` they go to another folder.
"""

from __future__ import annotations

import copy
import json
import os
import shutil
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
import torch
from numpy.typing import NDArray

from sheet_reader.digits.read import CALIBRATION, WEIGHTS
from sheet_reader.digits.types import CLASSES
from sheet_reader.lab import splits
from sheet_reader.lab.training import checks, strokes
from sheet_reader.lab.training.batches import Batches, Mix
from sheet_reader.lab.training.export import temperature, write_calibration, write_onnx
from sheet_reader.lab.training.fit import Recipe, fit, scores_of
from sheet_reader.lab.training.model import Network, Teacher, Widths
from sheet_reader.lab.training.sources import Wanted, gather

_SHIPPED = Path(__file__).resolve().parents[1] / "digits"
TEACHER_RATE = 0.5
"""The teacher's learning rate as a share of the network's."""


@dataclass(frozen=True, slots=True)
class Options:
    """What one training run is told; see the command's help."""

    out: Path
    device: str | None
    samples: float
    rate: float
    limit: float
    seed: int
    hand: int
    without: tuple[str, ...]
    photos: Path | None
    start: Path | None
    lessons: float | None
    taught_by: Path | None
    semeion: bool
    widths: tuple[int, int, int, int]
    blocks: tuple[int, int, int]


_file = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.command()
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), default=_SHIPPED,
              help="Folder for the weights; the package's own if left out.")
@click.option("--device", type=click.Choice(["cpu", "cuda"]), help="A GPU where there is one.")
@click.option("--samples", type=float, default=31e6, show_default=True,
              help="Training crops, each seen once.")
@click.option("--rate", type=float, default=4e-3, help="Highest learning rate.")
@click.option("--limit", type=float, default=0.0, help="Seconds after which to end.")
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--hand", type=int, default=300_000, help="Digits by the procedural hand.")
@click.option("--without", multiple=True, metavar="SET", help="Leave this set out.")
@click.option("--photos", type=_file, help="Crops made by lab.training.photos.")
@click.option("--start", type=_file, help="Go on from this network.pt.")
@click.option("--lessons", type=float,
              help="Crops that a large network learns from first, to teach the small one "
              "(17e6 on a GPU, else 0).")
@click.option("--taught-by", type=_file, help="The teacher.pt of an earlier run.")
@click.option("--semeion", is_flag=True, help="Train on Semeion too.")
@click.option("--widths", type=int, nargs=4, default=(24, 64, 112, 192), show_default=True)
@click.option("--blocks", type=int, nargs=3, default=(2, 4, 2), show_default=True)
def main(**given: Any) -> None:  # fmt: skip
    """Train, calibrate, write, and say how it did on the development data."""
    train(Options(**given))


def train(options: Options) -> None:
    """One training run; writes the weights, their calibration and the figures it reached."""
    device = torch.device(options.device or ("cuda" if torch.cuda.is_available() else "cpu"))
    torch.set_num_threads(os.cpu_count() or 1)  # the package asks for one, good for reading
    torch.manual_seed(options.seed)
    torch.set_float32_matmul_precision("high")
    begun = time.monotonic()
    strokes.start_workers()
    wanted = Wanted(
        options.without, hand=options.hand, semeion=options.semeion, photos=options.photos
    )
    sources = gather(device, wanted)
    click.echo(f"sources after {time.monotonic() - begun:.0f} s on {device}")
    made, batch = (16_384, 2_048) if device.type == "cuda" else (256, 256)
    mix = Mix().scaled(made)
    recipe = Recipe(int(options.samples), rate=options.rate, batch=batch, seed=options.seed,
                    limit_s=options.limit)  # fmt: skip
    compiled = device.type == "cuda" or shutil.which("c++") is not None
    batches = Batches(sources, mix, options.seed, device, compiled)
    out = options.out
    out.mkdir(parents=True, exist_ok=True)
    teacher = _teacher(options, batches, recipe)
    if teacher is not None:
        torch.save({k: v.half() for k, v in teacher.state_dict().items()}, out / "teacher.pt")
    network: torch.nn.Module = Network(_widths(options))
    if options.start:
        network.load_state_dict(torch.load(options.start, map_location="cpu", weights_only=True))
    network = fit(network, batches, recipe, teacher=teacher)
    torch.save(network.state_dict(), out / "network.pt")
    write_onnx(copy.deepcopy(network), out / WEIGHTS)
    held = gather(
        device,
        replace(wanted, split=splits.CALIBRATION, hand=30_000, seed=77, photos=None, semeion=False),
    )
    stream = Batches(held, mix, 4_000_000 + options.seed, device, compiled)
    scores, labels = _stream_scores(network, stream, int(min(40_000, options.samples / 8)))
    level = temperature(scores, labels)
    note = "fitted on the calibration splits of MNIST, pendigits and UNIPEN as training crops"
    write_calibration(out / CALIBRATION, level, [0.0] * len(CLASSES), note)
    figures = checks.development(network.to(device), level, device)
    figures["temperature"] = level
    figures["stream right"] = float((scores.argmax(1) == labels).mean())
    if teacher is not None:
        theirs = checks.development(teacher, 1.0, device)
        figures |= {f"teacher, {name}": value for name, value in theirs.items()}
    figures["seconds"] = time.monotonic() - begun
    (out / "development.json").write_text(json.dumps(figures, indent=1) + "\n")
    click.echo(json.dumps(figures, indent=1))


def _teacher(
    options: Options, batches: Batches, recipe: Recipe
) -> torch.nn.Module | None:
    """The large network: read from a file, trained now, or none."""
    taught = options.lessons
    if taught is None:
        taught = 17e6 if batches.device.type == "cuda" else 0.0
    if options.taught_by:
        teacher = Teacher()
        weights = torch.load(options.taught_by, map_location="cpu", weights_only=True)
        teacher.load_state_dict(weights)
        return teacher
    if not taught:
        return None
    first = replace(recipe, samples=int(taught), rate=TEACHER_RATE * recipe.rate, limit_s=0.0)
    return fit(Teacher(), batches, first)


def _widths(options: Options) -> Widths:
    stem, coarse, middle, fine = options.widths
    return Widths(stem, coarse, middle, fine, options.blocks)


def _stream_scores(
    network: torch.nn.Module, stream: Batches, least: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    scores: list[NDArray[np.float64]] = []
    labels: list[NDArray[np.int64]] = []
    while sum(len(part) for part in labels) < least:
        grey, truth = stream.next()
        scores.append(scores_of(network, grey))
        labels.append(truth.cpu().numpy())
    return np.concatenate(scores), np.concatenate(labels)


if __name__ == "__main__":
    main()
