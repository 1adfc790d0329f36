"""The questions of ``sheet-reader correct``: which field, what it says, and why."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.on_sheets import Chosen, after, open_shown
from sheet_reader.cli.terminal import must_be_answerable, typed_line
from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.record.store.store import Record
    from sheet_reader.review.typed_values import TypedValue
    from sheet_reader.study.model import FieldSpec

STOP, NEVER, COMMENTS = "s", "-", "c"


def show(record: Record, chosen: Chosen) -> list[FieldSpec]:
    """Print the sheet with its fields numbered; gives those that can be changed, in that order."""
    visit = chosen.visit
    photos = ", ".join(dict.fromkeys(seen.photo for seen in visit.pages))
    click.echo(f"Site {visit.site or '?'}, {visit.visit_date or '?'} ({photos})")
    shown: list[FieldSpec] = []
    for spec in record.study.fields:
        state = chosen.fields.get(spec.name)
        if state is None and not spec.kind.is_key:
            continue
        shown.append(spec)
        if state is None:
            value = record.study.placed(visit.site, visit.visit_date)[spec.name]
            status = "printed"
        else:
            value, status = state.value or "–", state.status
        click.echo(f"{len(shown):>4}  {spec.label}: {value}  ({status})")
    return shown


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person wants changed, why, and what the comments say (None: as before)."""

    values: dict[str, TypedValue]
    reason: str = ""
    remark: str | None = None


def ask(record: Record, chosen: Chosen, today: date, reason: str) -> Asked:
    """Ask for changes until Enter ends it; gives them with the reason. Nothing is kept here."""
    must_be_answerable()
    fields = show(record, chosen)
    found: dict[str, TypedValue] = {}
    remark: str | None = None
    while True:
        said = _line("Number of the field to change (Enter: done, c: comments, s: stop): ")
        if said is None or said == STOP:
            return Asked({})
        if said == COMMENTS:
            remark = _comments(record, chosen)
            continue
        if not said:
            break
        if not (said.isascii() and said.isdigit() and 1 <= int(said) <= len(fields)):
            click.echo(f"  type a number from 1 to {len(fields)}")
            continue
        value = ask_value(record, fields[int(said) - 1], today)
        if value is not None:
            found[value.spec.name] = value
    if found and not _sums_meant(record, chosen, found):
        return Asked({})
    if found and not reason:
        reason = _line("Why (a few words, or Enter): ") or ""
    return Asked(found, reason, remark)


def _comments(record: Record, chosen: Chosen) -> str | None:
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
    return _line("Comments (Enter leaves them, - takes out what was typed up): ") or None


def ask_value(
    record: Record, spec: FieldSpec, today: date, *, unreadable: bool = True
) -> TypedValue | None:
    """Ask what a field says, a second time where that is unusual; None: leave it."""
    from sheet_reader.review.typed_values import understood

    others = ", x can't be read" if unreadable else ""
    while True:
        typed = _line(f"  {spec.label} (n not recorded{others}, Enter leaves it): ")
        if not typed:
            return None
        try:
            value = understood(spec, typed, record.study, today)
        except UsageError as error:
            click.echo(f"  {error}")
            continue
        if value.doubt:
            again = _line(f"  {value.doubt}. Enter keeps {value.text}, - asks again: ")
            if again is None:
                return None
            if again == NEVER:
                continue
        return value


def _sums_meant(record: Record, chosen: Chosen, found: dict[str, TypedValue]) -> bool:
    from sheet_reader.record.history.row_sums import sums_off

    for line in sums_off(record.study, after(chosen, found), list(found)).values():
        said = _line(f"{line}. Enter keeps it as it is written, - changes nothing: ")
        if said is None or said == NEVER:
            return False
    return True


def _line(question: str) -> str | None:
    """What is typed, None at the end of the input."""
    click.echo(question, nl=False)
    try:
        return typed_line().strip()
    except EOFError:
        click.echo()
        return None
