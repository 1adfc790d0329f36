"""Kinds of field as objects: each says in one place what tells it from the others.

A room behind asks the object (``spec.kind.is_key``, ``spec.kind.check(…)``) and never compares
names. A new kind is a subclass of :class:`Kind`, given to :func:`add_kind`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, ClassVar, Literal

from sheet_reader.reasons import Code, Reason, because
from sheet_reader.study.days import example, latest, order_meant, parse_date, span
from sheet_reader.study.site_numbers import is_valid, nearest_sites
from sheet_reader.study.table import TomlTable
from sheet_reader.wording import said, words

if TYPE_CHECKING:
    from sheet_reader.study.study import FieldSpec, Site, Study

MOST_BOXES = 6
MOST_DIGITS = 9
"""Of a number that a person types: more than any field has boxes."""

Day = date | None
Column = Literal["text", "date", "integer"]
Groups = tuple[tuple[str, int], ...]
"""Boxes that stand together, from left to right: the part of the value and how many."""
Size = tuple[int, int | None, int | None]
"""Boxes, lowest and highest plausible value of a field."""


@dataclass(frozen=True, slots=True)
class FieldValue:
    """A usable value as the record keeps it. ``doubt`` says what is unusual, "" if nothing is."""

    text: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """The typed text is no value of this field; ``message`` says what would be. ``near`` are the
    sites that an unknown number may have meant.
    """

    message: str
    near: tuple[Site, ...] = ()


@dataclass(frozen=True, slots=True)
class Range:
    """A number; what lies outside is possible, but surprising. None: no limit."""

    lowest: int | None
    highest: int | None

    def against(self, number: int) -> Reason | None:
        """Why a number is asked about though its digits are plain, or None."""
        if self.highest is not None and number > self.highest:
            return because(Code.ABOVE_RANGE, value=number, highest=self.highest)
        if self.lowest is not None and number < self.lowest:
            return because(Code.BELOW_RANGE, value=number, lowest=self.lowest)
        return None

    def text(self, number: int) -> str:
        """The number as the record keeps it."""
        return str(number)


@dataclass(frozen=True, slots=True)
class Listed:
    """One of these texts, all of digits."""

    texts: tuple[str, ...]

    def against(self, number: int) -> Reason | None:
        """As :meth:`Range.against`."""
        expected = number in map(int, self.texts)
        return None if expected else because(Code.NOT_EXPECTED, value=number)

    def text(self, number: int) -> str:
        """The text that is meant, with its zeros; the number alone where none is."""
        return next((text for text in self.texts if int(text) == number), str(number))


Spelling = Range | Listed
"""What the digits of a field may spell, but for a date, which has a calendar."""


@dataclass(frozen=True)
class Kind:
    """A kind of field: here of a number in the head, from which other kinds differ in a few points.

    ``name`` stands in study files and records, ``keys`` are its own keys in the study file.
    ``is_key``: one of it places the sheet, so each study has exactly one and every page shows it.
    ``is_amount``: it can be added up, and say how long was searched. ``is_listed``: the site list
    has its values, so that it can be searched by name. ``is_captioned``: there is room for words
    below its boxes. ``two_settle``: what reader and person both see is not doubted.
    ``may_be_empty``: empty boxes are an answer, so that no letter asks about them. ``column`` is
    the type of its column in tables, ``column_note`` what is said of it beside the label.
    ``answers`` are the keys to press when it is asked, with what they say, ``asks`` is what stands
    over the box that takes the answer on the page of the review. ``in_head`` and
    ``in_plots`` tell where it may stand.
    """

    name: ClassVar[str] = "number"
    keys: ClassVar[tuple[str, ...]] = ("boxes", "lowest", "highest")
    is_key: ClassVar[bool] = False
    is_amount: ClassVar[bool] = True
    is_listed: ClassVar[bool] = False
    is_captioned: ClassVar[bool] = False
    two_settle: ClassVar[bool] = True
    may_be_empty: ClassVar[bool] = False
    column: ClassVar[Column] = "integer"
    column_note: ClassVar[str] = ""
    answers: ClassVar[tuple[tuple[str, str], ...]] = (("digits", "what it says"),)
    asks: ClassVar[str] = "What it says"
    in_head: ClassVar[bool] = True
    in_plots: ClassVar[bool] = False

    def size(self, table: TomlTable) -> Size:
        """What the study file says of boxes and range; mistakes are noted in ``table``."""
        return _boxes_and_range(table, required=False)

    def groups(self, boxes: int, date_order: Sequence[str] = ()) -> Groups:
        """How the boxes stand together: more than four in threes from the right, as thousands are
        written.
        """
        if boxes <= 4:
            return (("", boxes),)
        first = boxes % 3
        return ((("", first),) if first else ()) + (("", 3),) * (boxes // 3)

    def captions(self, study: Study) -> tuple[str, ...]:
        """What is printed below each group of boxes; () for nothing."""
        return ()

    def printed(self, study: Study, sheet: str) -> tuple[str, str] | None:
        """What stands in the place of boxes on the ``sheet`` of a site, and in small print below
        it; None where it has boxes all the same.
        """
        return None

    def spelling(self, study: Study, spec: FieldSpec) -> Spelling:
        """What its digits may spell."""
        return Range(spec.lowest, spec.highest)

    def parts(self, value: str) -> dict[str, str]:
        """The digits of a value as they stand in the boxes, by part."""
        return {"": value}

    def check(
        self, study: Study, spec: FieldSpec, text: str, *, today: Day = None, near: Day = None
    ) -> FieldValue | Refusal:
        """The value that a person meant who typed ``text``, as the record keeps it, or what is
        wrong. Only a date needs ``today``, to doubt what lies in the future, and the date ``near``
        whose parts are meant where some are left out.
        """
        text = text.strip()
        if not re.fullmatch(r"[0-9]+", text):
            return Refusal("type the number in digits, e.g. 14")
        text = text.lstrip("0") or "0"
        if len(text) > MOST_DIGITS:
            return Refusal(f"a number has at most {MOST_DIGITS} digits, this has {len(text)}")
        number, spelling = int(text), self.spelling(study, spec)
        doubt = words(filter(None, [spelling.against(number)]))
        if not doubt and len(text) > spec.boxes:
            doubt = f"{text} is longer than the {spec.boxes} boxes of this field"
        return FieldValue(spelling.text(number), doubt)


class CountKind(Kind):
    """Something counted in every plot; a total is a count that a sum checks."""

    name = "count"
    in_head, in_plots = False, True

    def size(self, table: TomlTable) -> Size:
        return _boxes_and_range(table, required=True)


class SiteKind(Kind):
    """The site's number: on the site list, ending in its check digit."""

    name = "site"
    keys = ("boxes",)
    is_key, is_amount, is_listed, is_captioned = True, False, True, True
    column = "text"
    answers = (*Kind.answers, ("letters", "search by name"))
    asks = "Site number, or / and a part of its name"

    def size(self, table: TomlTable) -> Size:
        return table.whole("boxes", 2, 8) or 0, None, None

    def printed(self, study: Study, sheet: str) -> tuple[str, str] | None:
        site = study.site(sheet)
        return sheet, site.label if site else ""

    def spelling(self, study: Study, spec: FieldSpec) -> Spelling:
        return Listed(tuple(site.number for site in study.sites))

    def check(
        self, study: Study, spec: FieldSpec, text: str, *, today: Day = None, near: Day = None
    ) -> FieldValue | Refusal:
        """A number of the site list; leading zeros may be left out where that is clear."""
        text = text.strip()
        meant = site_meant(study, text)
        if study.site(meant) is not None:
            return FieldValue(meant)
        misspelt = text.isascii() and text.isdigit() and not is_valid(text)
        unlisted = "is not on the site list" + ("; its check digit is wrong" if misspelt else "")
        return Refusal(
            f"site {text[:40]} {unlisted}; if it has left it, put its line back first",
            nearest_sites(text[:40], study.sites, 4),
        )


