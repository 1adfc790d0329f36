"""Crops as the reader really gets them: simulated photographs, through the vision room.

``python -m sheet_reader.lab.training.photos OUT.npz --split train``: photographs sheets filled
in by the writers of one split, finds the boxes as the reader does, and keeps each crop with what
truly stands in the box.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.types import CLASSES, EMPTY
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.intake.types import Picture
from sheet_reader.lab import splits
from sheet_reader.lab.sets import data_folder
from sheet_reader.simulate.cases import Case, Desk, make_case
from sheet_reader.simulate.samples import SAMPLES
from sheet_reader.simulate.sources import (
    Hands,
    MixedHands,
    ProceduralHands,
    StrokeHands,
    load_strokes,
)
from sheet_reader.simulate.truth import CellTruth
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.types import SheetView

SEEDS = {splits.TRAIN: 81_000_000, splits.DEV: 82_000_000, splits.TEST: 83_000_000}
_LOST = 0.02


def hands_of(split: str, folder: Path | None = None) -> Hands:
    """The writers of one split of pendigits and UNIPEN; for training the procedural hand too."""
    where = folder or data_folder()
    found: list[Hands] = []
    for name, rule in (
        ("pendigits_orig", splits.pendigits_split),
        ("unipen_1a", splits.unipen_split),
    ):
        path = where / f"{name}.npz"
        with np.load(path) as arrays:
            held: NDArray[np.bool_] = rule(arrays) == split
        found.append(StrokeHands(name, load_strokes(path, held)))
    if split == splits.TRAIN:
        found.append(ProceduralHands())
    return MixedHands(found)


def crops_of(case: Case, desk: Desk) -> Iterator[tuple[NDArray[np.uint8], str]]:
    """Each readable box of one picture: its crop and its content, a name of ``CLASSES``."""
    picture = next(iter(pictures_in(case.data, "photo.jpg")))
    if not isinstance(picture, Picture):
        return
    for finding in find_sheets(picture.gray, desk.books[case.study]):
        if not isinstance(finding, SheetView):
            continue
        sheet = next((s for s in case.truth.sheets if s.code == finding.page.code), None)
        cells = {(c.field, c.index): c for c in sheet.cells} if sheet else {}
        struck = {f.field for f in sheet.fields if f.state == "struck"} if sheet else set()
        for box in finding.boxes:
            truth = cells.get((box.cell.field, box.cell.index))
            if truth is None or box.hidden or not _in_sight(truth):
                continue
            if truth.content != EMPTY or truth.field not in struck:
                yield box.crop, truth.content


def _in_sight(cell: CellTruth) -> bool:
    return cell.inside and not cell.stray and max(cell.covered, cell.burnt) < _LOST


@click.command()
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--split", type=click.Choice(sorted(SEEDS)), default=splits.TRAIN, show_default=True)
@click.option("--photos", type=click.IntRange(1), default=60, show_default=True)
@click.option("--first", type=click.IntRange(0), default=0, help="Number of the first picture.")
@click.option(
    "--level", "levels", multiple=True, default=("typical",), show_default=True,
    help="Levels taken in turn; may be repeated.",
)
def main(out: Path, split: str, photos: int, first: int, levels: tuple[str, ...]) -> None:
    """Write the crops of many photographs to the file OUT."""
    cv2.setNumThreads(1)
    desk = Desk.of_samples(hands_of(split))
    crops: list[NDArray[np.uint8]] = []
    labels: list[int] = []
    for number in range(first, first + photos):
        study = SAMPLES[number % len(SAMPLES)]
        level = levels[number // len(SAMPLES) % len(levels)]
        case = make_case(desk, study, level, SEEDS[split] + number, bare_share=0.0)
        for crop, content in crops_of(case, desk):
            crops.append(crop)
            labels.append(CLASSES.index(content))
        if number % 10 == 9 or number + 1 == first + photos:
            np.savez_compressed(out, gray=np.array(crops), labels=np.array(labels, np.uint8))
            click.echo(f"{number + 1 - first} photographs, {len(labels)} crops")


if __name__ == "__main__":
    main()
