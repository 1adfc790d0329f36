"""Makes what the demo shows: a dozen photographs with their truth, and digits by invented hands.

python -m sheet_reader.lab.demo_pictures [--photographs DIR]

Writes ``sheet_reader/demo/photographs`` and ``sheet_reader/demo/data/digits.png``; to be run again
where the layout of the bean study changes, since its photographs are then of former sheets.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.demo import photographs, samples, season_record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK
from sheet_reader.simulate.habits import HABITS
from sheet_reader.simulate.ink import random_ink_pen
from sheet_reader.simulate.levels import LEVELS, Level, LevelName
from sheet_reader.simulate.likely import likely_visit
from sheet_reader.simulate.photo import FilledSheet, Photo, photograph
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import filled_sheet
from sheet_reader.simulate.troubles import NONE, Troubles
from sheet_reader.study.reader import read_study

LONG_SIDE, TWO_SHEETS, QUALITY, PX_PER_MM = 1800, 2600, (62, 75), 8.0


class PhotoPlan(NamedTuple):
    """A photograph of the sheets of ``visits`` (site and week, from 0)."""

    visits: tuple[tuple[int, int], ...]
    level: LevelName
    troubles: Troubles = NONE
    on_blank: bool = False
    seed: int = 0


FOLDED = replace(NONE, fold=1.0)
PALE = replace(NONE, faint=1.0)
WRONG_SUM = replace(NONE, wrong_sum=1.0)
BEHIND = replace(NONE, behind=1.0)
DOZEN = (
    PhotoPlan(((0, 0),), "easy"),
    PhotoPlan(((1, 0),), "typical"),
    PhotoPlan(((2, 0),), "typical", PALE),
    PhotoPlan(((3, 0),), "hard"),
    PhotoPlan(((0, 1), (1, 1)), "typical"),
    PhotoPlan(((2, 1),), "hard", seed=1),
    PhotoPlan(((3, 1),), "typical", FOLDED),
    PhotoPlan(((0, 2),), "typical", WRONG_SUM, seed=4),
    PhotoPlan(((1, 2),), "typical", on_blank=True),
    PhotoPlan(((2, 2),), "typical", BEHIND),
    PhotoPlan(((3, 2),), "hard", seed=3),
    PhotoPlan((), "typical"),
)
"""The usual and the usual troubles: pale pencil, folds, a wrong total, two sheets in one picture,
no printed site number, the page behind, bad light, and a picture that shows no sheet at all."""


def made_photo(book: LayoutBook, wanted: PhotoPlan, number: int) -> Photo:
    """Photograph ``number`` (from 1); the same arguments give the same file."""
    seed = 4000 + 100 * wanted.seed + number
    long_side = TWO_SHEETS if len(wanted.visits) > 1 else LONG_SIDE
    level = replace(LEVELS[wanted.level].small(long_side), quality=QUALITY)
    filled = [
        _sheet(book, level, wanted, site, week, seed * 16 + number)
        for number, (site, week) in enumerate(wanted.visits)
    ]
    return photograph(filled, level, seed, kind="sheet" if filled else "desk")


def _sheet(
    book: LayoutBook, level: Level, wanted: PhotoPlan, site: int, week: int, seed: int
) -> FilledSheet:
    study = book.study
    day = study.season.first + timedelta(days=7 * week + (site + 2 * week) % 3)
    visit = likely_visit(study, study.sites[site].number, day, 1)
    minutes = {f"{plot.name}.minutes": visit.values["pinched.minutes"] for plot in study.plots}
    visit = replace(visit, values={**visit.values, **minutes})  # both halves, the same search
    (page,) = book.layout(BLANK if wanted.on_blank else visit.site).pages
    rng, trouble = (np.random.default_rng([seed, purpose]) for purpose in (22, 55))
    return filled_sheet(
        book, page, visit, ProceduralHands(), level, HABITS[wanted.level], rng,
        wanted.troubles.of_sheet(trouble), trouble,
    )  # fmt: skip


def digits() -> NDArray[np.uint8]:
    """The sprite that :mod:`sheet_reader.demo.season_record` cuts, uint8."""
    rows, columns = season_record.INK
    inks = np.zeros((season_record.HANDS, season_record.AGAIN, rows, 10, columns))
    for hand in range(season_record.HANDS):
        rng = np.random.default_rng([hand, 18])
        writer = ProceduralHands().writer(random_ink_pen(PX_PER_MM, rng), rng)
        for again in range(season_record.AGAIN):
            for digit in range(10):
                own = np.random.default_rng([hand, ord(str(digit)), again])
                inks[hand, again, :, digit] = writer.draw(digit, rows, columns, own)
    return np.rint(255 * np.clip(inks, 0, 1)).astype(np.uint8).reshape(-1, 10 * columns)


@click.command(help=(__doc__ or "").partition("\n")[0])
@click.option("--photographs", "folder", type=click.Path(path_type=Path),
              default=photographs.FOLDER, help="Where the photographs are written.")  # fmt: skip
def main(folder: Path) -> None:
    """Write both."""
    book = LayoutBook(read_study(samples.sample_folder(photographs.SAMPLE)))
    truth: dict[str, dict[str, str | None]] = {}
    folder.mkdir(parents=True, exist_ok=True)
    for number, wanted in enumerate(DOZEN, 1):
        photo = made_photo(book, wanted, number)
        name = f"photo_{number:02}.jpg"
        (folder / name).write_bytes(photo.data)
        for sheet in photo.truth.sheets:
            truth[f"{name} {sheet.code.sheet}"] = {f.field: f.value for f in sheet.fields}
    (folder / photographs.TRUTH).write_text(json.dumps(truth, indent=1) + "\n", "utf-8")
    data = samples.sample_folder(photographs.SAMPLE).parent
    (data / "digits.png").write_bytes(cv2.imencode(".png", digits())[1].tobytes())


if __name__ == "__main__":
    main()
