"""The whole path once, on made-up photographs: ``sheet-reader demo``."""

from __future__ import annotations

import json
import multiprocessing
import os
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sheet_reader.atomic import atomic_write, private_folder
from sheet_reader.cli.common import hint, questions_of
from sheet_reader.errors import SheetReaderError, StorageError, UsageError, installation_error
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.opening import open_record
from sheet_reader.record.history.states import FieldState, VisitRow
from sheet_reader.record.store.store import Record
from sheet_reader.results.export import export_files
from sheet_reader.results.frames import tables_of
from sheet_reader.results.from_record import facts_of
from sheet_reader.review.overlay import write_overlays
from sheet_reader.sheet.files import write_sheet
from sheet_reader.sheet.model import BLANK
from sheet_reader.simulate.levels import LevelName
from sheet_reader.simulate.samples import copy_in_season, in_season
from sheet_reader.simulate.season_photos import SeasonPhotos, season_photo
from sheet_reader.simulate.truth import PhotoTruth
from sheet_reader.study.model import Study
from sheet_reader.study.reader import read_study

SAMPLE = "bean_tips"
LEVEL: LevelName = "typical"
SITES, WEEKS = 4, 3
SEED = 1
LONG_SIDE = 2048
"""The photos' longer side in px, as chat programs send them."""
TRUTH_FILE = "truth.json"
OVERLAYS = "looked_at"
_SIDE_BY_SIDE = 9
_UNSETTLED = frozenset({"flagged", "unreadable"})
Echo = Callable[[str], object]


def run_demo(folder: Path, today: date, echo: Echo) -> None:
    """Create the bean study in ``folder``, print its sheets, photograph 12 of them filled in by
    invented hands up to ``today``, read them and show the score and the rows. A second run finds
    all done.

    Raises UsageError where ``folder`` holds anything else, StorageError where it can't be written.
    """
    study = _start(folder, today)
    echo(f"Study     {study.title}, an invented count, in {folder}/")
    sheets = [BLANK, *(site.number for site in study.sites[:SITES])]
    for sheet in sheets:
        write_sheet(study, sheet, folder / "sheets")
    echo(f"Sheets    {len(sheets)} PDF files, true to size, in {folder / 'sheets'}/")
    truths = _photographs(study, folder, echo)
    echo("Reading   …")
    batch = read_batch(study, today=today, jobs=_jobs())
    for line in batch.lines:
        echo(f"          {line}")
    if batch.fault:
        raise installation_error(batch.fault)
    echo(f"          {batch.read} read, {batch.known} known already, {batch.seconds:.0f} s")
    with open_record(study) as record:
        readings, visits = record.readings(), record.visits()
        names = {line.photo_id: line.name for line in record.photos()}
        waiting, tables = questions_of(record), tables_of(study, facts_of(record))
        picture = _overlay(record, readings, folder / OVERLAYS)
    for line in [*_score(truths, readings, names), "", *_rows(study, visits), ""]:
        echo(line)
    export_files(study, tables, folder / "results")
    echo(f"Tables    {folder / 'results' / 'rows.csv'}, counts.csv and readings.csv beside it")
    echo(f"Picture   {picture}: open it to see what was read, and where")
    if waiting:
        echo(f"Now answer the {waiting} questions (a question may be about several fields):")
        echo(f"          {hint('review', folder)}")


def _overlay(record: Record, readings: list[FieldState], folder: Path) -> Path:
    """A picture of the photo with the most questions, with boxes and values drawn in."""
    asked = Counter(row.photo_id for row in readings if row.status in _UNSETTLED)
    photo = min(line.photo_id for line in record.photos() if line.status == "read")
    if asked:
        photo = max(asked, key=lambda number: (asked[number], -number))
    return write_overlays(record, photo, folder)[0]


def _start(folder: Path, today: date) -> Study:
    """The study in ``folder``, new or from an earlier demo (which left its truth there)."""
    there = folder / "study.toml"
    try:
        if folder.exists() and any(folder.iterdir()):
            if not _of_a_demo(folder):
                raise UsageError(
                    "this folder holds a study already: the demo leaves it alone"
                    if there.is_file() else "this folder holds something else",
                    where=folder, remedy="name a folder that is new or empty",
                )  # fmt: skip
        else:
            copy_in_season(SAMPLE, folder, today, WEEKS)
            sites = (folder / "sites.csv").read_bytes().splitlines(keepends=True)
            atomic_write({folder / "sites.csv": b"".join(sites[: 1 + SITES])})
        private_folder(folder / "inbox")
    except OSError as error:
        raise StorageError(
            f"the demo can't be written here: {error.strerror or error}", where=folder,
            remedy="name another folder",
        ) from None  # fmt: skip
    return read_study(folder)


