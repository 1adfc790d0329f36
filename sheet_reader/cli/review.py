"""``sheet-reader review`` and ``audit``: ask a person about the fields that wait, or blind about a
random sample of accepted ones.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import (
    counted,
    hint,
    open_study,
    person,
    refuse,
    say,
    study_argument,
    waits,
)
from sheet_reader.cli.opening import open_record, tell_notes
from sheet_reader.cli.terminal import must_be_answerable, typed_line
from sheet_reader.errors import UsageError, install_extra
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.decode.audits import SamplingPlan
    from sheet_reader.decode.error_share import ObservedError
    from sheet_reader.record.store.store import Record
    from sheet_reader.review.pictures import PictureMode
    from sheet_reader.review.session import Outcome
    from sheet_reader.review.source import RecordQuestions

LOOKED_AT = "looked_at"
"""The folder of the study in which copies of photos are left."""
PICTURES = click.Choice(["auto", "graphics", "blocks", "plain", "off"])
PICTURES_HELP = (
    "How boxes are drawn: graphics (terminals that show pictures), blocks (coloured half blocks), "
    "plain (without colours) or off."
)


@click.command(short_help="Answer questions about the doubtful fields.")
@study_argument
@click.option("--as", "name", metavar="NAME", help="Who answers; the login name if left out.")
@click.option("--pictures", type=PICTURES, default=None, show_default="auto", help=PICTURES_HELP)
@click.option("--browser", is_flag=True, help="Ask on a page in your web browser.")
@click.option("--port", type=click.IntRange(1024, 65535), help="The page's port; any free one.")
def review(
    study: Path, name: str | None, pictures: PictureMode | None, browser: bool, port: int | None
) -> None:
    """Ask about the fields that could not be read with enough certainty.

    Each question is about one thing and shows it as photographed: a field, up to four counts of one
    sheet that are each likely right, a sum that does not fit, photos that contradict each other, a
    sheet partly outside the picture. Enter takes what is offered, digits say what is right, and at
    every prompt: n nothing written, x can't be read, r the whole row and sheet, w the whole photo
    (left in looked_at/), b back, s stop, ? help. Site, date, totals and very doubtful fields are
    typed from the picture before the reading is shown. Every answer is saved as you give it; stop
    whenever you like.

    With --browser the same questions are asked on a page that this machine alone can open, with
    the sheet beside them; it ends with Ctrl-C, “I am done”, or after an hour without anybody.

    Example:  sheet-reader review bean_tips --as Kim --browser
    """
    from sheet_reader.cli.names import ask_of_gone
    from sheet_reader.review.source import RecordQuestions

    refuse(
        (port and not browser, "--port goes with --browser"),
        (pictures and browser, "--pictures is for the terminal: leave it out with --browser"),
    )
    opened = open_study(study)
    with open_record(opened) as record:
        tell_notes(record)
        ask_of_gone(record, person(name))
        questions = RecordQuestions(record, by=person(name))
        if not questions.cards() and not browser:
            click.echo("Nothing waits for you.")
            click.echo(f"Next:  {hint('export', opened.folder)}")
            return
        _tell(
            record,
            serve(questions, person(name), port or 0) if browser
            else hold(record, questions, person(name), pictures or "auto"),
        )  # fmt: skip


def serve(questions: RecordQuestions, by: str, port: int = 0) -> Outcome:
    """Hold the conversation on a page in the browser; raises UsageError without its packages."""
    try:
        from sheet_reader.record.store.claims import Leases
        from sheet_reader.review.browser.conversation import PageReview
        from sheet_reader.review.browser.own_view import OwnKeys
        from sheet_reader.review.browser.serve import PageServer
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the page needs the package {error.name}", remedy=install_extra("browser")
        ) from error

    def show(file: Path) -> None:
        if open_picture(file) == 0:
            click.echo("The page opens in your browser. If it does not, open this file there:")
        else:
            click.echo("Open this file in your browser:")
        click.echo(f"  {file}")
        click.echo("Ctrl-C ends the program; every answer is saved as you give it.")

    keys = OwnKeys(Path(click.get_app_dir("sheet-reader")) / "review_keys.json")
    today = days.today(questions.study)
    page = PageReview(questions, by, today, leases=Leases(questions.record, by), keys=keys)
    folder = questions.record.folder
    server = PageServer(page, folder, lambda line: say(line, err=True), show, port)
    if server.run() == "idle":
        click.echo("Nobody was there for an hour: the page has ended.")
    page.sitting.close()
    return page.sitting.outcome(len(page.sitting.open()))


def open_picture(path: Path) -> int:
    """Open ``path`` in the system's viewer; 0 where there is one."""
    screens = ("DISPLAY", "WAYLAND_DISPLAY")
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in screens):
        return 1
    return click.launch(str(path))


def hold(
    record: Record, source: RecordQuestions, by: str, pictures: PictureMode, *, audit: bool = False
) -> Outcome:
    """Hold the conversation on this terminal."""
    from rich.console import Console

    from sheet_reader.record.store.claims import Leases
    from sheet_reader.review.pictures import settle
    from sheet_reader.review.session import Review
    from sheet_reader.review.terminal import Terminal

    must_be_answerable()
    console = Console(file=sys.stdout, markup=False, highlight=False, emoji=False)  # text as it is
    terminal = Terminal(
        source, console, typed_line, open_picture, days.today(record.study),
        settle(pictures, console), record.folder / LOOKED_AT,
    )  # fmt: skip
    return Review(terminal, by, audit, None if audit else Leases(record, by)).run()


