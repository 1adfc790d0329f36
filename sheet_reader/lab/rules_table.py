"""What each piece of knowledge buys: ``python -m sheet_reader.lab.rules_table``.

The same photographs (writers held back from training, as in the benchmark) are decoded with the
boxes alone, then with one rule more at a time. For the site's own history a past is made up for
each count: three Poisson counts of one rate, which is drawn from what the true count lets expect
(gamma, flat prior). Real sites change more, so real histories help less.
"""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import click
import cv2
import numpy as np

from sheet_reader.decode.counts import History
from sheet_reader.decode.error_share import clopper_pearson
from sheet_reader.decode.sheet import Rules, decode_sheet
from sheet_reader.demo.samples import SAMPLES
from sheet_reader.digits.read import read_sheet
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import pictures_in
from sheet_reader.lab.held_out import held_out_hands
from sheet_reader.lab.options import data_option, jobs_option, troubles_option
from sheet_reader.lab.scoring import Score, score_page
from sheet_reader.lab.sets import find_data
from sheet_reader.numbers import LAB
from sheet_reader.simulate.cases import Case, Desk, make_case
from sheet_reader.simulate.troubles import NONE, TROUBLES
from sheet_reader.simulate.truth import SheetTruth
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import SheetView

MEASURED: tuple[tuple[str, Rules], ...] = (
    ("boxes alone", Rules.BOXES),
    ("+ plausible ranges", Rules.RANGES),
    ("+ site list and check digit", Rules.RANGES | Rules.SITES),
    ("+ calendar and season", Rules.RANGES | Rules.SITES | Rules.CALENDAR),
    ("+ sums", Rules.ALL & ~Rules.HISTORY & ~Rules.WRITER),
    ("+ the writer's own hand", Rules.ALL & ~Rules.HISTORY),
    ("+ the site's own history", Rules.ALL),
)
"""Each piece of knowledge added in turn, for a table of what each one buys."""
EARLIER = LAB.earlier_visits
HUMANS = (
    "People keying data from paper (pooled over 93 papers, Garza et al. 2025, PMC13078370): "
    "single entry 0.29 % of fields wrong (0.24–0.35), double entry 0.14 % (0.08–0.20)."
)
_desk: Desk | None = None
_troubles = NONE


def _start(data: Path | None, troubles: str = "none") -> None:
    global _desk, _troubles
    _troubles = TROUBLES[troubles]
    cv2.setNumThreads(1)
    _desk = Desk.of_samples(held_out_hands(data), data)


def _run(job: tuple[str, str, int, float | None]) -> tuple[Score, ...]:
    assert _desk is not None
    study, level, seed, threshold = job
    case = make_case(_desk, study, level, seed, bare_share=0.0, troubles=_troubles)
    return scores_by_rules(case, _desk, threshold)


def scores_by_rules(case: Case, desk: Desk, threshold: float | None) -> tuple[Score, ...]:
    """One score for each step of ``MEASURED``, all from the same boxes and probabilities."""
    scores = tuple(Score(photos=1, sheets=len(case.truth.sheets)) for _ in MEASURED)
    book = desk.books[case.study]
    picture = next(iter(pictures_in(case.data, "photo.jpg")))
    if not isinstance(picture, OpenedPicture):
        return scores
    for view in find_sheets(picture.gray, book):
        sheet = next(
            (
                s
                for s in case.truth.sheets
                if isinstance(view, SheetView) and s.code == view.page.code
            ),
            None,
        )
        if not isinstance(view, SheetView) or sheet is None:
            continue
        past = made_up_past(sheet)
        readings = read_sheet(np.stack([box.crop for box in view.boxes]))
        for score, (_, rules) in zip(scores, MEASURED, strict=True):
            page = decode_sheet(
                view, readings, book.study, book.study.season.last,
                history=past, threshold=threshold, rules=rules,
            )  # fmt: skip
            score.found += 1
            score_page(sheet, page, score)
    return scores


def made_up_past(sheet: SheetTruth) -> History:
    """Earlier counts of the sheet's site for every count on it; the same for the same sheet."""
    counts = {f.field: int(f.value) for f in sheet.fields if f.value and f.value.isdigit()}
    rng = np.random.default_rng(list(counts.values()))
    past = {
        name: [int(n) for n in rng.poisson(rng.gamma(count + 1.0), EARLIER)]
        for name, count in counts.items()
    }
    return {sheet.site: past} if sheet.site else {}


def table(scores: tuple[Score, ...]) -> list[str]:
    """The lines of the table."""
    head = (
        f"{'knowledge used':<31}{'wrong among accepted':<38}{'flagged':>9}{'own faults aside':>18}"
    )
    lines = [head + f"{'wrong site':>12}{'wrong date':>12}"]
    for (name, _), score in zip(MEASURED, scores, strict=True):
        low, high = clopper_pearson(score.sure_wrong, max(1, score.sure), 0.95)
        wrong = f"{score.sure_wrong} of {score.sure:,} ({100 * low:.3f}–{100 * high:.3f} %)"
        flagged = f"{100 * score.flagged / max(1, score.fields):.2f} %"
        plain = f"{100 * score.plain_flagged / max(1, score.plain):.2f} %"
        lines.append(
            f"{name:<31}{wrong:<38}{flagged:>9}{plain:>18}{score.site_wrong:>12}{score.date_wrong:>12}"
        )
    return [*lines, HUMANS]


@click.command()
@click.option("--level", type=click.Choice(["easy", "typical", "hard"]), default="typical")
@click.option("--photos", type=click.IntRange(1), default=100, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=2, show_default=True)
@click.option("--threshold", type=click.FloatRange(0, 1), help="Else the shipped promise's.")
@troubles_option("benchmark")
@jobs_option
@click.option("--details", is_flag=True, help="List the mistakes with all rules on.")
@data_option
def main(
    level: str, photos: int, seed: int, threshold: float | None, jobs: int, details: bool,
    data: Path | None, troubles: str,
) -> None:  # fmt: skip
    """Decode simulated photographs with one rule more at a time."""
    place = find_data(data)
    work = [
        (SAMPLES[n % len(SAMPLES)], level, seed * 1_000_003 + n, threshold) for n in range(photos)
    ]
    totals = tuple(Score() for _ in MEASURED)
    with multiprocessing.get_context("spawn").Pool(jobs, _start, (place, troubles)) as pool:
        for number, scores in enumerate(pool.imap(_run, work), start=1):
            for total, score in zip(totals, scores, strict=True):
                total.add(score)
            click.echo(f"\r{number}/{photos}", nl=False, err=True)
    click.echo("\r", nl=False, err=True)
    click.echo(f"{level}: {photos} photographs, {totals[0].found} sheets read")
    click.echo("\n".join(table(totals)))
    if details:
        click.echo("\n".join(["", *totals[-1].notes]))


if __name__ == "__main__":
    main()
