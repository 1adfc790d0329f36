"""What the record should say after any edit: a plain model of sheets, answers and the study file.

It is written against the README, not against the record's code: a decision stands; a value that
was once surely read stays too, doubted where a later reading, the study file in force or a sum
speaks against it; all else waits. A sum that does not fit is asked about until a person was told of
just these values.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sheet_reader.decode.promise import default_threshold
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.study import FieldSpec, Study

Said = tuple[str | None, str, float]
STATUS = {"accept": "confirmed", "value": "corrected", "empty": "empty", "unreadable": "unreadable"}
RECORDED = ("accepted", "doubted", "confirmed", "corrected")
Sums = frozenset[tuple[str, str | None]]
"""A sum by its fields and values."""


@dataclass
class Sheet:
    """One sheet in one photo: what was read in it, by field."""

    photo: str
    page_instance_id: int
    printed: str
    place: int
    said: dict[str, Said]
    names: dict[str, str]
    """What the site and the date field were called when it was read."""
    held: dict[str, str | None] = field(default_factory=dict)
    """What was first surely read in each field (None: nothing written)."""

    def read(self, said: dict[str, Said]) -> None:
        """A reading of the sheet: what surely says something else than before is asked about."""
        for name, (value, status, sure) in said.items():
            if status != "flagged" and self.held.setdefault(name, value) != value:
                said = said | {name: (value, "flagged", sure)}
        self.said = said


@dataclass(frozen=True)
class Given:
    """A person's answer."""

    page_instance_id: int
    field: str
    kind: str
    value: str | None
    told: Sums | None = None
    """A sum that does not fit, as the person knows who answered."""
    more: bool = False
    """Whether the answer before belongs to it: they are taken back together."""


