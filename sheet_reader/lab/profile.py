"""Where the time of reading a photo goes: ``python -m sheet_reader.lab.profile``.

CPU time of one thread. A plain decode of the same file to grey is timed in the same round, right
before each reading, and every stage is told as a ratio to it, so that the figures of two machines,
or of a busy and a free one, can be compared. What a process makes ready once (the templates of the
study's pages, the network) is not timed.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import time
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import click
import cv2
import numpy as np

from sheet_reader.demo.samples import sample_folder
from sheet_reader.digits.read import read_sheet
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab.baselines import tesseract
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.options import data_option, json_option
from sheet_reader.lab.sets import find_data
from sheet_reader.lab.stages import DECODING, STAGES, StageClock, timed
from sheet_reader.lab.work_counts import WorkCounts, counted
from sheet_reader.numbers import LAB
from sheet_reader.reading.picture import read_picture
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.study_photos import photo_of
from sheet_reader.study.reader import read_study
from sheet_reader.vision.findings import SheetView

SETS = ("bean_tips", "rock_pools")
"""Sample studies: pages of 40 to 44 boxes, and of 76 to 80."""
WHOLE = "whole reading"
LONG_SIDE = LAB.profile_long_side_px


@dataclass(frozen=True, slots=True)
class Round:
    """One reading of one photo: CPU ``seconds`` by stage and those of the plain ``decode``."""

    seconds: dict[str, float]
    decode: float


@dataclass(frozen=True, slots=True)
class Profile:
    """A set of photos: ``ratios`` of each stage to the decode, one for each photo, the ``decode``
    in seconds and the ``counts`` of each photo.
    """

    ratios: dict[str, list[float]]
    decode: list[float]
    counts: list[WorkCounts]


def make_photos(study: str, photos: int, seed: int, data: Path | None) -> list[bytes]:
    """Files of 12 megapixels of ``study``, typical ones by the benchmark's writers."""
    cv2.setNumThreads(1)
    hands, book = held_out_hands(data), LayoutBook(read_study(sample_folder(study)))
    numbers = range(seed * 1_000_000, seed * 1_000_000 + photos)
    return [photo_of(book, hands, "typical", n, long_side=LONG_SIDE).data for n in numbers]


def grey(data: bytes) -> object:
    """The file's pixels in grey, as stored: what every reading is compared with."""
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    return cv2.imdecode(np.frombuffer(data, np.uint8), flags)


def read(data: bytes, book: LayoutBook, clock: StageClock) -> list[SheetView]:
    """Read one file as ``read`` does, each stage charged to the ``clock``; its sheets."""
    study = book.study
    with timed(clock):
        with clock.within(DECODING):
            picture = next(iter(pictures_in(data, "photo.jpg")))
        assert isinstance(picture, OpenedPicture), picture.reason
        found = read_picture(picture, study, book, study.season.last)
    return [item[0] for item in found if isinstance(item, tuple)]


def one_round(data: bytes, book: LayoutBook) -> Round:
    """A plain decode, then a reading of the same file."""
    start = time.process_time()
    grey(data)
    decode = time.process_time() - start
    clock = StageClock()
    read(data, book, clock)
    return Round(clock.stop(), decode)


def ratios_of(rounds: Sequence[Round]) -> dict[str, float]:
    """The median ratio of every stage, and of the whole, to the decode of the same round."""
    names = {name for r in rounds for name in r.seconds}
    found = {n: float(np.median([r.seconds.get(n, 0.0) / r.decode for r in rounds])) for n in names}
    found[WHOLE] = float(np.median([sum(r.seconds.values()) / r.decode for r in rounds]))
    return found


def profile(photos: Sequence[bytes], book: LayoutBook, rounds: int) -> Profile:
    """Every photo read ``rounds`` times in turn, after a reading that is counted, not timed."""
    counts = []
    for data in photos:
        with counted() as work:
            read(data, book, StageClock())
        counts.append(work)
    kept: list[list[Round]] = [[] for _ in photos]
    for _ in range(rounds):
        for data, mine in zip(photos, kept, strict=True):
            mine.append(one_round(data, book))
    each = [ratios_of(mine) for mine in kept]
    names = [n for n in (*STAGES, WHOLE) if any(n in ratios for ratios in each)]
    decode = [float(np.median([r.decode for r in mine])) for mine in kept]
    return Profile({n: [r.get(n, 0.0) for r in each] for n in names}, decode, counts)


