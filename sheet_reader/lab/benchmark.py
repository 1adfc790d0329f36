"""Measure the reader on simulated photographs: ``python -m sheet_reader.lab.benchmark``."""

from __future__ import annotations

import json
import multiprocessing
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

import click
import cv2
import numpy as np

from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.demo.samples import SAMPLES
from sheet_reader.digits.read import read_sheet
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab.diary import Diary
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.options import (
    data_option,
    jobs_option,
    json_option,
    own_digits_option,
    troubles_option,
)
from sheet_reader.lab.report import report
from sheet_reader.lab.scoring import (
    Score,
    score_boxes_read,
    score_page,
    score_views,
    sheet_under,
)
from sheet_reader.lab.sets import find_data
from sheet_reader.lab.writers import ROLES, TEST, Role
from sheet_reader.simulate.cases import BARE_SHARE, Case, Desk, make_case, numbered
from sheet_reader.simulate.troubles import TROUBLES
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import CROP_PX, SheetView
from sheet_reader.wording import words

Rooms = Literal["whole", "vision"]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to run. ``seed`` starts a row of pictures of its own."""

    level: str
    photos: int
    study: str
    seed: int
    rooms: Rooms
    sheets: int
    data: Path | None
    bare_share: float = BARE_SHARE
    troubles: str = "none"
    writers: Role = TEST
    own_digits: bool = False

    def tasks(self) -> list[tuple[str, int]]:
        """Study and seed of every picture."""
        return [numbered(self.study, self.seed, number) for number in range(self.photos)]

    def desk(self) -> Desk:
        """What the pictures are made from."""
        hands = held_out_hands(self.data, self.writers)
        return Desk.of_samples(hands, self.data, own_digits=self.own_digits)


_desk: Desk | None = None
_plan: Plan | None = None


def _start(plan: Plan) -> None:
    global _desk, _plan
    cv2.setNumThreads(1)
    _plan = plan
    _desk = plan.desk()


def _run(task: tuple[str, int]) -> Score:
    assert _desk is not None
    assert _plan is not None
    case = make_case(
        _desk, task[0], _plan.level, task[1], bare_share=_plan.bare_share, sheets=_plan.sheets,
        troubles=TROUBLES[_plan.troubles],
    )  # fmt: skip
    score = read_case(case, _desk, _plan.rooms)
    score.notes = [f"{case.study} {task[1]} ({case.truth.kind}): {n}" for n in score.notes]
    return score


def read_case(case: Case, desk: Desk, rooms: Rooms, diary: Diary | None = None) -> Score:
    """Read one picture room by room and score it; with a ``diary`` of the site's earlier sheets."""
    score = Score()
    book = desk.books[case.study]
    clock = _Clock(score)
    picture = next(iter(pictures_in(case.data, "photo.jpg")))
    clock.stop("file decode")
    if not isinstance(picture, OpenedPicture):
        score.notes.append(picture.reason)
        score_views(case.truth, [], score)
        return score
    findings = find_sheets(picture.gray, book)
    clock.stop("locate and rectify")
    views = [f for f in findings if isinstance(f, SheetView)]
    score_views(case.truth, views, score)
    if len(views) < len(case.truth.sheets):
        missed = [f for f in findings if not isinstance(f, SheetView)]
        score.notes += [f"not found: {words([f.reason])}" for f in missed]
    if rooms == "vision":
        return score
    for view in views:
        _read_view(case, desk, view, score, diary)
    return score


def _read_view(
    case: Case, desk: Desk, view: SheetView, score: Score, diary: Diary | None
) -> None:
    study = desk.books[case.study].study
    clock = _Clock(score)
    crops = np.zeros((0, CROP_PX, CROP_PX), np.uint8)
    if view.boxes:
        crops = np.stack([box.crop for box in view.boxes])
    readings = read_sheet(crops)
    clock.stop("digits")
    memory = diary.memory if diary else None
    page = decode_sheet(view, readings, study, study.season.last, memory=memory)
    clock.stop("decode")
    sheet = sheet_under(case.truth, view)
    if sheet is not None and sheet.code == view.page.code:
        score_boxes_read(sheet, view, readings, score)
        score_page(sheet, page, score)
        if diary is not None:
            diary.keep(study, page, sheet)


class _Clock:
    """Seconds between stops, kept in a score."""

    def __init__(self, score: Score) -> None:
        self._score, self._from = score, time.perf_counter()

    def stop(self, name: str) -> None:
        now = time.perf_counter()
        self._score.seconds.setdefault(name, []).append(now - self._from)
        self._from = time.perf_counter()


def measure(plan: Plan, jobs: int = 1) -> Iterator[Score]:
    """The score of each picture of ``plan``, in order."""
    tasks = plan.tasks()
    if jobs <= 1:
        _start(plan)
        for task in tasks:
            yield _run(task)
        return
    context = multiprocessing.get_context("spawn")
    with context.Pool(jobs, _start, (plan,)) as pool:
        yield from pool.imap(_run, tasks)


@click.command()
@click.option("--level", type=click.Choice(["easy", "typical", "hard", "scan"]), default="typical")
@click.option("--photos", type=click.IntRange(1), default=60, show_default=True)
@click.option("--study", type=click.Choice(["all", *SAMPLES]), default="all")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--rooms", type=click.Choice(["whole", "vision"]), default="whole")
@click.option("--sheets", type=click.IntRange(1, 4), default=1, help="Sheets in each picture.")
@click.option(
    "--bare",
    type=click.FloatRange(0, 1),
    default=BARE_SHARE,
    show_default=True,
    help="Share of pictures without a sheet of the study.",
)
@click.option("--writers", type=click.Choice(ROLES), default=TEST, show_default=True,
              help="Whose handwriting; what is tuned is looked at with other writers.")
@own_digits_option
@troubles_option("benchmark")
@jobs_option
@data_option
@click.option("--details", is_flag=True, help="List every mistake with its seed.")
@json_option
def main(
    level: str, photos: int, study: str, seed: int, rooms: Rooms, sheets: int, bare: float,
    writers: Role, own_digits: bool, troubles: str, jobs: int, data: Path | None,
    details: bool, json_file: Path | None,
) -> None:  # fmt: skip
    """Read simulated photographs and print how well it went."""
    plan = Plan(
        level, photos, study, seed, rooms, sheets, find_data(data), bare, troubles, writers,
        own_digits,
    )  # fmt: skip
    if plan.data is None:
        click.echo("No data folder: the hands are not from real writers held back; see --data.")
    click.echo(f"Handwriting: {held_out_hands(plan.data, writers).name}")
    total = Score()
    for number, score in enumerate(measure(plan, jobs), start=1):
        total.add(score)
        click.echo(f"\r{number}/{photos}", nl=False, err=True)
    click.echo("\r", nl=False, err=True)
    for line in report(total, level, rooms):
        click.echo(line)
    if details:
        click.echo("\n".join(["", *total.notes]))
    if json_file is not None:
        json_file.write_text(json.dumps({"level": level, **asdict(total)}), encoding="utf-8")


if __name__ == "__main__":
    main()
