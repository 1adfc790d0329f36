"""What the commands that put sheets right share: naming one, and showing how it stands."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import hint, waits
from sheet_reader.cli.opening import questions_of
from sheet_reader.cli.terminal import answer_to
from sheet_reader.errors import UsageError
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.answers.typed import ChosenSheets, TypedAnswer
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.study import FieldSpec, Study

REASON = click.option("--reason", default="", metavar="TEXT",
                      help="Why, in a few words; shown by history.")  # fmt: skip
AS = click.option("--as", "name", metavar="NAME", help="Who decides; the login name if left out.")
UNUSUAL = click.option("--unusual", is_flag=True,
                       help="Take values outside their range, dates outside the season and sums "
                       "that do not fit as they are given.")  # fmt: skip
SET = click.option("--set", "sets", multiple=True, metavar="FIELD=VALUE",
                   help="What a field says, without any question: digits, a date (2026-05-20), "
                   "nothing for “not recorded”. May be given several times; “site” and “date” "
                   "mean those fields.")  # fmt: skip
SHEET = click.option("--sheet", "number", type=click.IntRange(1), metavar="N",
                     help="Which sheet, where the photo shows several, from 1.")  # fmt: skip


def chosen_visit(record: Record, site: str, day: str) -> ChosenSheets:
    """All that is recorded of a visit; raises UsageError where that is nothing."""
    from sheet_reader.answers.typed import ChosenSheets

    visit = next((v for v in record.state() if (v.site, v.visit_date) == (site, day)), None)
    if visit is None:
        known = record.study.site(site) is not None
        raise UsageError(
            f"nothing is recorded for site {site} on {day}"
            + ("" if known else f"; site {site} is not on the site list"),
            remedy="see: sheet-reader photos",
        )
    fields = visit.serving
    return ChosenSheets(visit, tuple(p.page_instance_id for p in visit.pages), fields)


def chosen_sheet(record: Record, photo: str, number: int | None) -> ChosenSheets:
    """One sheet in a photo; raises UsageError where it can't be told which."""
    from sheet_reader.answers.typed import ChosenSheets
    from sheet_reader.record.history.photo_fates import photo_meant, sheet_meant

    fate = photo_meant(record, photo)
    sheet = sheet_meant(fate, number)
    if sheet.aside:
        raise UsageError(
            f"this sheet of {fate.neutral_name} is set aside", remedy="first: sheet-reader back"
        )
    page = sheet.page_instance_id
    visit = next(v for v in record.state() if page in {seen.page_instance_id for seen in v.pages})
    fields = {f.reading.field: f for f in visit.fields if f.observation.page_instance_id == page}
    return ChosenSheets(visit, (page,), fields)


def answer_meant(study: Study, spec: FieldSpec, typed: str) -> TypedAnswer | None:
    """What was typed for a field, said once more where that is unusual; None: ask again."""
    from sheet_reader.answers.typed import typed_answer
    from sheet_reader.study.kinds import Refusal

    value = typed_answer(study, spec, typed, days.today(study))
    if isinstance(value, Refusal):
        click.echo(f"  {value.message}")
        return None
    question = f"  {value.doubt}. Enter keeps {value.text}, - asks again: "
    return value if not value.doubt or answer_to(question) == "" else None


def tell_standing(record: Record) -> None:
    """How many questions wait now, and what comes next."""
    waiting = questions_of(record)
    click.echo(waits(waiting))
    click.echo(f"Next:  {hint('review' if waiting else 'export', record.folder)}")


def open_shown(paths: Sequence[Path]) -> None:
    """Open pictures in the system's viewer, or say where they lie; gone once Enter is pressed."""
    from sheet_reader.cli.review import open_picture

    for path in paths:
        if open_picture(path) != 0:
            click.echo(f"There is no picture viewer; until you press Enter it lies at {path}")
    answer_to("Enter closes.")


def show_photo(record: Record, photo_id: int) -> None:
    """Show a photo with its boxes drawn."""
    from sheet_reader.review.overlay import write_overlays

    with tempfile.TemporaryDirectory() as folder:
        open_shown(write_overlays(record, photo_id, Path(folder)))
