"""``sheet-reader enter``: a sheet typed in by hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, hint, open_study, person, refuse, study_argument
from sheet_reader.cli.on_sheets import (
    AS,
    REASON,
    SET,
    UNUSUAL,
    answer_meant,
    show_photo,
    tell_standing,
)
from sheet_reader.cli.opening import open_record
from sheet_reader.cli.terminal import answer_to, must_be_answerable
from sheet_reader.errors import UsageError
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.answers.typed import TypedAnswer, TypedAnswers
    from sheet_reader.record.history.photo_fates import PhotoFate
    from sheet_reader.record.history.states import VisitState
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.study import FieldSpec

BACK, STOP, LOOK, AGAIN = "b", "s", "w", "-"


@click.command(short_help="Type a sheet in by hand.")
@study_argument
@click.option("--photo", metavar="PHOTO", help="The photo of it: photo-0027, or its file's name.")
@SET
@click.option("--beside", is_flag=True,
              help="Keep it although this visit has a sheet already; review asks where the two "
              "differ.")  # fmt: skip
@UNUSUAL
@REASON
@AS
def enter(
    study: Path, photo: str | None, sets: tuple[str, ...], beside: bool, unusual: bool, reason: str,
    name: str | None,
) -> None:  # fmt: skip
    """Type a sheet in by hand, field by field as printed, with or without a photo of it.

    Enter alone means "not recorded", so a zero must be typed; b goes back, s stops and keeps
    nothing, w shows the photo. Ranges, sums, the site's check digit and the season are checked as
    in review. The values are marked "typed" in the exports and in history. With --set nothing is
    asked; fields left out are not recorded.

    Example:  sheet-reader enter bean_tips --photo photo-0007
    """
    from sheet_reader.answers.typed import LOOK_AGAIN, assigned, sums_off_in
    from sheet_reader.record.history.entered import enter as keep
    from sheet_reader.record.history.photo_fates import photo_meant

    refuse(
        (beside and not sets, "--beside goes with --set; without it you are asked"),
        (unusual and not sets, "--unusual goes with --set; without it you are asked"),
    )
    opened = open_study(study)
    said: TypedAnswers = assigned(opened, sets, days.today(opened), unusual=unusual)
    for value in said.values():
        if value.unreadable:
            raise UsageError(
                f"{value.spec.label}: “x” is no value of a sheet typed in",
                remedy="leave a field empty that can't be read",
            )
    with open_record(opened) as record:
        fate = None if photo is None else photo_meant(record, photo)
        if not said:
            typed = Form(record, fate).fill()
            if typed is None:
                click.echo("Stopped. Nothing was kept.")
                return
            said = typed
            beside = unusual = True  # each was asked about
        values = {field: value.text for field, value in said.items()}
        off = sums_off_in(opened, said)
        if off and not unusual:
            raise UsageError(next(iter(off.values())), remedy=LOOK_AGAIN)
        clash = _already(record, said)
        if clash is not None and not beside:
            raise UsageError(
                _clash(clash),
                remedy="to change its values: sheet-reader correct; to keep both and be asked "
                "where they differ: --beside",
            )
        kept = keep(
            record, values, by=person(name), reason=reason,
            photo_id=None if fate is None else fate.photo_id, told=off,
        )  # fmt: skip
        typed_in = sum(text is not None for text in values.values())
        empty = len(opened.fields) - typed_in
        click.echo(
            f"Kept as photo-{kept:04d}: {counted(typed_in, 'value')} typed, {empty} not recorded."
        )
        tell_standing(record)


def _already(record: Record, said: TypedAnswers) -> VisitState | None:
    """The visit that the record has of the same site and date."""
    here = [said[name].text if name in said else None for name in record.study.keys]
    return next((v for v in record.state() if [v.site, v.visit_date] == here), None)


def _clash(visit: VisitState) -> str:
    photos = ", ".join(dict.fromkeys(seen.photo for seen in visit.pages))
    return f"site {visit.site} on {visit.visit_date} is in the record already, from {photos}"


class Form:
    """A sheet that is filled in on the terminal, one field after the other."""

    def __init__(self, record: Record, photo: PhotoFate | None) -> None:
        self.record = record
        self.study = record.study
        self.photo = photo
        self.said: dict[str, TypedAnswer] = {}

    def fill(self) -> dict[str, TypedAnswer] | None:
        """Ask for every field in printed order; None where the person stops."""
        must_be_answerable()
        click.echo("Type what the sheet says. Enter: not recorded (type 0 for a zero), b: back, "
                   "s: stop" + (", w: the photo." if self.photo else "."))  # fmt: skip
        place, specs = 0, self.study.fields
        while place < len(specs):
            step = self._ask(specs[place])
            if step is None:
                return None
            place = max(0, place + step)
            if place == len(specs) and not self._sums_meant():
                place = self._first_of_sums()
        return self.said

    def _ask(self, spec: FieldSpec) -> int | None:
        """Ask one field; gives the step to the next one to ask, None to stop."""
        before = self.said.get(spec.name)
        shown = f" [{before.text or 'not recorded'}]" if before else ""
        typed = answer_to(f"{spec.label}{shown}: ")
        if typed is None or typed == STOP:
            return None
        if typed == BACK:
            return -1
        if typed == LOOK:
            if self.photo is None:
                click.echo("  there is no photo of it")
            else:
                show_photo(self.record, self.photo.photo_id)
            return 0
        if not typed and before is not None:
            return 1
        value = answer_meant(self.study, spec, typed)
        if value is None:
            return 0
        if value.unreadable or (value.text is None and spec.kind.is_key):
            what = "leave it empty" if value.unreadable else f"a sheet needs its {spec.kind.name}"
            click.echo(f"  {what}")
            return 0
        self.said[spec.name] = value
        return self._place_meant(spec)

    def _place_meant(self, spec: FieldSpec) -> int | None:
        """Say at once where the record has a sheet of this site and date already."""
        visit = _already(self.record, self.said) if spec.kind.is_key else None
        if visit is None:
            return 1
        click.echo(f"  {_clash(visit)}. To change its values: {hint('correct', self.study.folder)} "
                   f"--site {visit.site} --visit {visit.visit_date}")  # fmt: skip
        said = answer_to("  Enter types a second sheet (review asks where they differ), - asks "
                          "again, s stops: ")  # fmt: skip
        if said is None or said == STOP:
            return None
        if said:
            self.said.pop(spec.name, None)
        return 0 if said else 1

    def _sums_meant(self) -> bool:
        from sheet_reader.answers.typed import sums_off_in

        return all(
            answer_to(f"{line}. Enter keeps it as it is written, - goes back: ") == ""
            for line in sums_off_in(self.study, self.said).values()
        )

    def _first_of_sums(self) -> int:
        names = {name for rule in self.study.sums for name in rule.fields}
        return next(n for n, spec in enumerate(self.study.fields) if spec.name in names)
