"""``sheet-reader review``: ask a person about the fields that wait."""

from __future__ import annotations

import getpass
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import (
    counted,
    hint,
    open_study,
    say,
    study_argument,
    tell_notes,
    today,
    waits,
)
from sheet_reader.cli.terminal import clean_name, must_be_answerable, typed_line

if TYPE_CHECKING:
    from rich.console import Console

    from sheet_reader.record.store import Record
    from sheet_reader.review.model import Desk
    from sheet_reader.review.pictures import PictureMode
    from sheet_reader.review.session import Outcome

LOOKED_AT = "looked_at"
"""The folder of the study in which copies of photos are left."""
PICTURES = click.Choice(["auto", "graphics", "blocks", "plain", "off"])
PICTURES_HELP = (
    "How boxes are drawn: graphics (terminals that show pictures), blocks (coloured half blocks), "
    "plain (without colours) or off."
)


def person(name: str | None) -> str:
    """The name that answers are kept under: as given, else the login name."""
    if name and (cleaned := clean_name(name)):
        return cleaned
    try:
        return clean_name(getpass.getuser()) or "unnamed"
    except (OSError, KeyError, ImportError):
        return "unnamed"


@click.command(short_help="Answer questions about the doubtful fields.")
@study_argument
@click.option("--as", "name", metavar="NAME", help="Who answers; the login name if left out.")
@click.option("--pictures", type=PICTURES, default="auto", show_default=True, help=PICTURES_HELP)
def review(study: Path, name: str | None, pictures: PictureMode) -> None:
    """Ask about the fields that could not be read with enough certainty.

    Each question is about one thing and shows it as photographed: a field, up to four counts of one
    sheet that are each likely right, a sum that does not fit, photos that contradict each other, a
    sheet partly outside the picture. Enter takes what is offered, digits say what is right, and at
    every prompt: n nothing written, x can't be read, r the whole row and sheet, w the whole photo
    (left in looked_at/), b back, s stop, ? help. Site, date, totals and very doubtful fields are
    typed from the picture before the reading is shown. Every answer is saved as you give it; stop
    whenever you like.

    Example:  sheet-reader review bean_tips --as Kim
    """
    from sheet_reader.cli.name_questions import ask
    from sheet_reader.reading.opening import open_record
    from sheet_reader.review.desk import RecordDesk

    opened = open_study(study)
    with open_record(opened) as record:
        tell_notes(record)
        ask(record, person(name))
        desk = RecordDesk(record)
        if not desk.cards():
            click.echo("Nothing waits for you.")
            click.echo(f"Next:  {hint('export', opened.folder)}")
            return
        _tell(record, hold(record, desk, person(name), pictures))


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
    record: Record, desk: Desk, by: str, pictures: PictureMode, *, audit: bool = False
) -> Outcome:
    """Hold the conversation on this terminal."""
    from sheet_reader.review.pictures import settle
    from sheet_reader.review.session import Review

    must_be_answerable()
    console = console_for_questions()
    review = Review(
        desk=desk,
        study=record.study,
        console=console,
        read_line=typed_line,
        launch=open_picture,
        by=by,
        today=today(),
        mode=settle(pictures, console),
        audit=audit,
        folder=record.folder / LOOKED_AT,
    )
    return review.run()


def _tell(record: Record, outcome: Outcome) -> None:
    """What was answered, and what is left: the same number that ``read`` tells."""
    other = outcome.answered - outcome.confirmed - outcome.corrected
    parts = [f"{outcome.confirmed} as read", f"{outcome.corrected} corrected"]
    parts += [f"{other} otherwise"] if other else []
    click.echo()
    say(
        f"{counted(outcome.answered, 'answer')} saved: {', '.join(parts)}. {waits(outcome.waiting)}"
    )
    step = "review" if outcome.waiting else "export"
    click.echo(f"Next:  {hint(step, record.folder)}")
