"""Draws the hardest errors: ``python -m sheet_reader.lab.hardest_errors``.

One contact sheet for each set, the surest mistakes first, each crop with its label, what was read
and how sure; into ``work_out/hardest_errors`` (ignored by git: no set's images belong in the
repository).
"""

from __future__ import annotations

from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.digits.read import BoxReader
from sheet_reader.lab.evaluate import (
    TestSet,
    digit_sets,
    empty_and_several,
    out_option,
    weights_option,
)
from sheet_reader.lab.measures import DIGITS
from sheet_reader.numbers import LAB

_COLUMNS = LAB.contact_columns
_TILE = LAB.contact_tile_px
_TEXT = LAB.contact_text_px


def error_sheet(
    test: TestSet, probabilities: NDArray[np.float64], most: int = 96
) -> NDArray[np.uint8]:
    """The contact sheet of one set, uint8 (H, W); a row of white where nothing is misread."""
    answers = probabilities.argmax(axis=1)
    if (test.labels >= 0).all():
        bad = answers != test.labels
    elif test.name == "blank":
        bad = answers != CLASSES.index(EMPTY)
    else:
        bad = answers < DIGITS
    places = np.flatnonzero(bad)
    places = places[np.argsort(-probabilities[places].max(axis=1))][:most]
    tiles = [_tile(test, int(k), probabilities[k]) for k in places]
    while not tiles or len(tiles) % _COLUMNS:
        tiles.append(np.full((_TILE + _TEXT, _TILE), 255, np.uint8))
    rows = [np.hstack(tiles[k : k + _COLUMNS]) for k in range(0, len(tiles), _COLUMNS)]
    return np.vstack(rows)


def _tile(test: TestSet, place: int, chances: NDArray[np.float64]) -> NDArray[np.uint8]:
    picture = cv2.resize(test.crops[place], (_TILE, _TILE), interpolation=cv2.INTER_CUBIC)
    label = str(test.labels[place]) if test.labels[place] >= 0 else test.name
    text = np.full((_TEXT, _TILE), 255, np.uint8)
    words = f"{label[:5]}>{CLASSES[int(chances.argmax())][:5]} {chances.max():.2f}"
    cv2.putText(text, words, (2, 13), cv2.FONT_HERSHEY_SIMPLEX, 0.38, 0, 1, cv2.LINE_AA)
    return np.asarray(np.vstack([picture, text]), np.uint8)


@click.command()
@weights_option
@out_option(Path("work_out/hardest_errors"))
def main(weights: Path | None, out: Path) -> None:
    """Draw all sheets."""
    reader = BoxReader.of_folder(weights)
    out.mkdir(parents=True, exist_ok=True)
    for test in (*digit_sets(), *empty_and_several()):
        readings = reader.read_boxes(test.crops).probabilities
        path = out / f"{test.name}.png"
        cv2.imwrite(str(path), error_sheet(test, readings))
        click.echo(path)


if __name__ == "__main__":
    main()
