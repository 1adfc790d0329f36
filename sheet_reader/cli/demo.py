"""``sheet-reader demo``: the whole path once, on made-up photos or a made-up season."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, must_be_free, say
from sheet_reader.cli.opening import questions_of
from sheet_reader.errors import StorageError, installation_error
from sheet_reader.study import days
from sheet_reader.study.study import Study

if TYPE_CHECKING:
    from sheet_reader.record.history.states import FieldState, VisitRow

OVERLAYS = "looked_at"
SEED = 1
_SIDE_BY_SIDE = 9
_UNSETTLED = frozenset({"flagged", "unreadable"})


@click.command(short_help="Try everything on made-up photos.")
@click.argument("folder", required=False, default="demo", type=click.Path(path_type=Path),
                metavar="[DIR]")  # fmt: skip
@click.option("--season", is_flag=True,
              help="Make the record of a season instead: 30 sites, no photos.")  # fmt: skip
def demo(folder: Path, season: bool) -> None:
    """Try everything: print a study's sheets, read a dozen photos of them, score what was read.

    Everything is written into DIR (demo/ if left out), which must be new or empty. The photos are
    made up and show the usual troubles; what stands on them is known, and the score is shown.

    With --season it is a record to try status, letters, update and export on: six weeks of 30
    sites, made up in seconds without photos, with an effect that is told.

    Example:  sheet-reader demo beans_demo
    """
    try:
        (_season if season else _photos)(folder, days.today())
    except BrokenPipeError:  # of what is printed
        raise
    except OSError as error:
        raise StorageError(
            f"the demo can't be written here: {error.strerror or error}",
            where=error.filename or folder, remedy="name another folder",
        ) from None  # fmt: skip


def _season(folder: Path, today: date) -> None:
    from sheet_reader.demo.bean_season import RATIO, WEEKS
    from sheet_reader.demo.season_record import make_season_folder

    must_be_free(folder)
    study, sheets = make_season_folder(folder, today, SEED)
    say(f"Study     {study.title}, an invented count at {len(study.sites)} sites, in {folder}/")
    say(f"Season    {study.season.first} to {study.season.last}; {WEEKS} weeks of it are over")
    say(f"Record    {counted(sheets, 'sheet')}, made up: no photo was taken or read")
    fewer = round(100 * (1 - RATIO))
    say(f"Truth     {fewer} % fewer blackfly per minute in the pinched half, at a typical site")
    say("Now see how much of that the sheets show, and who should be written to:")
    for command in ("status", "letters", "update", "export"):
        say(f"          {hint(command, folder)}")


def _photos(folder: Path, today: date) -> None:
    """A second run in the same folder finds all done."""
    from sheet_reader.demo import photographs
    from sheet_reader.reading.batch import read_batch
    from sheet_reader.reading.opening import open_record
    from sheet_reader.results.export import export_files
    from sheet_reader.results.facts import facts_of
    from sheet_reader.results.frames import tables_of
    from sheet_reader.review.overlay import write_overlays
    from sheet_reader.sheet.page import BLANK
    from sheet_reader.sheet.sheet_files import write_sheet

    study = _study(folder)
    say(f"Study     {study.title}, an invented count, in {folder}/")
    sheets = [BLANK, *(site.number for site in study.sites)]
    for sheet in sheets:
        write_sheet(study, sheet, folder / "sheets")
    say(f"Sheets    {len(sheets)} PDF files, true to size, in {folder / 'sheets'}/")
    made_up = len(list(folder.glob("inbox/*.jpg")))
    say(f"Photos    {made_up} made-up ones in {folder / 'inbox'}/")
    say("Reading   …")
    batch = read_batch(study, today=today, jobs=2)
    for line in batch.lines:
        say(f"          {line}")
    if batch.fault:
        raise installation_error(batch.fault)
    say(f"          {batch.read} read, {batch.known} known already, {batch.seconds:.0f} s")
    with open_record(study) as record:
        readings, visits, photos = record.readings(), record.visits(), record.photos()
        waiting, tables = questions_of(record), tables_of(study, facts_of(record))
        asked = Counter(row.photo_id for row in readings if row.status in _UNSETTLED)
        most = max(
            (p.photo_id for p in photos if p.status == "read"), default=None,
            key=lambda p: (asked[p], -p),
        )
        drawn = [] if most is None else write_overlays(record, most, folder / OVERLAYS)[:1]
    names = {line.photo_id: line.name for line in photos}
    read: dict[tuple[str, str], dict[str, FieldState]] = {}
    for row in readings:
        read.setdefault((names[row.photo_id], row.sheet), {})[row.field] = row
    for line in [*_score(photographs.truth(), read), "", *_rows(study, visits), ""]:
        say(line)
    export_files(study, tables, folder / "results")
    say(f"Tables    {folder / 'results' / 'rows.csv'}, counts.csv and readings.csv beside it")
    for picture in drawn:
        say(f"Picture   {picture}: open it to see what was read, and where")
    if waiting:
        say(f"Now answer the {waiting} questions (a question may be about several fields):")
        say(f"          {hint('review', folder)}")


def _study(folder: Path) -> Study:
    """The study in ``folder`` and its photos, new or left there by an earlier demo."""
    from sheet_reader.atomic import atomic_write, private_folder
    from sheet_reader.demo import photographs
    from sheet_reader.study.reader import read_study

    files = {folder / name: data for name, data in photographs.folder_files().items()}
    if not all(path.is_file() and path.read_bytes() == files[path] for path in files):
        must_be_free(folder)
        private_folder(folder / "inbox")
        atomic_write(files)
    return read_study(folder)


def _score(
    written: dict[tuple[str, str], dict[str, str | None]],
    read: dict[tuple[str, str], dict[str, FieldState]],
) -> list[str]:
    """What was read against what was written, field by field, for each photo and sheet."""
    pairs = [
        (value, read.get(sheet, {}).get(field))
        for sheet, fields in written.items() for field, value in fields.items()
    ]  # fmt: skip
    right = sum(row is not None and row.read_value == value for value, row in pairs)
    settled = [(v, row) for v, row in pairs if row is not None and row.status not in _UNSETTLED]
    wrong = sum(row.value != value for value, row in settled)
    return [
        f"Score     {len(written.keys() & read.keys())} of {len(written)} sheets found; "
        f"of {len(pairs)} fields {right} read right at once ({100 * right / len(pairs):.1f} %),",
        f"          {len(pairs) - len(settled)} wait for you, {wrong} wrong without a question",
    ]


def _rows(study: Study, visits: list[VisitRow]) -> list[str]:
    """The rows, turned: a column for each visit, as many side by side as a terminal is wide. "?"
    waits for a decision, "." not recorded.
    """
    ordered = sorted(visits, key=lambda v: (not v.site, v.site, v.visit_date))
    lines = []
    for start in range(0, len(ordered), _SIDE_BY_SIDE):
        for spec in study.fields:
            cells = [
                "?" if visit.statuses.get(spec.name) in _UNSETTLED
                else (visit.values.get(spec.name) or ".")[-5:]
                for visit in ordered[start : start + _SIDE_BY_SIDE]
            ]  # fmt: skip
            lines.append(f"{spec.name[:24]:<24}" + "".join(f"{cell:>6}" for cell in cells))
        lines.append("")
    return [*lines[:-1], f"{'':<24}(? waits for you, . not recorded)"]
