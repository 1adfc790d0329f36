"""Trains the reader: ``python -m sheet_reader.digits.train``.

Writes ``weights.onnx`` and ``calibration.json``. With ``--out`` they go to another folder.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import shutil
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from sheet_reader.digits import splits
from sheet_reader.digits.read import CALIBRATION, WEIGHTS
from sheet_reader.digits.training import checks, strokes
from sheet_reader.digits.training.batches import Batches, Mix
from sheet_reader.digits.training.export import temperature, write_calibration, write_onnx
from sheet_reader.digits.training.fit import Recipe, fit, scores_of
from sheet_reader.digits.training.model import Network, Teacher, Widths
from sheet_reader.digits.training.sources import Wanted, gather
from sheet_reader.digits.types import CLASSES

TEACHER_RATE = 0.5
"""The teacher's learning rate as a share of the network's."""


def main(arguments: list[str] | None = None) -> None:
    """Train, calibrate, write, and say how it did on the development data."""
    options = _options(arguments)
    device = torch.device(options.device or ("cuda" if torch.cuda.is_available() else "cpu"))
    torch.set_num_threads(os.cpu_count() or 1)  # the package asks for one, good for reading
    torch.manual_seed(options.seed)
    torch.set_float32_matmul_precision("high")
    begun = time.monotonic()
    strokes.start_workers()
    wanted = Wanted(
        tuple(options.without), hand=options.hand, semeion=options.semeion, photos=options.photos
    )
    sources = gather(device, wanted)
    print(f"sources after {time.monotonic() - begun:.0f} s on {device}")
    made, batch = (16_384, 2_048) if device.type == "cuda" else (256, 256)
    mix = Mix().scaled(made)
    recipe = Recipe(int(options.samples), rate=options.rate, batch=batch, seed=options.seed,
                    limit_s=options.limit)  # fmt: skip
    compiled = device.type == "cuda" or shutil.which("c++") is not None
    batches = Batches(sources, mix, options.seed, device, compiled)
    out: Path = options.out
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
    print(json.dumps(figures, indent=1))


def _teacher(
    options: argparse.Namespace, batches: Batches, recipe: Recipe
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


def _widths(options: argparse.Namespace) -> Widths:
    stem, coarse, middle, fine = options.widths
    first, second, third = options.blocks
    return Widths(stem, coarse, middle, fine, (first, second, third))


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


def _options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m sheet_reader.digits.train", description=__doc__
    )
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument(
        "--device", choices=("cpu", "cuda"), help="default: a GPU where there is one"
    )
    parser.add_argument(
        "--samples", type=float, default=31e6, help="training crops, each seen once"
    )
    parser.add_argument("--rate", type=float, default=4e-3, help="highest learning rate")
    parser.add_argument("--limit", type=float, default=0.0, help="seconds after which to end")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hand", type=int, default=300_000, help="digits by the procedural hand")
    parser.add_argument("--without", nargs="*", default=[], help="sets to leave out")
    parser.add_argument("--photos", type=Path, help="crops made by digits.training.photos")
    parser.add_argument("--start", type=Path, help="go on from this network.pt")
    parser.add_argument(
        "--lessons", type=float,
        help="crops that a large network learns from first, to teach the small one "
        "(default: 17e6 on a GPU, else 0)",
    )  # fmt: skip
    parser.add_argument("--taught-by", type=Path, help="the teacher.pt of an earlier run")
    parser.add_argument("--semeion", action="store_true", help="train on Semeion too")
    parser.add_argument("--widths", type=int, nargs=4, default=[24, 64, 112, 192])
    parser.add_argument("--blocks", type=int, nargs=3, default=[2, 4, 2])
    return parser.parse_args(arguments)


if __name__ == "__main__":
    main()