def table(name: str, found: Profile) -> list[str]:
    """The lines that tell of one set."""
    boxes = sorted({c.boxes for c in found.counts})
    wide = max(map(len, (*STAGES, WHOLE))) + 2
    lines = [
        f"{name}: {len(found.decode)} photos, {boxes[0]} to {boxes[-1]} boxes read by the network; "
        f"the decode takes {1e3 * np.median(found.decode):.1f} ms",
        f"  {'÷ grey decode':{wide}}{'median':>8}{'worst':>8}",
    ]
    for stage, values in found.ratios.items():
        lines.append(f"  {stage:{wide}}{np.median(values):8.2f}{max(values):8.2f}")
    lines.append(f"  {'counts per photo':{wide}}{'median':>8}{'worst':>8}")
    for what, values in _counts(found.counts).items():
        lines.append(f"  {what:{wide}}{np.median(values):8.1f}{max(values):8.1f}")
    return lines


def _counts(counts: Iterable[WorkCounts]) -> dict[str, list[float]]:
    every = list(counts)
    return {
        "megapixels decoded": [c.decoded / 1e6 for c in every],
        "megapixels resampled": [c.resampled / 1e6 for c in every],
        "network calls": [float(c.network_calls) for c in every],
        "boxes to the network": [float(c.boxes) for c in every],
        "boxes read again": [float(c.boxes_again) for c in every],
    }


def peak_mb() -> float | None:
    """Most memory that this process has held, MB; None where the system doesn't tell."""
    try:
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    return next((int(s.split()[1]) / 1024 for s in lines if s.startswith("VmHWM")), None)


def against_tesseract(photos: Sequence[bytes], book: LayoutBook, boxes: int) -> float | None:
    """CPU time of Tesseract over ours, for a box of the rectified page; None without Tesseract, or
    where no sheet is found.
    """
    views = [view for data in photos for view in read(data, book, StageClock()) if view.boxes]
    if not views:
        return None
    crops = np.stack([box.crop for view in views for box in view.boxes])
    some = crops[np.random.default_rng(1).permutation(len(crops))[:boxes]]
    before = os.times()
    if tesseract(some) is None:
        return None
    after = os.times()  # Tesseract is a process of its own
    theirs = sum(
        getattr(after, n) - getattr(before, n) for n in ("children_user", "children_system")
    )
    start = time.process_time()
    for view in views:
        read_sheet(np.stack([box.crop for box in view.boxes]))
    ours = time.process_time() - start
    return float(theirs / len(some)) / (ours / len(crops))


@click.command()
@click.option("--photos", type=click.IntRange(1), default=6, show_default=True, help="Of each set.")
@click.option("--rounds", type=click.IntRange(1), default=5, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=9190, show_default=True)
@click.option(
    "--tesseract",
    "few",
    type=click.IntRange(0),
    default=20,
    show_default=True,
    help="Boxes that Tesseract reads for comparison.",
)
@json_option
@data_option
def main(
    photos: int, rounds: int, seed: int, few: int, json_file: Path | None, data: Path | None
) -> None:  # fmt: skip
    """Read simulated photos of 12 megapixels and print where the time goes."""
    cv2.setNumThreads(1)
    where, figures = find_data(data), {}
    context = multiprocessing.get_context("spawn")
    with context.Pool(1) as pool:  # its memory is not the reader's
        made = {s: pool.apply(make_photos, (s, photos, seed, where)) for s in SETS}
    books = {study: LayoutBook(read_study(sample_folder(study))) for study in SETS}
    for study, book in books.items():
        found = profile(made[study], book, rounds)
        figures[study] = asdict(found)
        click.echo("\n".join(table(study, found)))
    if (peak := peak_mb()) is not None:
        click.echo(f"Most memory held: {peak:.0f} MB, the {len(SETS) * photos} files among it")
    for study, book in books.items():
        ratio = against_tesseract(made[study][:2], book, few) if few else None
        if ratio is not None:
            click.echo(f"Tesseract ÷ network, CPU time of a box of {study}: {ratio:.0f}")
    if json_file is not None:
        json_file.write_text(json.dumps(figures), encoding="utf-8")


if __name__ == "__main__":
    main()
