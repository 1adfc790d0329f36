"""Make the calibration data of the decode room: ``python -m sheet_reader.lab.calibrate``.

Reads simulated photographs, written by people kept for this alone (see ``writers``), and counts for
each of them and each confidence how often the reading was right. Fields that are asked about
whatever their confidence (struck boxes, sums that do not fit and so on) take no part: the threshold
decides nothing there.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click
import cv2

from sheet_reader.decode.audits import Checked
from sheet_reader.decode.pages import PageReading
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab.calibration_file import PLACE, write_calibration
from sheet_reader.lab.hands import hands_of
from sheet_reader.lab.options import fitting_options, needed_data, troubles_option
from sheet_reader.lab.promise_table import table_of
from sheet_reader.lab.writers import CHECKED
from sheet_reader.numbers import LAB
from sheet_reader.reading.picture import read_picture
from sheet_reader.simulate.cases import Case, Desk, make_case, mixed
from sheet_reader.simulate.troubles import FOR_CALIBRATION, TROUBLES
from sheet_reader.vision.findings import NoSheet

_SEED = LAB.calibration_seed


_desk: Desk | None = None


_troubles = FOR_CALIBRATION


def _start(data: Path, troubles: str = "calibration") -> None:
    global _desk, _troubles
    _troubles = TROUBLES[troubles]
    cv2.setNumThreads(1)
    _desk = Desk.of_samples(hands_of(CHECKED, data / "digits"))


def _run(number: int) -> list[tuple[float, bool, str]]:
    assert _desk is not None
    case = make_case(_desk, *mixed(number), _SEED + number, bare_share=0.0, troubles=_troubles)
    return checked_fields(case, _desk)


def checked_fields(case: Case, desk: Desk) -> list[tuple[float, bool, str]]:
    """Confidence, rightness and writer of each field of one picture that only its confidence
    decides.
    """
    book = desk.books[case.study]
    picture = next(iter(pictures_in(case.data, "photo.jpg")))
    if not isinstance(picture, OpenedPicture):
        return []
    found: list[tuple[float, bool, str]] = []
    last_day = book.study.season.last
    for read in read_picture(picture, book.study, book, last_day, threshold=0.0):
        if not isinstance(read, NoSheet):
            found += _checked(case, read[1])
    return found


def _checked(case: Case, page: PageReading) -> Iterator[tuple[float, bool, str]]:
    sheet = next((s for s in case.truth.sheets if s.code == page.code), None)
    if sheet is None:
        return
    truth: Mapping[str, Any] = {f.field: f.value for f in sheet.fields}
    for field in page.fields:
        if field.status != "flagged" and field.field in truth:
            yield field.confidence, field.value == truth[field.field], sheet.person


@click.command()
@fitting_options(2500, PLACE)
@troubles_option("calibration")
def main(photos: int, jobs: int, out: Path, data: Path | None, troubles: str) -> None:
    """Read simulated photographs of the checked writers and write the calibration file."""
    place = needed_data(data)
    context = multiprocessing.get_context("spawn")
    results: list[tuple[float, bool, int, str]] = []
    mistaken = 0
    with context.Pool(jobs, _start, (place, troubles)) as pool:
        for number, fields in enumerate(pool.imap(_run, range(photos)), start=1):
            results += [(score, right, number, who) for score, right, who in fields]
            mistaken += any(not right for _, right, _ in fields)
            click.echo(f"\r{number}/{photos}", nl=False, err=True)
    click.echo("\r", nl=False, err=True)
    scores, right, sheets, who = zip(*results, strict=True)
    checked = Checked.of(scores, right, sheets, writers=who)
    write_calibration(checked, out)
    wrong = int((~checked.correct).sum())
    click.echo(
        f"{len(results):,} fields of {photos} photographs by {len(set(who))} people; {wrong} "
        f"wrong, on {mistaken} of the photographs: {out.name}"
    )
    table = table_of(checked)
    for allowed_error in (0.005, 0.002, 0.001):
        click.echo(table.promise(allowed_error).sentence)
    click.echo("now: python -m sheet_reader.lab.promise_table")


if __name__ == "__main__":
    main()
