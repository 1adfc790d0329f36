"""``sheet-reader correct``: change what stands in the record, with a reason."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, open_study, parse_visit, person, refuse, study_argument
from sheet_reader.cli.on_sheets import (
    AS,
    REASON,
    SET,
    SHEET,
    UNUSUAL,
    answer_meant,
    chosen_sheet,
    chosen_visit,
    open_shown,
    tell_standing,
)
from sheet_reader.cli.opening import must_have_record, open_record
from sheet_reader.cli.terminal import answer_to, must_be_answerable
from sheet_reader.errors import UsageError
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.answers.typed import ChosenSheets, TypedAnswer, TypedAnswers
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.study import FieldSpec

STOP, AGAIN, COMMENTS = "s", "-", "c"


@click.command(short_help="Change a value, the date or the site of a sheet.")
@study_argument
@click.argument("photo", required=False, metavar="[PHOTO]")
@click.option("--site", metavar="N", help="The site's number, to name a visit.")
@click.option("--visit", metavar="DATE", help="The visit date, e.g. 2026-05-20.")
@SHEET
@SET
@click.option("--remark", metavar="TEXT",
              help="What the comments on the sheet say, typed up (- takes it out). It is "
              "exported: leave names and addresses out.")  # fmt: skip
@UNUSUAL
@REASON
@AS
def correct(
    study: Path, photo: str | None, site: str | None, visit: str | None, number: int | None,
    sets: tuple[str, ...], remark: str | None, unusual: bool, reason: str, name: str | None,
) -> None:  # fmt: skip
    """Show a sheet with its values and change any of them, the site or the date.

    The sheet is named by --site and --visit, or by its PHOTO (photo-0027, or the file's name).
    Without --set you are asked what to change, and why. History keeps both values; rows, sums and
    exports follow. Where two sheets come to share a site and date, review asks about them.

    Example:  sheet-reader correct bean_tips --site 2043 --visit 2026-05-20 --set helpers=3
    """
    from sheet_reader.answers.typed import assigned
    from sheet_reader.record.history.deciding import keep
    from sheet_reader.record.people.remarks import type_up
    from sheet_reader.study.kinds import site_meant

    refuse(
        (unusual and not sets, "--unusual goes with --set; without it you are asked"),
        (reason and remark is not None and not sets, "--reason of a value goes with --set"),
    )
    opened = open_study(study)
    if (photo is None) == (site is None and visit is None) or (site is None) != (visit is None):
        raise UsageError("name one sheet", remedy="with --site N and --visit DATE, or by its photo")
    if photo is None and number is not None:
        raise UsageError("--sheet goes with a photo")
    must_have_record(opened)
    values: TypedAnswers = assigned(opened, sets, days.today(opened), unusual=unusual)
    with open_record(opened) as record:
        if photo is not None:
            chosen = chosen_sheet(record, photo, number)
        else:
            day = parse_visit(visit or "", opened)
            chosen = chosen_visit(record, site_meant(opened, site or ""), day)
        if not values and remark is None:
            values, reason, remark = _ask(record, chosen, reason)
            unusual = True  # each was asked about
        if remark is not None:
            text = "" if remark.strip() == "-" else remark
            type_up(record, chosen.pages[0], text, person(name))
            click.echo("The remark is kept." if text.strip() else "The remark is taken out.")
        if values:
            answers = chosen.answers(opened, values, unusual=unusual)
            lines = [
                f"{one.spec.label}: {chosen.shown(opened, one.spec)} → {one.shown}"
                for one in values.values()
            ]
            keep(record, answers, person(name), reason=reason)
            if any(value.spec.kind.is_key for value in values.values()):
                lines += _shared(record, chosen)
            click.echo("\n".join(lines))
        if not values and remark is None:
            click.echo("Nothing was changed.")
            return
        tell_standing(record)


def _show(record: Record, chosen: ChosenSheets) -> list[FieldSpec]:
    """Print the sheet with its fields numbered; gives those that can be changed, in that order."""
    visit = chosen.visit
    photos = ", ".join(dict.fromkeys(seen.photo for seen in visit.pages))
    click.echo(f"Site {visit.site or '?'}, {visit.visit_date or '?'} ({photos})")
    shown = [s for s in record.study.fields if s.name in chosen.fields or s.kind.is_key]
    for number, spec in enumerate(shown, 1):
        value, status = record.study.placed(visit.site, visit.visit_date).get(spec.name), "printed"
        if (state := chosen.fields.get(spec.name)) is not None:
            value, status = state.value or "–", state.status
        click.echo(f"{number:>4}  {spec.label}: {value}  ({status})")
    return shown


def _ask(record: Record, chosen: ChosenSheets, reason: str) -> tuple[TypedAnswers, str, str | None]:
    """Ask for changes until Enter ends it; gives them with the reason, and what the comments say
    (None: as before). Nothing is kept here.
    """
    from sheet_reader.answers.typed import place_typed

    must_be_answerable()
    fields = _show(record, chosen)
    found: dict[str, TypedAnswer] = {}
    remark: str | None = None
    while said := answer_to("Number of the field to change (Enter: done, c: comments, s: stop): "):
        if said == STOP:
            return {}, "", None
        if said == COMMENTS:
            remark = _comments(record, chosen)
        elif (place := place_typed(said, len(fields))) is None:
            click.echo(f"  type a number from 1 to {len(fields)}")
        else:
            spec = fields[place]
            question = f"  {spec.label} (n not recorded, x can't be read, Enter leaves it): "
            while typed := answer_to(question):
                if (value := answer_meant(record.study, spec, typed)) is not None:
                    found[spec.name] = value
                    break
    if said is None:
        return {}, "", None
    for line in chosen.sums_off(record.study, found).values():
        said = answer_to(f"{line}. Enter keeps it as it is written, - changes nothing: ")
        if said is None or said == AGAIN:
            return {}, "", None
    if found and not reason:
        reason = answer_to("Why (a few words, or Enter): ") or ""
    return found, reason, remark


def _comments(record: Record, chosen: ChosenSheets) -> str | None:
    """Show the places for free writing and take down what the comments say; None: as before."""
    from sheet_reader.reading.written_areas import area_pictures

    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for page in chosen.pages:
            for picture in area_pictures(record, page):
                path = Path(folder, f"{picture.kind}-{page}.png")
                path.write_bytes(picture.png)
                paths.append(path)
        if paths:
            open_shown(paths)
        else:
            click.echo("There is no picture of the comments.")
    click.echo("What the comments say is exported: leave names and addresses out.")
    return answer_to("Comments (Enter leaves them, - takes out what was typed up): ") or None


def _shared(record: Record, chosen: ChosenSheets) -> list[str]:
    """Says where the sheet has come to a visit that has other sheets already."""
    pages = set(chosen.pages)
    for visit in record.state():
        here = {seen.page_instance_id for seen in visit.pages}
        others = [s.photo for s in visit.pages if s.page_instance_id not in pages]
        if here & pages and others:
            asked = sum(f.needs_review for f in visit.fields)
            return [
                f"Site {visit.site} on {visit.visit_date} has {', '.join(dict.fromkeys(others))} "
                f"too: {counted(asked, 'field')} of this visit to settle in review."
            ]
    return []