class DateKind(Kind):
    """The visit date: two boxes each for day, month and year, in the study's order."""

    name = "date"
    keys = ("boxes",)
    is_key, is_amount, is_captioned, two_settle = True, False, True, False
    column, asks = "date", "Day, month, year"

    def size(self, table: TomlTable) -> Size:
        return table.whole("boxes", 6, 6, required=False, fallback=6) or 6, None, None

    def groups(self, boxes: int, date_order: Sequence[str] = ()) -> Groups:
        return tuple((part, 2) for part in date_order)

    def captions(self, study: Study) -> tuple[str, ...]:
        words = study.words
        first, last = study.season.first.year, study.season.last.year
        year = f"{words.year} ({first % 100:02d})" if first == last else words.year
        captions = {"day": words.day, "month": words.month, "year": year}
        return tuple(captions[part] for part in study.date_order)

    def parts(self, value: str) -> dict[str, str]:
        """Day, month and the year's last two digits of an ISO 8601 date."""
        return {"year": value[2:4], "month": value[5:7], "day": value[8:10]}

    def check(
        self, study: Study, spec: FieldSpec, text: str, *, today: Day = None, near: Day = None
    ) -> FieldValue | Refusal:
        """A date as it is typed (see :func:`~sheet_reader.study.days.parse_date`)."""
        text, season = text.strip(), span(study)
        day = parse_date(text, study, near)
        if day is not None and season.first <= day <= season.last:
            late = today is not None and day > latest(today)
            return FieldValue(day.isoformat(), f"{said(day)} lies in the future" if late else "")
        meant = order_meant(text, study)
        if day is None:
            how = f"type {' '.join(study.date_order)}, e.g. {example(study)}"
            return Refusal(f"no such date; {meant or how}")
        whole = f"{said(study.season.first)} to {said(study.season.last)}"
        doubt = f"{said(day)} lies outside the season ({whole})" + (f"; {meant}" if meant else "")
        return FieldValue(day.isoformat(), doubt)


