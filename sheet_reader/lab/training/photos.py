"""Crops as the reader really gets them: simulated photographs, through the vision room.

``python -m sheet_reader.lab.training.photos OUT.npz --role training``: photographs sheets filled
in by the writers of one role, finds the boxes as the reader does, and keeps each crop with what
truly stands in the box.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.demo.samples import SAMPLES
from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab.hands import hands_of
from sheet_reader.lab.options import jobs_option
from sheet_reader.lab.writers import DEV, TEST, TRAIN, Role
from sheet_reader.numbers import LAB
from sheet_reader.simulate.cases import Case, Desk, make_case
from sheet_reader.simulate.truth import CellTruth
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import SheetView

SEEDS: dict[Role, int] = {TRAIN: 81_000_000, DEV: 82_000_000, TEST: 83_000_000}
_LOST = LAB.lesson_hidden


def crops_of(case: Case, desk: Desk) -> Iterator[tuple[NDArray[np.uint8], str]]:
    """Each readable box of one picture: its crop and its content, a name of ``CLASSES``."""
    for crops, contents in sheets_of(case, desk):
        yield from ((crops[at], content) for at, content in contents.items())


def sheets_of(case: Case, desk: Desk) -> Iterator[tuple[NDArray[np.uint8], dict[int, str]]]:
    """Of each sheet in one picture the crops of all boxes (N, 64, 64), and what truly stands in
    those that can be read, by their place: a name of ``CLASSES``.
    """
    picture = next(iter(pictures_in(case.data, "photo.jpg")))
    if not isinstance(picture, OpenedPicture):
        return
    for finding in find_sheets(picture.gray, desk.books[case.study]):
        if not isinstance(finding, SheetView) or not finding.boxes:
            continue
        sheet = next((s for s in case.truth.sheets if s.code == finding.page.code), None)
        cells = {(c.field, c.index): c for c in sheet.cells} if sheet else {}
        struck = {f.field for f in sheet.fields if f.state == "struck"} if sheet else set()
        contents: dict[int, str] = {}
        for at, box in enumerate(finding.boxes):
            truth = cells.get((box.cell.field, box.cell.index))
            if truth is None or box.occluded or not _in_sight(truth):
                continue
            if truth.content != EMPTY or truth.field not in struck:
                contents[at] = truth.content
        yield np.stack([box.crop for box in finding.boxes]), contents


def _in_sight(cell: CellTruth) -> bool:
    return cell.inside and not cell.stray and max(cell.covered, cell.saturated) < _LOST


_desk: Desk | None = None


def _start(role: Role) -> None:
    global _desk
    cv2.setNumThreads(1)
    _desk = Desk.of_samples(hands_of(role))


def _run(task: tuple[str, str, int]) -> list[tuple[NDArray[np.uint8], int]]:
    assert _desk is not None
    case = make_case(_desk, *task, bare_share=0.0)
    return [(crop, CLASSES.index(content)) for crop, content in crops_of(case, _desk)]


def tasks(role: Role, first: int, photos: int, levels: Sequence[str]) -> list[tuple[str, str, int]]:
    """Study, level and seed of each picture."""
    found = []
    for number in range(first, first + photos):
        study = SAMPLES[number % len(SAMPLES)]
        level = levels[number // len(SAMPLES) % len(levels)]
        found.append((study, level, SEEDS[role] + number))
    return found


@click.command()
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--role", type=click.Choice(list(SEEDS)), default=TRAIN, show_default=True)
@click.option("--photos", type=click.IntRange(1), default=60, show_default=True)
@click.option("--first", type=click.IntRange(0), default=0, help="Number of the first picture.")
@click.option(
    "--level",
    "levels",
    multiple=True,
    default=("typical",),
    show_default=True,
    help="Levels taken in turn; may be repeated.",
)
@jobs_option
def main(
    out: Path, role: Role, photos: int, first: int, levels: tuple[str, ...], jobs: int
) -> None:
    """Write the crops of many photographs to the file OUT: the same, however many processes."""
    crops: list[NDArray[np.uint8]] = []
    labels: list[int] = []
    with multiprocessing.get_context("spawn").Pool(jobs, _start, (role,)) as pool:
        for number, found in enumerate(pool.imap(_run, tasks(role, first, photos, levels)), 1):
            crops += [crop for crop, _ in found]
            labels += [label for _, label in found]
            click.echo(f"\r{number}/{photos}", nl=False, err=True)
    click.echo("\r", nl=False, err=True)
    np.savez_compressed(out, gray=np.array(crops), labels=np.array(labels, np.uint8))
    counts = np.bincount(labels, minlength=len(CLASSES))
    click.echo(f"{photos} photographs, {len(labels)} crops: {out.name}")
    click.echo(", ".join(f"{n} {name}" for n, name in zip(counts, CLASSES, strict=True)))


if __name__ == "__main__":
    main()