@dataclass
class Model:
    """Everything that was read and answered, in order."""

    sheets: list[Sheet] = field(default_factory=list)
    answers: list[Given] = field(default_factory=list)
    unread: int = 0

    def decided(self, sheet: Sheet, name: str) -> Given | None:
        held = [
            a
            for a in self.answers
            if (a.page_instance_id, a.field) == (sheet.page_instance_id, name)
        ]
        return held[-1] if held else None

    def waits(self, study: Study, sheet: Sheet, name: str) -> bool:
        """Whether a field must be asked about, or explained where the study has no such field."""
        return self._waits_as_read(study, sheet, name) or any(
            name in self._asked_on_the_row(study, sheet, rule.fields)
            for rule in study.sums
        )

    def _asked_on_the_row(
        self, study: Study, sheet: Sheet, names: tuple[str, ...]
    ) -> tuple[str, ...]:
        """The fields of a sum that are asked about because it does not fit as the row goes out:
        those that nobody decided, else the total; none where another question is open or a person
        was told of just these values.
        """
        if any(n not in sheet.said or self._waits_as_read(study, sheet, n) for n in names):
            return ()
        values = [self.value(sheet, name) for name in names]
        total, *parts = (int(v) if (v or "").isdecimal() else None for v in values)
        known = [part for part in parts if part is not None]
        if total is None or not known:
            return ()
        off = sum(known) != total if len(known) == len(parts) else sum(known) > total
        if not off or frozenset(zip(names, values, strict=True)) in self._told(sheet):
            return ()
        undecided = [n for n in names if not self.decided(sheet, n)]
        return tuple(n for n in undecided if self.value(sheet, n) is not None) or names[:1]

    def _told(self, sheet: Sheet) -> set[Sums | None]:
        return {a.told for name in sheet.said if (a := self.decided(sheet, name))}

    def _waits_as_read(self, study: Study, sheet: Sheet, name: str) -> bool:
        if self.decided(sheet, name):
            return False
        specs = {spec.name: spec for spec in study.fields}
        if sheet.said[name][1] == "flagged" or name not in specs:
            return sheet.said[name][1] == "flagged"
        return not holds(study, specs[name], sheet.said[name])

    def value(self, sheet: Sheet, name: str) -> str | None:
        answer = self.decided(sheet, name)
        if answer:
            return answer.value
        held = sheet.held.get(name)
        return sheet.said[name][0] if held is None else held

    def status(self, study: Study, sheet: Sheet, name: str) -> str:
        answer = self.decided(sheet, name)
        if self.waits(study, sheet, name):
            stays = answer.value if answer else sheet.held.get(name)
            return "flagged" if stays is None else "doubted"
        return STATUS[answer.kind] if answer else sheet.said[name][1]

    def place(self, study: Study, sheet: Sheet) -> tuple[str, str]:
        """Site and date, "" for what was never sure or is not to be read."""
        names: dict[str, str] = {h.kind.name: h.name for h in study.header}
        found = [sheet.printed if sheet.printed != BLANK else "", ""]
        for at, kind in enumerate(("site", "date")):
            name = names[kind]
            if name in sheet.said and (kind == "date" or sheet.printed == BLANK):
                waits = self.status(study, sheet, name) == "flagged"
                found[at] = "" if waits else self.value(sheet, name) or ""
        return found[0], found[1]

    def readings(self, study: Study) -> Counter[tuple[Any, ...]]:
        """What readings.csv must hold."""
        return Counter(
            (
                sheet.photo, *self.place(study, sheet), name, self.value(sheet, name),
                self.status(study, sheet, name), sheet.said[name][0],
            )
            for sheet in self.sheets
            for name in sheet.said
        )  # fmt: skip

    def rows(self, study: Study) -> Counter[tuple[str, ...]]:
        """What rows.csv must hold below its header: no two sheets are of one visit."""
        return Counter(self._row(study, sheet) for sheet in self.sheets)

    def _row(self, study: Study, sheet: Sheet) -> tuple[str, ...]:
        site, day = self.place(study, sheet)
        known = {spec.name for spec in study.fields}
        waiting = sum(self.waits(study, sheet, name) for name in sheet.said if name in known)
        cells = [self._cell(study, sheet, spec, site, day) for spec in study.fields]
        return (*cells, str(waiting))

    def _cell(self, study: Study, sheet: Sheet, spec: FieldSpec, site: str, day: str) -> str:
        if spec.kind.name in ("site", "date"):
            return site if spec.kind.name == "site" else day
        if spec.name not in sheet.said:
            return ""
        recorded = self.status(study, sheet, spec.name) in RECORDED
        return (self.value(sheet, spec.name) or "") if recorded else ""

    def open(self, study: Study) -> Iterator[tuple[Sheet, str]]:
        """Every field that waits, those that the study does not know among them."""
        for sheet in self.sheets:
            for name in sheet.said:
                if self.waits(study, sheet, name):
                    yield sheet, name

    def refused(self, study: Study, key: str) -> str:
        """Whether the record is opened under this study file: "no", "must" not be, or "may" be,
        where no sheet shows beyond doubt which of its fields is the site or the date.
        """
        if not self.sheets:
            return "no"
        if study.key != key:
            return "must"
        names: dict[str, str] = {h.kind.name: h.name for h in study.header}
        blank = [s for s in self.sheets if s.printed == BLANK]
        site = [s for s in blank if s.names["site"] != names["site"]]
        day = [s for s in self.sheets if s.names["date"] != names["date"]]
        if any(s.printed != BLANK and names["site"] in s.said for s in self.sheets):
            return "must"
        if not site and not day:
            return "no"
        sure = any(
            names[kind] not in s.said or s.said[names[kind]][1] == "accepted"
            for kind, sheets in (("site", site), ("date", day))
            for s in sheets
        )
        return "must" if sure else "may"


def threshold(study: Study, kind: str) -> float:
    """README: site and date must be four times as certain as a count."""
    count = default_threshold(study.allowed_error)
    return 1.0 - (1.0 - count) / 4.0 if kind in ("site", "date") else count


def holds(study: Study, spec: FieldSpec, said: Said) -> bool:
    """Whether an accepted or empty field would be taken without asking under the study file."""
    value, _, confidence = said
    if confidence < threshold(study, spec.kind.name):
        return False
    if spec.kind.name in ("site", "date") or value is None:
        return True
    low = spec.lowest if spec.lowest is not None else 0
    high = spec.highest if spec.highest is not None else 10**9
    return low <= int(value) <= high
