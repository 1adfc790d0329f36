"""Make ``trial.json.gz``: what is read in the photos of a trial of 40, beside the truth.

``PYTHONPATH=tests/helpers python tests/review/make_trial.py tests/review/trial.json.gz`` simulates
the photos of a month of an invented study and reads them anew (about five minutes of one core). The
troubles are planted where the constants say; doubtful digits come as they come. Only readings are
kept, no pictures.
"""

from __future__ import annotations

import gzip
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

import cv2
import numpy as np
from former_layout import with_a_former_layout

from sheet_reader.demo.samples import sample_folder
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.reading.photo import read_original
from sheet_reader.reasons import to_json
from sheet_reader.record.history.found import FoundPage
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import kept_layouts, whole_book
from sheet_reader.simulate import fill
from sheet_reader.simulate.habits import Habits
from sheet_reader.simulate.levels import LEVELS
from sheet_reader.simulate.likely import likely_visit
from sheet_reader.simulate.photo import FilledSheet, Photo, photograph
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import filled_sheet
from sheet_reader.simulate.values import Visit
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SEED, LONG_SIDE = 12, 2048
WEEKS = 3
NEAT = Habits(0.02, 0.0, 0.0, 0.0, 0.0, 0.03, 0.0, 0.3, 0.35, 0.8, 0.0, 0.0)
"""Volunteers who do nothing odd but what is planted."""
WRONG_DATE, TWICE, HALF = 5, 9, 14
"""Numbers of visits: another sheet bears the date of the first, the second is photographed twice,
of the third the lower part lies outside the picture."""
OLD = 2
"""Number of the site that still had a sheet of the layout before."""
WRONG_SUMS = {7: "pinched.ladybirds", 20: "unpinched.ladybirds"}
CROSSED_OUT = (1, 3, 6, 11, 16, 19, 23, 28, 33)
"""On these sheets a digit is crossed out in a count that has a box to spare."""
MARKS = {2: "pinched.small_larvae", 8: "unpinched.egg_clusters", 13: "pinched.large_larvae",
         18: "unpinched.minutes", 25: "pinched.blackfly", 31: "unpinched.blackfly"}  # fmt: skip


@dataclass(frozen=True)
class Sheet:
    """A sheet of the trial: the visit as written, its ``true_date``, what is planted on it by
    field, how it is photographed and which trouble it is.
    """

    number: int
    visit: Visit
    true_date: str
    states: dict[str, str]
    trouble: str = ""


def sheets(study: Study) -> Iterator[Sheet]:
    """The sheets of the study itself."""
    count = len(study.sites)
    first = study.season.first + timedelta(days=35)
    for number in range(count * WEEKS):
        site, week = study.sites[number % count], number // count
        day = first + timedelta(days=7 * week + number * 5 % 2)
        trouble = {TWICE: "twice", HALF: "half", WRONG_DATE: "date taken"}.get(number, "")
        yield _sheet(study, number, site.number, day, day, trouble)
    day = first + timedelta(days=7 * WEEKS)
    taken = first + timedelta(days=WRONG_DATE * 5 % 2)
    yield _sheet(study, count * WEEKS, study.sites[WRONG_DATE].number, day, taken, "wrong date")
    site = study.sites[OLD].number
    yield _sheet(study, count * WEEKS + 1, site, day, day, "old layout")


def _sheet(study: Study, number: int, site: str, day: date, written: date, trouble: str) -> Sheet:
    visit = likely_visit(study, site, day, SEED)
    values = dict(visit.values)
    for rule in study.sums:
        values[rule.total] = str(sum(int(values[part]) for part in rule.parts))
    if number in WRONG_SUMS:
        values[WRONG_SUMS[number]] = str(int(values[WRONG_SUMS[number]]) + 10)
    name = next(h.name for h in study.header if h.kind.name == "date")
    values[name] = written.isoformat()
    states = {_spare(study, number, values): "corrected"} if number in CROSSED_OUT else {}
    states |= {MARKS[number]: "mark"} if number in MARKS else {}
    kept = replace(visit, values=values, visit_date=written.isoformat())
    return Sheet(number, kept, day.isoformat(), states, trouble)


def _spare(study: Study, number: int, values: dict[str, str]) -> str:
    """A count whose boxes are one more than its digits; another one on every sheet."""
    names = [
        spec.name for spec in study.fields
        if spec.kind.name == "count" and len(values[spec.name]) < spec.boxes
    ]  # fmt: skip
    return names[number % len(names)]