def _tell(record: Record, outcome: Outcome) -> None:
    """What was answered, and what is left: the same number that ``read`` tells."""
    from sheet_reader.review.source import RecordQuestions

    other = outcome.answered - outcome.confirmed - outcome.corrected
    parts = [f"{outcome.confirmed} as read", f"{outcome.corrected} corrected"]
    parts += [f"{other} otherwise"] if other else []
    click.echo()
    say(
        f"{counted(outcome.answered, 'answer')} saved: {', '.join(parts)}. {waits(outcome.waiting)}"
    )
    if record.study.asked_twice and (agreed := RecordQuestions(record).agreement()) is not None:
        say(agreed.sentence)
    click.echo(f"Next:  {hint('review' if outcome.waiting else 'export', record.folder)}")


@click.command(short_help="Check a random sample of accepted fields, blind.")
@study_argument
@click.option("--as", "name", metavar="NAME", help="Who looks; the login name if left out.")
@click.option("--sample", type=click.IntRange(min=1), metavar="N",
              help="How many fields to look at; by the sampling plan if left out.")  # fmt: skip
@click.option("--seed", type=int, metavar="N",
              help="Draw the same sample again; drawn afresh if left out.")  # fmt: skip
@click.option("--pictures", type=PICTURES, default="auto", show_default=True, help=PICTURES_HELP)
def audit(
    study: Path, name: str | None, sample: int | None, seed: int | None, pictures: PictureMode
) -> None:
    """Look at a random sample of accepted fields without seeing what was read.

    Type what each picture shows. Only then does the reading appear. The sample follows ISO 2859-1
    (general level II, single, normal) for the study's allowed_error, and the result is stated
    with its exact confidence interval: it says what the sample shows, which is less than the
    allowed_error as long as the sample is small. Wrong readings are corrected, and every answer
    counts when the study's own error rate is judged. Stop whenever you like: the result covers
    what was seen.

    Example:  sheet-reader audit bean_tips --as Kim
    """
    import numpy as np

    from sheet_reader.decode.audits import nearest_aql, sampling_plan
    from sheet_reader.record.history.rows import accepted_sample
    from sheet_reader.record.history.states import ACCEPTED
    from sheet_reader.review.source import RecordQuestions

    opened = open_study(study)
    with open_record(opened) as record:
        tell_notes(record)
        fields = record.summary().fields
        lot = sum(fields.get(status, 0) for status in ACCEPTED)
        if lot < 2:
            click.echo("Too few accepted fields to draw a sample from.")
            return
        plan = sampling_plan(lot, nearest_aql(opened.allowed_error))
        chosen = accepted_sample(record.state(), sample or plan.sample, np.random.default_rng(seed))
        click.echo(
            f"{counted(len(chosen), 'field')} drawn at random from {lot:,} accepted ones. "
            "Type what you see."
        )
        outcome = hold(record, RecordQuestions(record, chosen), person(name), pictures, audit=True)
        _tell_audit(record, plan if sample is None else None, outcome.answered, outcome.confirmed)


def of_plan(plan: SamplingPlan, seen: ObservedError) -> str:
    """What the sample says of the plan's limit: no contradiction is no proof."""
    from sheet_reader.decode.error_share import checks_needed

    limit = plan.aql / 100
    head = (
        f"Plan ISO 2859-1, letter {plan.letter}: {plan.sample} looked at, up to {plan.accept} "
        f"wrong expected at {plan.aql:g} % wrong"
    )
    if plan.sample >= plan.lot:
        return f"{head}. Every accepted field was looked at."
    if not plan.accepts(seen.wrong):
        return f"{head}. More were wrong: that speaks against {plan.aql:g} %."
    if seen.upper <= limit:
        return f"{head}. It shows {plan.aql:g} %."
    needed = min(plan.lot, checks_needed(limit, wrong=seen.wrong))
    return (
        f"{head}. That does not contradict {plan.aql:g} %, nor does it show it: "
        f"{seen.wrong:,} wrong of {needed:,} would."
    )


def _tell_audit(record: Record, plan: SamplingPlan | None, checked: int, right: int) -> None:
    """The result of this look, of all looks so far, and what can be promised."""
    from sheet_reader.decode.error_share import ObservedError
    from sheet_reader.reading.opening import drift_lines, odd_site_lines, promise_of
    from sheet_reader.wording import percent

    click.echo()
    if checked == 0:
        click.echo("Nothing was looked at.")
        return
    seen = ObservedError(checked - right, checked)
    low, high = seen.interval
    click.echo(f"{seen.sentence}.")
    click.echo(f"Two-sided 95 % interval (Clopper–Pearson): {percent(low)} to {percent(high)}.")
    if plan is not None and checked >= plan.sample:
        click.echo(of_plan(plan, seen))
    audited = record.audited()
    total = ObservedError(sum(not field.right for field in audited), len(audited))
    click.echo(f"All audits so far: {total.sentence}.")
    click.echo(promise_of(record).sentence)
    for line in (*odd_site_lines(record), *drift_lines(record)):
        click.echo(line)
