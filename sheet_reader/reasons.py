"""Why something is asked about or could not be read, as data: a code with its parameters.

Codes are stable: they stand in records and in readings.csv, and tables are grouped by them. The
words that a person reads are made from them at the edge, in :mod:`sheet_reader.wording`. A field
has a tuple of reasons, () where there is nothing to say.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

Param = None | bool | int | float | str | tuple["Param", ...]
PDF_PAGE = "pdf_page"
"""A parameter that any reason may have: the page of a PDF or TIFF it speaks of, from 1."""


class Occlusion(StrEnum):
    """What keeps a box from being read; ``NONE`` is falsy."""

    NONE = ""
    OUTSIDE = "outside"
    """It lies outside the picture."""
    COVERED = "covered"
    """Something lies on it."""
    SATURATED = "saturated"
    """A reflection: the picture is white there."""
    NO_FRAME = "no-frame"
    """Its printed frame was not found."""
    UNPLACED = "unplaced"
    """Its place in the picture is not certain."""
    FAINT = "faint"
    """Ink and paper can't be told apart."""
    BLURRED = "blurred"


class Code(StrEnum):
    """Every reason there is, with the names of its parameters behind the code."""

    params: tuple[str, ...]

    def __new__(cls, code: str, *params: str) -> Code:
        """A member whose value is the code alone."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.params = params
        return member

    TEXT = "text", "text"
    """In words only: of another reader, or a reason that this version does not know."""

    # one field, from its boxes; box counts from 0, part is day, month or year in a date, else ""
    HIDDEN = "hidden", "why"
    """All its boxes are hidden; ``why`` is an :class:`Occlusion`."""
    BOX_HIDDEN = "box-hidden", "box", "boxes", "part", "why"
    """One of its boxes is hidden."""
    SEVERAL_DIGITS = "several-digits", "box", "boxes", "part"
    """A box holds several digits."""
    NO_DIGIT = "no-digit", "box", "boxes", "part"
    """A box holds a mark that is no digit."""
    STRUCK_OUT = "struck-out"
    """All is struck out, and no other number is written."""
    BOX_STRUCK = "box-struck", "value"
    """A box was struck out; ``value`` is read from the others (None: no date)."""
    GAP = "gap", "value"
    """An empty box stands inside the number."""
    FAINT_INK = "faint-ink", "box", "boxes", "part"
    """A box that seems empty may hold pale ink."""
    PALE_INK = "pale-ink", "box", "boxes", "part"
    """What stands in a box is much paler than the rest: perhaps the page behind."""
    TALLY_INK = "tally-ink", "box", "boxes", "part"
    """Tally strokes run on towards a box, so what stands in it may be one of them."""
    STROKE_LEAVES = "stroke-leaves"
    """Sure enough but for a stroke that leaves its box."""
    ODD_SHEET = "odd-sheet"
    """Sure enough but for many other digits of the sheet that are doubtful."""
    UNCERTAIN = "uncertain"
    """Not read with enough certainty."""
    BOX_UNCERTAIN = "box-uncertain", "box", "boxes", "part", "first", "second"
    """Not certain enough; the least certain box could be ``first`` or ``second``: a digit,
    "empty", "struck", "several" or "other"."""
    NO_NUMBER = "no-number"
    """No number could be read."""

    # site and date
    SITE_EMPTY = "site-empty"
    """The site number was left empty."""
    OFF_LIST = "off-list", "site", "near", "check_digit"
    """``site`` is not on the list; ``near`` are sites one keying error away, ``check_digit`` tells
    whether its check digit fits."""
    DATE_EMPTY = "date-empty"
    """The visit date was left empty."""
    DATE_PART_EMPTY = "date-part-empty", "parts"
    """Some of day, month and year were left empty."""
    NO_DATE = "no-date"
    """No date could be read."""
    NO_SUCH_DAY = "no-such-day", "day", "month", "year"
    """No day of the calendar, as 31 June."""
    IN_FUTURE = "in-future", "date"
    """The visit date lies in the future."""
    OUTSIDE_SEASON = "outside-season", "date", "first", "last"
    """The visit date lies outside the season."""
    SEASON_NOT_BEGUN = "season-not-begun"
    """The season has not begun, so there is no day that the date may be."""
    DAY_OR_MONTH = "day-or-month", "other"
    """Day and month may stand the other way round: then it is the ``other`` date."""
    HAND_DIFFERS = "hand-differs", "boxes", "hand"
    """The boxes for themselves spell another site or date than the writer's hand makes likely."""

    # counts
    OTHERS_DIFFER = "others-differ", "boxes", "others"
    """The boxes spell another number than all else makes likely."""
    ABOVE_RANGE = "above-range", "value", "highest"
    """More than the highest plausible value."""
    BELOW_RANGE = "below-range", "value", "lowest"
    """Less than the lowest plausible value."""
    SUM_OFF = "sum-off", "total", "parts", "fields"
    """A total and its parts (here their sum) do not fit; ``fields`` are its fields, total first."""
    PARTS_EXCEED = "parts-exceed", "total", "parts", "fields"
    """The parts that were written down already add to more than the total."""
    HISTORY_DIFFERS = "history-differs", "value"
    """The site's earlier counts speak against ``value``. Leads in the reasons after it."""

    # one field against other photos, decisions and today's study file; photos by number
    PHOTOS_DIFFER = "photos-differ", "claims"
    """Photos of one sheet disagree; ``claims`` are (what, photo, frame, value) with ``what`` one of
    "read", "decided", "unreadable"."""
    DECISION_DIFFERS = "decision-differs", "claims"
    """A photo contradicts what was decided from another; ``claims`` as in PHOTOS_DIFFER."""
    MANY_DIFFER = "many-differ"
    """Many fields differ, so one of the photos may have another site or date."""
    SAME_ELSEWHERE = "same-elsewhere", "photo", "frame"
    """Another photo says the same, and holds."""
    OTHER_PHOTO = "other-photo", "photo", "frame"
    """Another photo holds for this field."""
    DECIDED_ELSEWHERE = "decided-elsewhere", "value", "photo", "frame"
    """The field was decided from another photo."""
    DECIDED = "decided"
    """Decided by a person."""
    NEWER_DIFFERS = "newer-differs", "value"
    """A newer reading says something else than was decided."""
    KEYED_BLIND = "keyed-blind"
    """Decided without seeing what was read."""
    ASKED_ANEW = "asked-anew"
    """Accepted before, but the study file asks about it now. Leads in the reasons after it."""
    WAS_SURE = "was-sure", "before"
    """Surely read as another value, ``before``, when the photo was read or decoded earlier."""
    STRICTER = "stricter", "allowed"
    """Not certain enough for the share of errors that the study file allows now."""
    UNKNOWN_FIELD = "unknown-field"
    """The study file has no such field now."""

    # a picture, or a part of one, that gives no page
    NO_SHEET = "no-sheet"
    """No sheet of the study was found in the picture."""
    NOT_FOUND = "not-found"
    """The reader found nothing at all."""
    BLURRED = "blurred"
    """The whole picture is too blurred."""
    TOO_FEW_MARKERS = "too-few-markers"
    """Fewer than two of the corner marks can be seen."""
    CODE_OUTSIDE = "code-outside", "part"
    """The code lies outside the picture; ``part`` of the page does ("right edge"), or ""."""
    CODE_UNREADABLE = "code-unreadable", "printed_readable"
    """The square code can't be read, nor the printed one, which nothing reads if
    ``printed_readable`` is False."""
    FOREIGN_CODE = "foreign-code"
    """The code holds a text that is none of ours."""
    MARKS_DIFFER = "marks-differ"
    """The code and the corner marks name different pages."""
    TWO_SHEETS = "two-sheets", "coded", "printed"
    """The square code and the print name two sheets: sites, or None for a blank sheet."""
    OTHER_STUDY = "other-study", "study", "title"
    """The sheet belongs to another study (its key, "" where that is not known)."""
    OLDER_LAYOUT = "older-layout", "layout", "now", "title"
    """The sheet was printed from another version of the study."""
    UNKNOWN_SITE = "unknown-site", "site"
    """The sheet was printed for a site that is not on the site list."""
    NO_SUCH_PAGE = "no-such-page", "page", "pages"
    """The sheet's code says a page that sheets do not have."""
    CORNERS_ODD = "corners-odd", "what"
    """Corners that a person pointed at can't be those of a page: ``what`` is "missing", "outside",
    "mirrored", "bent", "small" or "shape"."""
    PRINT_NOT_THERE = "print-not-there"
    """The print of the page does not lie where the corners put it."""
    PRINT_SAYS = "print-says", "chosen", "found"
    """A person said which page it is, and the print names another one."""
    POINTED_BACK = "pointed-back"
    """A person took back the corners that she had pointed at."""
    PRINT_CHECK = "print-check", "text"
    """The page that checks printer and paper; ``text`` is the result."""
    NOTHING_WRITTEN = "nothing-written"
    """A blank sheet, on which nothing is written."""

    # a photo that could not be read to its end
    NO_PICTURE = "no-picture", "text"
    """The file, or a page of it, gives no picture; ``text`` says why."""
    STUMBLED = "stumbled", "error"
    """The reader failed over the photo in a way nobody foresaw."""
    BROKE_DOWN = "broke-down"
    """The reading process ended over the photo."""
    TOO_SLOW = "too-slow", "seconds"
    """Reading took longer than it may."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason; made by :func:`because`. ``params`` are (name, value), sorted by name."""

    code: Code
    params: tuple[tuple[str, Param], ...] = ()

    def __getitem__(self, name: str) -> Any:
        """The parameter of this name; raises KeyError where there is none."""
        return dict(self.params)[name]

    @property
    def pdf_page(self) -> int | None:
        """The page of a PDF that it speaks of, from 1; None where it does not say."""
        return dict(self.params).get(PDF_PAGE)  # type: ignore[return-value]

    def on_page(self, number: int | None) -> Reason:
        """The same of this page of a PDF (from 1); None: of no page."""
        rest = tuple(p for p in self.params if p[0] != PDF_PAGE)
        if number is None:
            return replace(self, params=rest)
        return replace(self, params=tuple(sorted((*rest, (PDF_PAGE, number)))))


