"""Trains the reader: ``python -m sheet_reader.lab.train``.

Writes ``weights.onnx``, ``calibration.json`` and ``training.json``, which says what they were made
of and how they did on the writers kept for choosing. With ``--out`` they go to another folder. The
large network that teaches may be trained in a run of its own (``--only-teacher``, then
``--taught-by``): the small one comes out the same.
"""

from __future__ import annotations

import copy
import json
import os
import shutil
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
import torch
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES
from sheet_reader.digits.read import CALIBRATION, WEIGHTS
from sheet_reader.lab.sets import data_folder
from sheet_reader.lab.temperature import temperature, write_calibration
from sheet_reader.lab.training import checks, strokes
from sheet_reader.lab.training.batches import Batches, Mix
from sheet_reader.lab.training.export import write_onnx
from sheet_reader.lab.training.fit import Recipe, fit, scores_of
from sheet_reader.lab.training.model import Network, Teacher, Widths
from sheet_reader.lab.training.provenance import (
    data_digests,
    file_digest,
    repeatable,
    surroundings,
    weights_digest,
)
from sheet_reader.lab.training.sources import Sources, Wanted, gather
from sheet_reader.lab.writers import TEMPERATURE
from sheet_reader.numbers import LAB

_SHIPPED = Path(__file__).resolve().parents[1] / "digits"
TEACHER_RATE = LAB.teacher_rate
TEACHER = "teacher.pt"
_PARTS = LAB.seeds_a_run


@dataclass(frozen=True, slots=True)
class Options:
    """What one training run is told; see the command's help."""

    out: Path
    device: str | None
    samples: float
    rate: float
    seed: int
    hand: int
    without: tuple[str, ...]
    photos: Path | None
    start: Path | None
    lessons: float | None
    only_teacher: bool
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
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--hand", type=int, default=300_000, help="Digits by the procedural hand.")
@click.option("--without", multiple=True, metavar="SET", help="Leave this set out.")
@click.option("--photos", type=_file, help="Crops made by lab.training.photos.")
@click.option("--start", type=_file, help="Go on from this network.pt.")
@click.option("--lessons", type=float,
              help="Crops that a large network learns from first, to teach the small one "
              "(17e6 on a GPU, else 0).")
@click.option("--only-teacher", is_flag=True, help="End when the large network has learnt.")
@click.option("--taught-by", type=_file,
              help="The teacher.pt of an earlier run: the same as in one go.")
@click.option("--semeion", is_flag=True, help="Train on Semeion too.")
@click.option("--widths", type=int, nargs=4, default=(24, 64, 112, 192), show_default=True)
@click.option("--blocks", type=int, nargs=3, default=(2, 4, 2), show_default=True)
def main(**given: Any) -> None:  # fmt: skip
    """Train, calibrate, write, and say how it did on the writers kept for choosing.

    The same options, data, versions and hardware give the same weights. training.json says what
    they were, with digests of the data, the teacher and the weights.
    """
    train(Options(**given))


