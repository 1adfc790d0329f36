"""Write photographs with their truth to disk: ``python -m sheet_reader.lab.generate OUT``."""

from __future__ import annotations

import json
from pathlib import Path

import click
import cv2

from sheet_reader.demo.samples import SAMPLES
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.options import data_option, own_digits_option, troubles_option
from sheet_reader.lab.sets import find_data
from sheet_reader.simulate.cases import Desk, make_case, numbered
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.troubles import TROUBLES


@click.command()
@click.argument("out", type=click.Path(path_type=Path, file_okay=False))
@click.option("--level", type=click.Choice(["easy", "typical", "hard", "scan"]), default="typical")
@click.option("--photos", type=click.IntRange(1), default=12, show_default=True)
@click.option("--study", type=click.Choice(["all", *SAMPLES]), default="all")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--first", type=click.IntRange(0), default=0, help="Number of the first picture.")
@click.option("--sheets", type=click.IntRange(1, 4), default=1, help="Sheets in each picture.")
@click.option("--hands", type=click.Choice(["held-back", "procedural"]), default="held-back")
@own_digits_option
@troubles_option("benchmark")
@data_option
def main(
    out: Path, level: str, photos: int, study: str, seed: int, first: int, sheets: int, hands: str,
    own_digits: bool, troubles: str, data: Path | None,
) -> None:  # fmt: skip
    """Write PHOTOS pictures as JPEG into OUT, each with NAME.json that says what is on it and
    where. Picture number n is the one that the benchmark makes with the same level, seed and
    troubles.
    """
    cv2.setNumThreads(1)
    found = find_data(data)
    source = ProceduralHands() if hands == "procedural" else held_out_hands(found)
    desk = Desk.of_samples(source, found, own_digits=own_digits)
    out.mkdir(parents=True, exist_ok=True)
    for number in range(first, first + photos):
        name, own_seed = numbered(study, seed, number)
        case = make_case(desk, name, level, own_seed, sheets=sheets, troubles=TROUBLES[troubles])
        stem = f"{name}_{level}_{seed}_{number:04}"
        suffix = "png" if level == "scan" else "jpg"
        (out / f"{stem}.{suffix}").write_bytes(case.data)
        text = json.dumps(case.truth.to_json(), indent=1)
        (out / f"{stem}.json").write_text(text, encoding="utf-8")
    click.echo(f"{photos} pictures in {out}, handwriting: {source.name}")


if __name__ == "__main__":
    main()
