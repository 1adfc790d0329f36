"""Why something is asked about or could not be read, as data: a code with its parameters.

Codes are stable: they stand in records and in readings.csv, and tables are grouped by them. The
words that a person reads are made at the edge, in :mod:`sheet_reader.wording`. A field has a tuple
of reasons, () where there is nothing to say.
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
    """What keeps a box from being read, with its words; ``NONE`` is falsy."""

    words: str

    def __new__(cls, why: str, words: str = "") -> Occlusion:
        """A member whose value is ``why`` alone."""
        member = str.__new__(cls, why)
        member._value_, member.words = why, words
        return member

    NONE = "", ""
    OUTSIDE = "outside", "outside the picture"
    COVERED = "covered", "covered"
    SATURATED = "saturated", "burnt out"
    NO_FRAME = "no-frame", "its printed frame was not found"
    UNPLACED = "unplaced", "its place is not certain"
    FAINT = "faint", "too faint or too dark"
    BLURRED = "blurred", "blurred"


class Code(StrEnum):
    """Every reason there is: code, names of its parameters, and words that name them ("" where they
    need a choice, see :mod:`~sheet_reader.wording`); then, where masking would leave half a
    sentence, the words for who has not seen the reading, and, where that would say too little,
    those for many cases at once.
    """

    params: tuple[str, ...]
    words: str
    blind: str
    general: str

    def __new__(
        cls, code: str, params: str = "", words: str = "", blind: str = "", general: str = ""
    ) -> Code:
        """A member whose value is the code alone; ``params`` are separated by blanks."""
        member = str.__new__(cls, code)
        member._value_, member.params, member.words = code, tuple(params.split()), words
        member.blind, member.general = blind, general
        return member

    # in words only: of another reader, or a reason that this version does not know
    TEXT = "text", "text", "{text}", "its words may tell what was read", "other reasons"

    # one field, from its boxes; box counts from 0, part is day, month or year in a date, else ""
    HIDDEN = "hidden", "why", "hidden: {why}", "", "hidden"
    BOX_HIDDEN = "box-hidden", "box boxes part why", "{box} is hidden: {why}", "", "a box is hidden"
    SEVERAL_DIGITS = "several-digits", "box boxes part", "{box} holds several digits"
    NO_DIGIT = "no-digit", "box boxes part", "{box} holds a mark that is no digit"
    STRUCK_OUT = "struck-out", "", "struck out, and no other number written"
    BOX_STRUCK = "box-struck", "value", "", "a box was struck out"
    GAP = ("gap", "value", "an empty box stands inside the number; read as {value}",
           "an empty box stands inside the number")  # fmt: skip
    FAINT_INK = "faint-ink", "box boxes part", "{box} seems empty, but may hold pale ink"
    PALE_INK = ("pale-ink", "box boxes part", "what stands in {box} is much paler than the rest; "
                "it may shine through")  # fmt: skip
    TALLY_INK = ("tally-ink", "box boxes part",
                 "tally strokes run on towards {box}; one may stand in it")  # fmt: skip
    STROKE_LEAVES = "stroke-leaves", "", "a stroke leaves its box"
    ODD_SHEET = "odd-sheet", "", "many digits of this sheet are hard to read"
    UNCERTAIN = "uncertain", "", "not read with enough certainty"
    # of the least certain box; first and second are a digit, "empty", "struck", "several", "other"
    BOX_UNCERTAIN = ("box-uncertain", "box boxes part first second",
                     "{box} could be {first} or {second}", "",
                     "a box could be one of two digits")  # fmt: skip
    NO_NUMBER = "no-number", "", "no number could be read"

    # site and date
    SITE_EMPTY = "site-empty", "", "the site number was left empty"
    # near are sites one keying error away, check_digit tells whether it fits
    OFF_LIST = "off-list", "site near check_digit", "", "the site number is not on the site list"
    DATE_EMPTY = "date-empty", "", "the visit date was left empty"
    DATE_PART_EMPTY = "date-part-empty", "parts", "", "", "a part of the visit date was left empty"
    NO_DATE = "no-date", "", "no date could be read"
    NO_SUCH_DAY = "no-such-day", "day month year", "", "the visit date is no day"
    IN_FUTURE = ("in-future", "date", "visit date {date} lies in the future",
                 "the visit date lies in the future")  # fmt: skip
    OUTSIDE_SEASON = ("outside-season", "date first last",
                      "visit date {date} lies outside the season ({season})",
                      "the visit date lies outside the season ({season})")  # fmt: skip
    SEASON_NOT_BEGUN = "season-not-begun", "", "the season has not begun"
    DAY_OR_MONTH = ("day-or-month", "other",
                    "day and month may stand the other way round: {other}?",
                    "day and month may stand the other way round")  # fmt: skip
    HAND_DIFFERS = ("hand-differs", "boxes hand",
                    "the boxes spell {boxes}, the writer's hand {hand}: which is right?",
                    "the boxes spell another one than the writer's hand")  # fmt: skip

    # counts
    OTHERS_DIFFER = ("others-differ", "boxes others",
                     "the boxes spell {boxes}, all else says {others}: which is right?",
                     "the boxes spell another number than all else says")  # fmt: skip
    ABOVE_RANGE = ("above-range", "value highest",
                   "{value} is more than the highest plausible value {highest}",
                   "more than the highest plausible value {highest}")  # fmt: skip
    BELOW_RANGE = ("below-range", "value lowest",
                   "{value} is less than the lowest plausible value {lowest}",
                   "less than the lowest plausible value {lowest}")  # fmt: skip
    NOT_EXPECTED = ("not-expected", "value", "{value} is none of the values expected here",
                    "none of the values expected here")  # fmt: skip
    # of the next two, parts are the sum of the parts, and fields those of the sum, total first
    SUM_OFF = ("sum-off", "total parts fields",
               "total {total}, parts add to {parts}: which is right?",
               "the total and its parts do not fit")  # fmt: skip
    PARTS_EXCEED = (
        "parts-exceed", "total parts fields",
        "total {total}, yet the parts written down already add to {parts}: which is right?",
        "the parts written down already add to more than the total",
    )  # fmt: skip
    HISTORY_DIFFERS = ("history-differs", "value",
                       "the site's earlier counts speak against {value}", "",
                       "the site's earlier counts speak against it")  # fmt: skip

    # one field against other photos, decisions and today's study file; photos by number; claims are
    # (what, photo, frame, value) with what one of "read", "decided", "unreadable"
    PHOTOS_DIFFER = ("photos-differ", "claims",
                     "two photos of one sheet disagree: {claims}: which is right?",
                     "two photos of one sheet disagree")  # fmt: skip
    DECISION_DIFFERS = ("decision-differs", "claims", "{claims}: which is right?",
                        "a photo contradicts what was decided from another")  # fmt: skip
    MANY_DIFFER = ("many-differ", "",
                   "many fields differ, so one of them may have another site or date")  # fmt: skip
    SAME_ELSEWHERE = ("same-elsewhere", "photo frame", "{photo} says the same",
                      "another photo says the same")  # fmt: skip
    OTHER_PHOTO = "other-photo", "photo frame", "{photo} serves", "another photo serves"
    DECIDED_ELSEWHERE = ("decided-elsewhere", "value photo frame",
                         "{value} was decided from {photo}",
                         "it was decided from another photo")  # fmt: skip
    DECIDED = "decided", "", "decided by a person"
    NEWER_DIFFERS = "newer-differs", "value", "a newer reading says {value}"
    KEYED_BLIND = "keyed-blind", "", "without seeing what was read"
    ASKED_ANEW = "asked-anew", "", "accepted before, but"
    WAS_SURE = ("was-sure", "before", "was surely read as {before} before",
                "was surely read as something else before")  # fmt: skip
    STRICTER = ("stricter", "allowed", "not certain enough for allowed_error = {allowed}", "",
                "not certain enough for the allowed_error of today")  # fmt: skip
    UNKNOWN_FIELD = "unknown-field", "", "study.toml has no such field now"

    # a picture, or a part of one, that gives no page
    NO_SHEET = "no-sheet", "", "no sheet of this study was found in the picture"
    NOT_FOUND = "not-found", "", "no sheet was found in the picture"
    BLURRED = "blurred", "", "the picture is too blurred: hold still and tap to focus"
    TOO_FEW_MARKERS = ("too-few-markers", "", "fewer than two of the sheet's corner marks can be "
                       "seen: photograph the whole sheet")  # fmt: skip
    # part is of the page ("right edge"), or ""; printed_readable: whether anything reads that code
    CODE_OUTSIDE = "code-outside", "part", "", "", "the square code is outside the picture"
    CODE_UNREADABLE = "code-unreadable", "printed_readable", "", "", "the square code can't be read"
    FOREIGN_CODE = ("foreign-code", "",
                    "the code on this sheet holds a text that is none of ours; "
                    "type its numbers in with “sheet-reader enter”")  # fmt: skip
    MARKS_DIFFER = (
        "marks-differ", "",
        "the code on this sheet and its corner marks name different pages; "
        "type its numbers in with “sheet-reader enter”",
    )  # fmt: skip
    # sites that code and print name, None for a blank sheet; study is a key, "" if not known
    TWO_SHEETS = "two-sheets", "coded printed", "", "the square code and the print name two sheets"
    OTHER_STUDY = "other-study", "study title", "", "this sheet belongs to another study"
    OLDER_LAYOUT = (
        "older-layout", "layout now title",
        "this sheet was printed from another version of “{title}” ({layout}, now {now}); "
        "type its numbers in with “sheet-reader enter”, and use a fresh print next time",
    )  # fmt: skip
    UNKNOWN_SITE = (
        "unknown-site", "site",
        "site {site} is printed on this sheet but is not on the site list; "
        "put the site back on the site list, or check the sheet",
    )  # fmt: skip
    NO_SUCH_PAGE = ("no-such-page", "page pages",
                    "this sheet says page {page}, but a sheet has {pages}; "
                    "photograph it again")  # fmt: skip
    # of corners that a person pointed at; what is a key of wording.CORNERS
    CORNERS_ODD = "corners-odd", "what", "", "", "the corners pointed at can't be those of a sheet"
    PRINT_NOT_THERE = (
        "print-not-there", "",
        "what is printed on the sheet does not lie where these corners put it: point at the "
        "corners of the paper, from where its top left is printed, and choose the sheet that it is",
    )  # fmt: skip
    PRINT_SAYS = ("print-says", "chosen found",
                  "you chose {chosen}, but {found} is printed on the sheet: "
                  "which is right?")  # fmt: skip
    POINTED_BACK = "pointed-back", "", "its corners were pointed at and taken back"
    PRINT_CHECK = "print-check", "text", "print check: {text}"
    NOTHING_WRITTEN = "nothing-written", "", "blank sheet, nothing written"

    # a photo that could not be read to its end
    NO_PICTURE = "no-picture", "text", "{text}"
    STUMBLED = "stumbled", "error", "the reader stumbled over this photo ({error})"
    BROKE_DOWN = "broke-down", "", "the reader broke down over this photo"
    TOO_SLOW = "too-slow", "seconds", "", "", "reading took too long"


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
        params = {name: value for name, value in self.params if name != PDF_PAGE}
        params |= {} if number is None else {PDF_PAGE: number}
        return replace(self, params=tuple(sorted(params.items())))


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
        return tuple(map(_frozen, value))
    return value.value if isinstance(value, StrEnum) else value


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
        return tuple(map(_from_item, json.loads(text)))
    except (TypeError, ValueError):
        return in_words(text)


def _from_item(item: Any) -> Reason:
    try:
        params = dict(item)
        return because(Code(params.pop("code", "")), **params)
    except (TypeError, ValueError):
        return because(Code.TEXT, text=json.dumps(item, ensure_ascii=False))
