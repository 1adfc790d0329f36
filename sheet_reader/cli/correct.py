"""``sheet-reader correct``: change what stands in the record, with a reason."""

from __future__ import annotations

from collections.abc import Mapping
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
    Chosen,
    after,
    chosen_sheet,
    chosen_visit,
    tell_standing,
)
from sheet_reader.cli.opening import must_have_record, open_record
from sheet_reader.errors import UsageError
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.record.history.answers import SumTold
    from sheet_reader.record.store.store import Record
    from sheet_reader.review.typed_values import TypedValue


@click.command(short_help="Change a value, the date or the site of a sheet.")
@study_argument
@click.argument("photo", required=False, metavar="[PHOTO]")
@click.option("--site", metavar="N", help="The site's number, to name a visit.")
@click.option("--visit", metavar="DATE", help="The visit date, e.g. 2026-05-20.")
@SHEET
@SET
@click.option(
    "--remark", metavar="TEXT",
    help="What the comments on the sheet say, typed up (- takes it out). It is exported: leave "
    "names and addresses out.",
)  # fmt: skip
@UNUSUAL
@REASON
@AS
def correct(
    study: Path,
    photo: str | None,
    site: str | None,
    visit: str | None,
    number: int | None,
    sets: tuple[str, ...],
    remark: str | None,
    unusual: bool,
    reason: str,
    name: str | None,
) -> None:
    """Show a sheet with its values and change any of them, the site or the date.

    The sheet is named by --site and --visit, or by its PHOTO (photo-0027, or the file's name).
    Without --set you are asked what to change, and why. History keeps both values; rows, sums and
    exports follow. Where two sheets come to share a site and date, review asks about them.

    Example:  sheet-reader correct bean_tips --site 2043 --visit 2026-05-20 --set helpers=3
    """
    from sheet_reader.review.typed_values import assigned
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
    values = assigned(opened, sets, days.today(opened), unusual=unusual)
    with open_record(opened) as record:
        if photo is not None:
            chosen = chosen_sheet(record, photo, number)
        else:
            day = parse_visit(visit or "", opened)
            chosen = chosen_visit(record, site_meant(opened, site or ""), day)
        if not values and remark is None:
            from sheet_reader.cli.correcting import ask

            asked = ask(record, chosen, days.today(opened), reason)
            values, reason, remark = asked.values, asked.reason, asked.remark
            unusual = True  # each was asked about
        if remark is not None:
            _keep_remark(record, chosen, remark, person(name))
        if values:
            for line in _keep(record, chosen, values, person(name), reason, unusual=unusual):
                click.echo(line)
        if not values and remark is None:
            click.echo("Nothing was changed.")
            return
        tell_standing(record)


def _keep(
    record: Record,
    chosen: Chosen,
    values: Mapping[str, TypedValue],
    by: str,
    reason: str,
    *,
    unusual: bool,
) -> list[str]:
    """Keep the changes as one answer; gives them in words."""
    from sheet_reader.record.history import mending
    from sheet_reader.record.history.answers import FieldAnswer, Illegible, LeftEmpty, Value
    from sheet_reader.record.history.row_sums import sums_off
    from sheet_reader.review.typed_values import LOOK_AGAIN

    told = sums_off(record.study, after(chosen, values), list(values))
    if told and not unusual:
        raise UsageError(next(iter(told.values())), remedy=LOOK_AGAIN)
    place = {v.spec.kind.name: v.text for v in values.values() if v.spec.kind.is_key}
    if None in place.values():
        raise UsageError(
            "a sheet has a site and a date", remedy="to leave it out everywhere: sheet-reader aside"
        )
    changes, lines = [], []
    for value in values.values():
        before = _before(record, chosen, value)
        lines.append(f"{value.spec.label}: {before} → {_shown(value)}")
        if value.spec.kind.is_key:
            continue
        state = chosen.fields.get(value.spec.name)
        if state is None:
            raise UsageError(
                f"{value.spec.label}: no sheet of this visit shows it",
                remedy="type the missing page in: sheet-reader enter",
            )
        answer = Value(value.text) if value.text is not None else (
            Illegible() if value.unreadable else LeftEmpty()
        )  # fmt: skip
        rivals = mending.rivals_of(state, chosen.visit, value.text)
        changes.append(
            FieldAnswer(state.reading.reading_id, answer, rivals, _told(value.spec.name, told))
        )
    said: dict[str, str] = {kind: text for kind, text in place.items() if text is not None}
    mending.correct(
        record, changes, dict.fromkeys(chosen.pages, said) if said else None, by=by, reason=reason
    )
    return lines + _shared(record, chosen, said)


def _told(field: str, told: Mapping[SumTold, str]) -> tuple[SumTold, ...]:
    return tuple(one for one in told if field in one.fields)


def _before(record: Record, chosen: Chosen, value: TypedValue) -> str:
    if value.spec.kind.is_key:
        placed = record.study.placed(chosen.visit.site, chosen.visit.visit_date)
        return placed[value.spec.name] or "waits"
    state = chosen.fields.get(value.spec.name)
    if state is None:
        return "not there"
    return "waits" if state.status == "flagged" else state.value or state.status


def _shown(value: TypedValue) -> str:
    return "can't be read" if value.unreadable else value.text or "not recorded"


def _shared(record: Record, chosen: Chosen, said: Mapping[str, str]) -> list[str]:
    """Says where the sheet has come to a visit that has other sheets already."""
    if not said:
        return []
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


def _keep_remark(record: Record, chosen: Chosen, text: str, by: str) -> None:
    from sheet_reader.record.people.remarks import type_up

    text = "" if text.strip() == "-" else text
    type_up(record, chosen.pages[0], text, by)
    click.echo("The remark is kept." if text.strip() else "The remark is taken out.")
