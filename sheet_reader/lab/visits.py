"""Measure what a site's earlier sheets buy: ``python -m sheet_reader.lab.visits``.

Each site is written by one person over so many visits, read in the order of their days; what was
asked on one sheet is answered rightly before the next. The same sheets are read without memory,
too. Writers are those on whom such things are chosen, unless told otherwise: never measure twice
with those of the benchmark.
"""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import click
import cv2

from sheet_reader.lab.benchmark import Plan, read_case
from sheet_reader.lab.diary import Diary
from sheet_reader.lab.options import data_option, jobs_option, needed_data, own_digits_option
from sheet_reader.lab.report import fields_report
from sheet_reader.lab.scoring import Score
from sheet_reader.lab.writers import DEV, ROLES, Role
from sheet_reader.simulate.cases import Desk, numbered
from sheet_reader.simulate.one_site import site_cases

Turn = tuple[Score, Score]
"""One sheet read without memory, and with it."""
_desk: Desk | None = None
_plan: Plan | None = None


def _start(plan: Plan) -> None:
    global _desk, _plan
    cv2.setNumThreads(1)
    _plan, _desk = plan, plan.desk()


def _run(task: tuple[str, int, int]) -> list[Turn]:
    assert _desk is not None
    assert _plan is not None
    study, seed, visits = task
    return read_site(_desk, study, _plan.level, seed, visits)


def read_site(desk: Desk, study: str, level: str, seed: int, visits: int) -> list[Turn]:
    """The scores of each visit to one site."""
    diary, turns = Diary(), []
    for case in site_cases(desk, study, level, seed, visits):
        alone = read_case(case, desk, "whole")
        turns.append((alone, read_case(case, desk, "whole", diary)))
    return turns


@click.command()
@click.option("--level", type=click.Choice(["easy", "typical", "hard"]), default="typical")
@click.option("--sites", type=click.IntRange(1), default=20, show_default=True)
@click.option("--visits", type=click.IntRange(1), default=4, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--writers", type=click.Choice(ROLES), default=DEV, show_default=True)
@click.option("--known-from", type=click.IntRange(2), default=3, show_default=True,
              help="From this sheet of a site on its hand counts as known.")
@own_digits_option
@jobs_option
@data_option
@click.option("--details", is_flag=True, help="List every mistake.")
def main(
    level: str, sites: int, visits: int, seed: int, writers: Role, known_from: int,
    own_digits: bool, jobs: int, data: Path | None, details: bool,
) -> None:  # fmt: skip
    """Read a season of simulated sheets, with and without the digits of the earlier ones."""
    place = needed_data(data)
    plan = Plan(level, sites, "all", seed, "whole", 1, place, 0.0, "none", writers, own_digits)
    early, late = (Score(), Score()), (Score(), Score())
    tasks = [(*numbered("all", seed, number), visits) for number in range(sites)]
    with multiprocessing.get_context("spawn").Pool(jobs, _start, (plan,)) as pool:
        for number, turns in enumerate(pool.imap(_run, tasks), start=1):
            for visit, turn in enumerate(turns, start=1):
                totals = late if visit >= known_from else early
                for total, score in zip(totals, turn, strict=True):
                    total.add(score)
            click.echo(f"\r{number}/{sites}", nl=False, err=True)
    click.echo("\r", nl=False, err=True)
    for title, pair in ((f"before sheet {known_from}", early), (f"from {known_from} on", late)):
        for kind, score in zip(("without memory", "with memory"), pair, strict=True):
            click.echo(f"{title}, {kind}")
            click.echo("\n".join(fields_report(score)))
            if details:
                click.echo("\n".join(score.notes))


if __name__ == "__main__":
    main()
