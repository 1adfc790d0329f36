"""How results change when one threshold of the vision room does.

``python -m sheet_reader.lab.sensitivity`` reads the same simulated photographs once as they are and
once for each of the ten most influential thresholds, a fifth lower and a fifth higher, and prints a
table. The ten are the gates between the room's steps: what is found, what is believed, what is
called occluded or ink.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np

from sheet_reader.lab.benchmark import read_case
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.options import data_option
from sheet_reader.lab.scoring import Score
from sheet_reader.lab.sets import find_data
from sheet_reader.numbers import LAB, VISION, described
from sheet_reader.simulate.cases import Case, Desk, make_case, numbered

INFLUENTIAL = (
    "markers.fast_px",
    "markers.correction",
    "grouping.tolerance",
    "surface.curvature_per_mm",
    "locate.tile_score",
    "locate.tile_second_peak",
    "locate.box_score",
    "flatten.level_mm",
    "view.lost",
    "crops.ink",
)
FACTORS = LAB.sensitivity_factors
LEVELS = ("typical", "hard")
HEAD = (
    "| threshold | value | sheets found | wrong sheet | median error | 99 % | boxes given up "
    "| lost ones missed | blank as ink | ink as blank |\n|---|---|---|---|---|---|---|---|---|---|"
)


def scaled(name: str, factor: float) -> Any:
    """The value of threshold ``name`` ("group.field") times ``factor``; whole where it is whole."""
    value = {each.name: each.value for each in described(VISION)}[name]
    return round(value * factor) if isinstance(value, int) else value * factor


@contextmanager
def in_force(name: str, value: Any) -> Iterator[None]:
    """Within the block threshold ``name`` of the vision room is ``value``. The object is frozen for
    everybody else; templates made before stay, so thresholds of ``template.py`` can't be tried.
    """
    group, field = name.split(".")
    if group == "template":
        raise ValueError("templates are kept from one picture to the next")
    before = getattr(VISION, group)
    object.__setattr__(VISION, group, replace(before, **{field: value}))
    try:
        yield
    finally:
        object.__setattr__(VISION, group, before)


def measured(cases: list[Case], desk: Desk) -> Score:
    """The score of all ``cases``."""
    total = Score()
    for case in cases:
        total.add(read_case(case, desk, "whole"))
    return total


def line(name: str, value: Any, score: Score) -> str:
    """One line of the table. "Wrong sheet" counts those taken for another sheet,
    "lost ones missed" boxes that can't be seen and were taken for visible.
    """
    errors = np.array(score.errors_mm or [np.nan])
    cells = (
        name,
        f"{value:.4g}" if isinstance(value, float) else str(value),
        f"{score.found} of {score.sheets}",
        str(score.misidentified),
        f"{np.median(errors):.3f} mm",
        f"{np.percentile(errors, 99):.2f} mm",
        f"{score.boxes_occluded} of {score.boxes}",
        f"{score.lost_unnoticed} of {score.lost}",
        f"{score.blank_as_ink} of {score.blank}",
        f"{score.ink_as_blank} of {score.inked}",
    )
    return "| " + " | ".join(cells) + " |"


@click.command()
@click.option(
    "--photos",
    type=click.IntRange(1),
    default=24,
    show_default=True,
    help="Photographs of each level.",
)
@click.option("--seed", type=click.IntRange(0), default=17, show_default=True)
@data_option
def main(photos: int, seed: int, data: Path | None) -> None:  # fmt: skip
    """Print how results change with vision's ten most influential thresholds."""
    cv2.setNumThreads(1)
    place = find_data(data)
    desk = Desk.of_samples(held_out_hands(place), place)
    tasks = [numbered("all", seed, number) for number in range(photos)]
    cases = [make_case(desk, study, level, own, bare_share=0.0)
             for level in LEVELS for study, own in tasks]  # fmt: skip
    click.echo(HEAD)
    click.echo(line("as it is", "", measured(cases, desk)))
    for name in INFLUENTIAL:
        for factor in FACTORS:
            value = scaled(name, factor)
            with in_force(name, value):
                click.echo(line(f"`{name}`", value, measured(cases, desk)))


if __name__ == "__main__":
    main()
