"""``sheet-reader review``: ask a person about the fields that wait."""

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
    tell_notes,
    waits,
)
from sheet_reader.cli.opening import open_record
from sheet_reader.cli.terminal import must_be_answerable, typed_line
from sheet_reader.errors import UsageError, install_extra
from sheet_reader.study import days

if TYPE_CHECKING:
    from rich.console import Console

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
@click.option(
    "--pictures", type=PICTURES, default=None, show_default="auto", help=PICTURES_HELP
)
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
        if browser:
            _tell(record, serve(questions, person(name), port or 0))
            return
        _tell(record, hold(record, questions, person(name), pictures or "auto"))


def serve(questions: RecordQuestions, by: str, port: int = 0, *, audit: bool = False) -> Outcome:
    """Hold the conversation on a page in the browser; raises UsageError without its packages."""
    try:
        from sheet_reader.record.store.claims import Leases
        from sheet_reader.review.browser.conversation import PageReview
        from sheet_reader.review.browser.own_view import OwnKeys
        from sheet_reader.review.browser.serve import PageServer
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the page needs the package {error.name}",
            remedy=install_extra("browser"),
        ) from error

    def show(file: Path) -> None:
        if open_picture(file) == 0:
            click.echo("The page opens in your browser. If it does not, open this file there:")
        else:
            click.echo("Open this file in your browser:")
        click.echo(f"  {file}")
        click.echo("Ctrl-C ends the program; every answer is saved as you give it.")

    leases = None if audit else Leases(questions.record, by)
    keys = OwnKeys(Path(click.get_app_dir("sheet-reader")) / "review_keys.json")
    today = days.today(questions.study)
    page = PageReview(questions, by, today, audit, leases, keys=keys)
    folder = questions.record.folder
    server = PageServer(page, folder, lambda line: say(line, err=True), show, port)
    if server.run() == "idle":
        click.echo("Nobody was there for an hour: the page has ended.")
    page.sitting.close()
    return page.sitting.outcome(len(page.sitting.open()))


def console_for_questions() -> Console:
    """A console that prints every text as it is."""
    from rich.console import Console

    return Console(file=sys.stdout, markup=False, highlight=False, emoji=False)


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
    from sheet_reader.record.store.claims import Leases
    from sheet_reader.review.pictures import settle
    from sheet_reader.review.session import Review
    from sheet_reader.review.terminal import Terminal

    must_be_answerable()
    console = console_for_questions()
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
    step = "review" if outcome.waiting else "export"
    click.echo(f"Next:  {hint(step, record.folder)}")