SITE, DATE, NUMBER, COUNT = SiteKind(), DateKind(), Kind(), CountKind()
KINDS: dict[str, Kind] = {kind.name: kind for kind in (SITE, DATE, NUMBER, COUNT)}
"""The kinds that a field may have, by name."""


def add_kind(kind: Kind) -> None:
    """Let study files have fields of this ``kind``."""
    KINDS[kind.name] = kind


def site_meant(study: Study, text: str) -> str:
    """The number of the site that was typed, with its zeros; as typed where none is known."""
    text = text.strip()
    numbers = [s.number for s in study.sites if s.number.lstrip("0") == text.lstrip("0")]
    return text if study.site(text) is not None or len(numbers) != 1 else numbers[0]


def _boxes_and_range(table: TomlTable, *, required: bool) -> Size:
    """As many boxes as the highest value has digits, and lowest 0, where they are not given; a
    range is needed only where ``required``.
    """
    top = 10**MOST_BOXES - 1
    highest = table.whole("highest", 0, top, required=required)
    fallback = 0 if required or highest is not None else None
    lowest = table.whole("lowest", 0, top, required=False, fallback=fallback)
    if lowest is not None and highest is not None and highest < lowest:
        table.wrong("highest", f"{highest} is less than lowest, {lowest}")
    if not table.has("boxes") and highest is not None:
        return len(str(highest)), lowest, highest
    boxes = table.whole("boxes", 1, MOST_BOXES, required=not (required or table.meant("highest")))
    if boxes is not None and highest is not None and highest >= 10**boxes:
        word = "box holds" if boxes == 1 else "boxes hold"
        table.wrong("highest", f"{highest} does not fit: {boxes} {word} at most {10**boxes - 1}")
    return boxes or 0, lowest, highest