def _of_a_demo(folder: Path) -> bool:
    """Whether an earlier demo left this study, and nobody has changed it since."""
    if not (folder / TRUTH_FILE).is_file():
        return False
    try:
        season = read_study(folder).season
    except SheetReaderError:
        return False
    text = in_season(SAMPLE, season.first, season.last)
    return (folder / "study.toml").read_text("utf-8") == text


def _photographs(study: Study, folder: Path, echo: Echo) -> dict[str, PhotoTruth]:
    """Photographs of ``WEEKS`` visits to ``SITES`` sites in the inbox; the truth by file name."""
    truths: dict[str, PhotoTruth] = {}
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(_jobs(), context) as pool:
        plan = SeasonPhotos(study, SITES, WEEKS, SEED, LEVEL, LONG_SIDE)
        photos = pool.map(season_photo, [plan] * len(plan), range(len(plan)))
        for number, photo in enumerate(photos, 1):
            name = f"photo_{number:02}.jpg"
            truths[name] = photo.truth
            try:
                atomic_write({folder / "inbox" / name: photo.data})
            except OSError as error:
                raise StorageError(
                    f"the photo can't be written: {error.strerror or error}",
                    where=folder / "inbox",
                ) from None
    text = json.dumps({name: truth.to_json() for name, truth in truths.items()})
    atomic_write({folder / TRUTH_FILE: text.encode()})
    echo(f"Photos    {len(truths)} simulated ones in {folder / 'inbox'}/")
    return truths


def _jobs() -> int:
    """How many processes work at once."""
    return min(2, os.cpu_count() or 1)


@dataclass(slots=True)
class _Count:
    fields: int = 0
    right: int = 0
    open: int = 0
    wrong: int = 0


def _score(
    truths: dict[str, PhotoTruth], readings: list[FieldState], names: dict[int, str]
) -> list[str]:
    """What was read against what was written, field by field; ``names`` of the files by photo."""
    written = {
        (name, field.field): field.value
        for name, truth in truths.items()
        for sheet in truth.sheets
        for field in sheet.fields
    }
    read = {(names[row.photo_id], row.field): row for row in readings}
    count = _Count(fields=len(written))
    for key, value in written.items():
        row = read.get(key)
        if row is None:
            count.open += 1
            continue
        count.right += row.read_value == value
        if row.status in _UNSETTLED:
            count.open += 1
        else:
            count.wrong += row.value != value
    seen = len({photo for photo, _ in read if photo in truths})
    return [
        f"Score     {seen} of {len(truths)} sheets found; of {count.fields} fields "
        f"{count.right} read right at once ({100 * count.right / count.fields:.1f} %),",
        f"          {count.open} wait for you, {count.wrong} wrong without a question",
    ]


def _rows(study: Study, visits: list[VisitRow]) -> list[str]:
    """The rows, turned: a column for each visit, as many side by side as a terminal is wide. "?"
    waits for a decision, "." not recorded.
    """
    ordered = sorted(visits, key=lambda v: (not v.site, v.site, v.visit_date))
    lines = []
    for start in range(0, len(ordered), _SIDE_BY_SIDE):
        some = ordered[start : start + _SIDE_BY_SIDE]
        for spec in study.fields:
            cells = [_cell(spec.kind, spec.name, visit) for visit in some]
            lines.append(f"{spec.name[:24]:<24}" + "".join(f"{cell:>6}" for cell in cells))
        lines.append("")
    return [*lines[:-1], f"{'':<24}(? waits for you, . not recorded)"]


def _cell(kind: str, name: str, visit: VisitRow) -> str:
    if kind == "site":
        return visit.site or "?"
    if kind == "date":
        return visit.visit_date[5:] or "?"
    if visit.statuses.get(name) in _UNSETTLED:
        return "?"
    return visit.values.get(name) or "."