Reasons = tuple[Reason, ...]


def because(code: Code, **params: Any) -> Reason:
    """The reason ``code`` with its parameters, all of them named; lists become tuples.

    Raises ValueError where the names are not those of the code.

    >>> because(Code.ABOVE_RANGE, value=72, highest=60)["value"]
    72
    """
    if params.keys() - {PDF_PAGE} != {*code.params}:
        raise ValueError(f"{code} has the parameters {code.params}, not {tuple(params)}")
    return Reason(code, tuple(sorted((name, _frozen(value)) for name, value in params.items())))


def _frozen(value: Any) -> Param:
    if isinstance(value, list | tuple):
        return tuple(_frozen(item) for item in value)
    if isinstance(value, StrEnum):
        return value.value
    return value  # type: ignore[no-any-return]


def in_words(text: str) -> Reasons:
    """A reason of which only the words are known; () for ""."""
    return (because(Code.TEXT, text=text),) if text else ()


def has(reasons: Iterable[Reason], *codes: Code) -> bool:
    """Whether one of the reasons has one of the codes."""
    return any(reason.code in codes for reason in reasons)


def codes_of(reasons: Iterable[Reason]) -> str:
    """The codes in their order, each once, as they stand in one cell of a table."""
    return "; ".join(dict.fromkeys(reason.code.value for reason in reasons))


def to_json(reasons: Iterable[Reason]) -> str | None:
    """The reasons as a JSON text: ``[{"code": "above-range", "highest": 60, "value": 72}]``; None
    for none.
    """
    listed = [{"code": r.code.value, **dict(r.params)} for r in reasons]
    return json.dumps(listed, ensure_ascii=False) if listed else None


def from_json(text: str | None) -> Reasons:
    """The reasons of :func:`to_json`. One that this version does not know, or that is damaged,
    keeps its text, as words.
    """
    if text is None:
        return ()
    try:
        return tuple(_from_item(item) for item in json.loads(text))
    except (TypeError, ValueError):
        return in_words(text)


def _from_item(item: Any) -> Reason:
    try:
        params = dict(item)
        return because(Code(params.pop("code", "")), **params)
    except (TypeError, ValueError):
        return because(Code.TEXT, text=json.dumps(item, ensure_ascii=False))
