"""Whether a photo costs more the more photos the record holds, and what a table's row costs.

    python tests/faults/many_photos.py --photos 5000 --keep FOLDER

The photos are made up: tiny pictures that say which visit they show, read as the probabilities of
a mostly sure reader. All else is the program: keeping originals, decoding by the study's rules and
the site's history, a commit for each photo, and the commands on the record. The photos come in ten
batches; the record after the first one is kept to compare with. Every photo is of another site, as
on a weekend of counting, unless --sites says less: then sites come again week after week, and a
photo costs more where its site has a history to be weighed. Told is the time of processors; that on
the clock depends on what else the machine does.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import decode_many

from sheet_reader.decode.pages import PageReading
from sheet_reader.demo.samples import copy_sample
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.store.engine import URL_VARIABLE
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.page import BLANK, Page
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import damm
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import BoxView, PhotoQuality, SheetView

BATCHES = 10
COMMANDS = {
    "export": ("export",),
    "status": ("status",),
    "start of review": ("review", "--as", "Kim"),
}


def study_in(folder: Path, sites: int) -> Study:
    """The bean study with so many sites, written to ``folder`` on the first call."""
    if not folder.exists():
        copy_sample("bean_tips", folder)
        stems = (f"{stem:04}" for stem in range(1000, 1000 + sites))
        lines = [f"{stem + damm(stem)},Garden {stem}," for stem in stems]
        (folder / "sites.csv").write_text("\n".join(["number,label,contact", *lines, ""]))
        text = (folder / "study.toml").read_text().replace("boxes = 4", "boxes = 5", 1)
        (folder / "study.toml").write_text(text)
    return read_study(folder)


def picture_of(number: int) -> bytes:
    """A PNG that says its number in the pixels of its first row, least significant byte first."""
    gray = np.full((24, 80), 255, np.uint8)
    gray[0, :4] = list(number.to_bytes(4, "little"))
    done, data = cv2.imencode(".png", gray)
    assert done
    return data.tobytes()


@cache
def _page(study_key: str, book: LayoutBook) -> Page:
    del study_key
    return book.layout(BLANK).pages[0]


def reader(
    picture: OpenedPicture, study: Study, book: LayoutBook, today: date, /, *, history: Any = None
) -> list[Any]:
    """Reads the visit that the picture's number stands for."""
    del today, history
    number = int.from_bytes(picture.gray[0, :4].tobytes(), "little")
    rng, page = np.random.default_rng([number, 1]), _page(study.key, book)
    week, at = divmod(number, len(study.sites))
    day = study.season.first + timedelta(days=7 * week)
    values = dict(random_visit(study, rng, study.sites[at].number, day).values)
    seen = decode_many.evidence(page, values, rng)
    crop = np.full((64, 64), 240, np.uint8)
    corners = np.array([[10, 10], [24, 10], [24, 28], [10, 28]], np.float64)
    boxes = tuple(BoxView(cell, 0.1, crop=crop, corners_px=corners) for cell in page.cells)
    outline = np.array([[0, 0], [79, 0], [79, 23], [0, 23]], np.float64)
    quality = PhotoQuality(8, 0.1, 0.8, 0, 0)
    bare = PageReading(page.code, (), None, None, evidence=seen)  # the program decodes it
    return [(SheetView(page, boxes, quality, "machine code", outline), bare)]


def post(study: Study, first: int, count: int) -> None:
    """Put so many photos into the inbox, beginning with number ``first``."""
    inbox = study.folder / "inbox"
    inbox.mkdir(exist_ok=True)
    for number in range(first, first + count):
        (inbox / f"p{number:06}.png").write_bytes(picture_of(number))


def read_all(study: Study) -> tuple[float, float]:
    """Read the inbox in one batch; gives the seconds of the processor for the whole of it, and for
    a photo's way from its claim to its commit.
    """
    done: list[float] = []
    began = now()
    read = read_batch(study, reader=reader, jobs=0, on_progress=lambda *_: done.append(now())).read
    assert read == len(done), "some were decoded anew, which is another matter"
    for file in (study.folder / "inbox").iterdir():
        file.unlink()
    return now() - began, (done[-1] - done[0]) / (read - 1)


def now() -> float:
    """The time that this process has worked."""
    return time.process_time()


def cost_of(study: Study, command: tuple[str, ...]) -> float:
    """Seconds of the processor that a command takes beyond its bare start."""
    program = [sys.executable, "-m", "sheet_reader.cli.main"]
    before = decode_many.cpu_seconds()
    subprocess.run(
        [*program, command[0], str(study.folder), *command[1:]],
        input="q\n", capture_output=True, text=True, check=True,
    )  # fmt: skip
    return decode_many.cpu_seconds() - before


def told(name: str, few: float, many: float) -> None:
    """One line of the table."""
    print(f"{name:<44}{few * 1000:9.2f}{many * 1000:9.2f}{many / few:8.2f}", flush=True)


def fill(folder: Path, tenth: int, sites: int) -> None:
    """Make the records, ``one`` with a photo and ``few`` with a tenth of them, and tell what a
    photo costs.
    """
    study = study_in(folder / "one", sites)
    post(study, 0, 1)
    read_batch(study, reader=reader, jobs=0)
    study = study_in(folder / "many", sites)
    costs = []
    for batch in range(BATCHES):
        post(study, batch * tenth, tenth)
        costs.append(read_all(study))
        if batch == 0:
            shutil.copytree(study.folder, folder / "few")
    (first_batch, first), (last_batch, last) = costs[0], costs[-1]
    told(f"a photo of the first {tenth}, of the last", first, last)
    told("the same, with all that a batch does once", first_batch / tenth, last_batch / tenth)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--photos", type=int, default=5000)
    parser.add_argument("--sites", type=int, help="as many as photos if left out; at most 9000")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args(arguments)
    os.environ.pop(URL_VARIABLE, None)
    tenth, sites = given.photos // BATCHES, min(given.sites or given.photos, 9000)
    with tempfile.TemporaryDirectory(prefix="many") as place:
        folder = given.keep or Path(place)
        folder.mkdir(exist_ok=True)
        print(f"{'ms of a processor':<44}{'few':>9}{'many':>9}{'ratio':>8}")
        if not (folder / "few").exists():
            fill(folder, tenth, sites)
        studies = [study_in(folder / name, sites) for name in ("one", "few", "many")]
        rows = (tenth, given.photos)
        for title, command in COMMANDS.items():
            bare, few, many = (cost_of(study, command) for study in studies)
            told(f"{title}, a row", few / rows[0], many / rows[1])
            told(f"{title}, a row beyond the start", (few - bare) / rows[0],
                 (many - bare) / rows[1])  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