class Run:
    """One training run: its sources, and a stream of batches for each part."""

    def __init__(self, options: Options) -> None:
        self.options = options
        chosen = options.device or ("cuda" if torch.cuda.is_available() else "cpu")
        self.device = torch.device(chosen)
        on_gpu = self.device.type == "cuda"
        self.wanted = Wanted(
            options.without, hand=options.hand, semeion=options.semeion, photos=options.photos
        )
        self.sources = gather(self.device, self.wanted)
        made, batch = (16_384, 2_048) if on_gpu else (256, 256)
        self.mix = Mix().scaled(made)
        self.recipe = Recipe(int(options.samples), rate=options.rate, batch=batch)
        self.compiled = on_gpu or shutil.which("c++") is not None
        lessons = options.lessons
        self.lessons = int((17e6 if on_gpu else 0.0) if lessons is None else lessons)

    def stream(self, part: int, sources: Sources | None = None) -> Batches:
        """The batches of one part of the run (0 teacher, 1 network, 2 temperature), always the
        same; PyTorch's own random numbers begin anew too.
        """
        seed = self.options.seed * _PARTS + part
        repeatable(seed)
        return Batches(sources or self.sources, self.mix, seed, self.device, self.compiled)

    def teacher(self) -> Teacher | None:
        """The large network: read from a file, trained now and kept, or none. It always teaches in
        the half precision in which it is kept.
        """
        options = self.options
        teacher = Teacher()
        path = options.taught_by
        if path is None:
            if not self.lessons:
                return None
            batches = self.stream(0)
            recipe = replace(
                self.recipe, samples=self.lessons, rate=TEACHER_RATE * self.recipe.rate
            )
            trained = fit(Teacher(), batches, recipe)
            path = options.out / TEACHER
            torch.save({k: v.half().cpu() for k, v in trained.state_dict().items()}, path)
        teacher.load_state_dict(torch.load(path, map_location="cpu", weights_only=True))
        return teacher

    def network(self, teacher: Teacher | None) -> torch.nn.Module:
        """The reader's network, trained."""
        batches = self.stream(1)
        network: torch.nn.Module = Network(_widths(self.options))
        if self.options.start:
            weights = torch.load(self.options.start, map_location="cpu", weights_only=True)
            network.load_state_dict(weights)
        return fit(network, batches, self.recipe, teacher=teacher)

    def temperature(self, network: torch.nn.Module) -> tuple[float, float]:
        """The temperature fitted on the writers kept for it, and the share read right there."""
        wanted = replace(self.wanted, role=TEMPERATURE, hand=self.options.hand // 10,
                         seed=77, photos=None, semeion=False)  # fmt: skip
        stream = self.stream(2, gather(self.device, wanted))
        scores, labels = _stream_scores(network, stream, int(min(40_000, self.recipe.samples / 8)))
        return temperature(scores, labels), float((scores.argmax(1) == labels).mean())

    def record(self, teacher: Teacher | None) -> dict[str, Any]:
        """What the run is made of."""
        told = asdict(self.options)
        lessons = None if self.options.taught_by else self.lessons
        kept = {k: v for k, v in told.items() if k not in ("out", "photos", "start", "taught_by")}
        files = {k: file_digest(v) for k, v in told.items() if k in ("photos", "start") and v}
        return {
            "options": kept | {"samples": self.recipe.samples, "lessons": lessons},
            "surroundings": surroundings(self.device),
            "data sha256": data_digests(data_folder()),
            "files sha256": files,
            "teacher sha256": None if teacher is None else weights_digest(teacher),
        }


def train(options: Options) -> None:
    """One training run; writes the weights, their calibration, the figures it reached and what it
    was made of.
    """
    torch.set_num_threads(os.cpu_count() or 1)  # the package asks for one, good for reading
    torch.set_float32_matmul_precision("high")
    begun = time.monotonic()
    strokes.start_workers()
    run = Run(options)
    click.echo(f"sources after {time.monotonic() - begun:.0f} s on {run.device}")
    out = options.out
    out.mkdir(parents=True, exist_ok=True)
    teacher = run.teacher()
    record = run.record(teacher)
    if options.only_teacher:
        if teacher is None:
            raise click.UsageError("--only-teacher needs --lessons")
        figures = checks.development(teacher.to(run.device), 1.0, run.device)
        _write(out / "teacher.json", record | {"choice": figures})
        return
    network = run.network(teacher)
    torch.save(network.state_dict(), out / "network.pt")
    write_onnx(copy.deepcopy(network), out / WEIGHTS)
    level, right = run.temperature(network)
    note = f"fitted on the writers of the role {TEMPERATURE!r} as training crops"
    write_calibration(out / CALIBRATION, level, [0.0] * len(CLASSES), note)
    made = {
        "network sha256": weights_digest(network),
        "weights.onnx sha256": file_digest(out / WEIGHTS),
        "temperature": level,
        "stream right": right,
        "choice": checks.development(network.to(run.device), level, run.device),
    }
    _write(out / "training.json", record | made)


def _write(path: Path, record: dict[str, Any]) -> None:
    text = json.dumps(record, indent=1)
    path.write_text(text + "\n", encoding="utf-8")
    click.echo(text)


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
