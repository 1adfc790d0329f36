"""The inputs of the golden run: photographs of bean sheets, and the demo's season."""

from __future__ import annotations

import shutil
import sys
from datetime import timedelta
from pathlib import Path

import cv2

from sheet_reader.lab.golden_tree import Tree, scratch
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.sets import find_data
from sheet_reader.lab.writers import DEV
from sheet_reader.numbers import LAB
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.likely import likely_visit
from sheet_reader.simulate.no_sheet import no_sheet_photo, older_layout
from sheet_reader.simulate.one_site import OnePerson
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.troubles import TROUBLES
from sheet_reader.study.reader import read_study

SEED = LAB.golden_seed
SITES, WEEKS, PHOTOS = LAB.golden_extent
TWICE, NO_SHEET = (40, 57, 74, 91), {20: "desk", 66: "older layout"}
"""Photographs that show the visit of the week before once more, and what is no sheet of today."""


def make_inputs(work: Path, data: Path | None) -> str:
    """Make the inputs in ``work``, which must be new; the name of the handwriting: that of the
    writers on whom things are chosen, never of those who measure.
    """
    cv2.setNumThreads(1)
    work.mkdir(parents=True)
    with scratch() as folder:
        Tree(Path(sys.executable), folder, work / "log").run("demo", "--season", "season")
        shutil.copytree(folder / "season", work / "season")
    beans, photographs = work / "beans", work / "photographs"
    beans.mkdir()
    photographs.mkdir()
    shutil.copy(work / "season" / "study.toml", beans)
    lines = (work / "season" / "sites.csv").read_bytes().splitlines(keepends=True)
    (beans / "sites.csv").write_bytes(b"".join(lines[: 1 + SITES]))
    study = read_study(beans)
    book, hands = LayoutBook(study), held_out_hands(find_data(data), DEV)
    people = [OnePerson(hands, SEED * 1000 + site) for site in range(SITES)]
    for number in range(PHOTOS):
        seed, level = SEED * 1_000_000 + number, "hard" if number % 5 in (1, 3) else "typical"
        if number in NO_SHEET:
            photo = no_sheet_photo(NO_SHEET[number], book, older_layout(book), hands, level, seed)
        else:
            shown = number - SITES if number in TWICE else number
            site, week = shown % SITES, shown // SITES
            day = study.season.first + timedelta(days=7 * week + shown % 3)
            visit = likely_visit(study, study.sites[site].number, day, SEED)
            request, troubles = Request(visit, 1, shown % 7 == 3), TROUBLES["benchmark"]
            photo = photo_of(book, people[site], level, seed, request, troubles=troubles)
        (photographs / f"bean_{number:03}.jpg").write_bytes(photo.data)
    return hands.name