def filled(book: LayoutBook, sheet: Sheet) -> FilledSheet:
    """The sheet written by one hand, with what is planted on it."""
    if sheet.trouble == "old layout":
        book = LayoutBook(kept_layouts(book.study).studies[0])
    rng = np.random.default_rng([SEED, sheet.number, 22])
    on_blank = sheet.number % 4 == 3
    layout = book.layout("BLANK" if on_blank else sheet.visit.site)
    usual = fill._Scribe.field

    def field(scribe: Any, name: str, cells: Any, value: str) -> Any:
        state = sheet.states.get(name)
        with patch.object(fill._Scribe, "_state", lambda *_: state or "written"):
            return usual(scribe, name, cells, value)

    with patch.object(fill._Scribe, "field", field):
        return filled_sheet(book, layout.pages[0], sheet.visit, ProceduralHands(), LEVEL, NEAT, rng)


LEVEL = replace(LEVELS["typical"], long_side_px=(LONG_SIDE,), thumbs=(1.0,))
"""Without thumbs: what they hide is no part of this trial."""


def half(photo: Photo) -> bytes:
    """The photo without the lower part of the sheet."""
    outline = np.array(photo.truth.sheets[0].outline_px)
    top, bottom = outline[:, 1].min(), outline[:, 1].max()
    cut = photo.upright[: int(top + 0.72 * (bottom - top))]
    return cv2.imencode(".jpg", cut, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()


def photographs(study: Study, book: LayoutBook) -> Iterator[tuple[Sheet, bytes]]:
    """Every photo of the study's own sheets."""
    for sheet in sheets(study):
        paper = filled(book, sheet)
        photo = photograph([paper], LEVEL, 1000 * SEED + sheet.number)
        yield sheet, half(photo) if sheet.trouble == "half" else photo.data
        if sheet.trouble == "twice":
            yield sheet, photograph([paper], LEVEL, 1000 * SEED + 500).data


def another_study() -> bytes:
    """A photo of a sheet of another study."""
    study = read_study(sample_folder("rock_pools"))
    book = LayoutBook(study)
    visit = likely_visit(study, study.sites[0].number, study.season.first, SEED)
    rng = np.random.default_rng([SEED, 33])
    layout = book.layout(visit.site)
    paper = filled_sheet(book, layout.pages[0], visit, ProceduralHands(), LEVEL, NEAT, rng)
    return photograph([paper], LEVEL, 1000 * SEED + 600).data


def as_read(data: bytes, study: Study, book: LayoutBook, folder: Path) -> dict[str, Any]:
    """What a photo gives, as plain data."""
    from sheet_reader.reading.picture import read_picture

    path = folder / "photo.jpg"
    path.write_bytes(data)
    result = read_original(path, study, book, study.season.last, read_picture)
    assert [p for p in pictures_in(data, "photo.jpg") if isinstance(p, OpenedPicture)]
    return {
        "pages": [_page(page) for page in result.pages],
        "failures": json.loads(to_json(result.failures) or "[]"),
    }


def _page(page: FoundPage) -> dict[str, Any]:
    fields = [
        {
            "field": f.reading.field,
            "value": f.reading.value,
            "confidence": round(float(f.reading.confidence), 5),
            "status": f.reading.status,
            "reasons": json.loads(to_json(f.reading.reasons) or "[]"),
            "runner_up": f.reading.runner_up,
            "runner_up_confidence": round(float(f.reading.runner_up_confidence), 5),
        }
        for f in page.fields
    ]
    names = ("layout", "sheet", "page", "identified_by", "hidden_boxes", "advice", "site",
             "visit_date", "threshold")  # fmt: skip
    rounded = {n: round(float(getattr(page, n)), 4) for n in ("px_per_mm", "blur_mm", "contrast")}
    return {**{name: getattr(page, name) for name in names}, **rounded, "fields": fields}


def written(book: LayoutBook, sheet: Sheet) -> dict[str, str | None]:
    """What is truly written in every field; None where nothing readable stands there."""
    paper = filled(book, sheet)
    assert paper.truth is not None
    return {field.field: field.value for field in paper.truth.fields}


def main(out: Path) -> None:
    """Photograph, read and keep the trial."""
    with TemporaryDirectory() as folder:
        photos = _photos(Path(folder))
    text = json.dumps(photos, ensure_ascii=False, sort_keys=True)
    out.write_bytes(gzip.compress(text.encode(), mtime=0))


def _photos(folder: Path) -> list[dict[str, Any]]:
    study = with_a_former_layout(folder / "beans")
    book = whole_book(study)
    photos: list[dict[str, Any]] = []
    for sheet, data in photographs(study, book):
        photos.append(
            as_read(data, study, book, folder)
            | {"sheet": sheet.number, "trouble": sheet.trouble, "site": sheet.visit.site,
               "date": sheet.true_date, "written": written(book, sheet)}
        )  # fmt: skip
        flagged = [f["field"] for p in photos[-1]["pages"] for f in p["fields"]
                   if f["status"] == "flagged"]  # fmt: skip
        print(len(photos), sheet.number, sheet.trouble, flagged, file=sys.stderr, flush=True)
    photos.append(as_read(another_study(), study, book, folder) | {"trouble": "another study"})
    return photos


if __name__ == "__main__":
    main(Path(sys.argv[1]))
