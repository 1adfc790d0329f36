"""Reliability plots: ``python -m sheet_reader.lab.reliability``.

For each test set a picture with, per bin of confidence, how often the answer was right, and the
number of answers in the bin; into ``work_out/reliability``.
"""

from __future__ import annotations

from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.read import BoxReader
from sheet_reader.lab.evaluate import digit_sets, out_option, weights_option
from sheet_reader.lab.measures import Labels, Probabilities, calibration_error, digit_answers
from sheet_reader.numbers import LAB

_SIDE = LAB.plot_side_px
_RIM = LAB.plot_rim_px
_BINS = LAB.reliability_bins


def bins_of(
    probabilities: Probabilities, labels: Labels, bins: int = _BINS
) -> list[tuple[float, float, int]]:
    """Mean confidence, share right and count of each bin that holds any answer."""
    answers, sure = digit_answers(probabilities)
    right = answers == labels
    place = np.minimum((sure * bins).astype(int), bins - 1)
    found = [place == b for b in range(bins)]
    return [(float(sure[m].mean()), float(right[m].mean()), int(m.sum())) for m in found if m.any()]


def plot(name: str, probabilities: Probabilities, labels: Labels) -> NDArray[np.uint8]:
    """The reliability plot of one set, uint8 (H, W, 3)."""
    side = _SIDE + 2 * _RIM
    canvas = np.full((side, side, 3), 255, np.uint8)

    def at(x: float, y: float) -> tuple[int, int]:
        return round(_RIM + x * _SIDE), round(_RIM + (1.0 - y) * _SIDE)

    cv2.rectangle(canvas, at(0, 0), at(1, 1), (0, 0, 0), 1)
    cv2.line(canvas, at(0, 0), at(1, 1), (180, 180, 180), 1, cv2.LINE_AA)
    for sure, right, count in bins_of(probabilities, labels):
        cv2.circle(canvas, at(sure, right), 4, (160, 60, 0), -1, cv2.LINE_AA)
        where = at(sure, right)
        _write(canvas, str(count), (where[0] - 30, where[1] - 8), 0.35)
    error = 100 * calibration_error(probabilities, labels)
    _write(canvas, f"{name}: {len(labels)} digits, calibration error {error:.2f} %", (10, 25), 0.45)
    _write(canvas, "confidence (across), share right (up)", (10, side - 12), 0.45)
    return canvas


def _write(canvas: NDArray[np.uint8], text: str, place: tuple[int, int], size: float) -> None:
    cv2.putText(canvas, text, place, cv2.FONT_HERSHEY_SIMPLEX, size, (0, 0, 0), 1, cv2.LINE_AA)


@click.command()
@weights_option
@out_option(Path("work_out/reliability"))
def main(weights: Path | None, out: Path) -> None:
    """Draw the plots of all sets."""
    reader = BoxReader.of_folder(weights)
    out.mkdir(parents=True, exist_ok=True)
    for test in digit_sets():
        readings = reader.read_boxes(test.crops).probabilities
        path = out / f"{test.name}.png"
        cv2.imwrite(str(path), plot(test.name, readings, test.labels))
        click.echo(path)


if __name__ == "__main__":
    main()
