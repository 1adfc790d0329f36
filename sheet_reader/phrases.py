"""Phrases of single reasons: names of boxes, photos and days, and sentences that need a choice.

The table that holds them together is in :mod:`sheet_reader.wording`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from sheet_reader.reasons import Occlusion

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
OCCLUSIONS = {
    Occlusion.OUTSIDE: "outside the picture",
    Occlusion.COVERED: "covered",
    Occlusion.SATURATED: "burnt out",
    Occlusion.NO_FRAME: "its printed frame was not found",
    Occlusion.UNPLACED: "its place is not certain",
    Occlusion.FAINT: "too faint or too dark",
    Occlusion.BLURRED: "blurred",
}
Params = Mapping[str, Any]


def neutral_name(photo_id: int) -> str:
    """The name under which a photo stands in everything that leaves the record.

    >>> neutral_name(27)
    'photo-0027'
    """
    return f"photo-{photo_id:04d}"


def photo_name(number: int, frame: int, photos: Mapping[int, str]) -> str:
    """A photo, and of one with several pages the page, by the name it has in ``photos``."""
    name = photos.get(number, neutral_name(number))
    return f"page {frame + 1} of {name}" if frame else name


def box_name(index: int, boxes: int, part: str = "") -> str:
    """How a person calls a box: "the box", "the second box", "the first month box"."""
    part = f"{part} " if part else ""
    if boxes == 1:
        return f"the {part}box"
    ordinal = _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}th"
    return f"the {ordinal} {part}box"


def struck(p: Params) -> str:
    """Of a box struck out."""
    return f"a box was struck out; {p['value'] or 'no date'} read from the others"


def off_list(p: Params) -> str:
    """Of a site that is not on the list."""
    text = f"site {p['site']} is not on the site list"
    if near := p["near"]:
        return f"{text}; {' and '.join(near)} {'is' if len(near) == 1 else 'are'}"
    return text if p["check_digit"] else f"{text} and its check digit does not fit"


def part_empty(p: Params) -> str:
    """Of a date in part left empty."""
    return f"the {' and '.join(p['parts'])} was left empty"


def no_day(p: Params) -> str:
    """Of a day that the calendar does not have."""
    day, month, year = p["day"], p["month"], p["year"]
    if not 1 <= month <= 12:
        return f"day {day:02d}, month {month:02d}, year {year:02d} is no day"
    shown = f"{day} {_MONTHS[month - 1]}"
    return f"{shown} {year:02d} is no day" if (day, month) == (29, 2) else f"{shown} is no day"


def said(day: date) -> str:
    """A day as a person says it.

    >>> said(date(2026, 5, 20))
    '20 May 2026'
    """
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _said(iso: str) -> str:
    try:
        return said(date.fromisoformat(iso))
    except (TypeError, ValueError):  # damaged in the record
        return str(iso)


def day_or_month(p: Params) -> str:
    """Of a date that may have its day and month the other way round."""
    return f"day and month may stand the other way round: {_said(p['other'])}?"


def in_future(p: Params) -> str:
    """Of a date that lies in the future."""
    return f"visit date {_said(p['date'])} lies in the future"


def outside_season(p: Params) -> str:
    """Of a date outside the season."""
    return f"visit date {_said(p['date'])} lies outside the season ({season_of(p)})"


def season_of(p: Params) -> str:
    """The season, from day to day."""
    return f"{_said(p['first'])} to {_said(p['last'])}"


def claims_of(p: Params) -> str:
    """What photos say, or people said of them."""
    return ", ".join(_claim(claim, p["names"]) for claim in p["claims"])


def _claim(claim: tuple[str, int, int, str | None], names: Mapping[int, str]) -> str:
    what, number, frame, value = claim
    photo = photo_name(number, frame, names)
    shown = "nothing" if value is None else value
    if what == "read":
        return f"{photo} reads {shown}"
    if what == "decided":
        return f"{shown} was decided from {photo}"
    return f"nobody could read {photo}, taken for {shown}"


def code_outside(p: Params) -> str:
    """Of a code outside the picture."""
    where = f"{p['part']} is outside the picture" if p["part"] else "the square code is cut off"
    return f"{where}, and the code with it; photograph the whole sheet"


def code_unreadable(p: Params) -> str:
    """Of a code that can't be read."""
    text = "the square code at the top right can't be read: it is covered, damaged or blurred"
    hint = " (Tesseract, which reads the printed code, is not installed)"
    return text if p["printed_readable"] else text + hint


def two_sheets(p: Params) -> str:
    """Of a code and a print that name two sheets."""
    coded, printed = (f"site {s}" if s else "blank sheet" for s in (p["coded"], p["printed"]))
    return (
        f"the square code says {coded}, but {printed} is printed on this sheet: "
        "find out which is right and type its numbers in with “sheet-reader enter”"
    )


CORNERS = {
    "missing": "four corners are wanted",
    "outside": "a corner lies far outside the picture",
    "mirrored": "the corners go round the wrong way: from the printed top left to the top right, "
    "the bottom right, the bottom left",
    "bent": "the lines between the corners cross or bend inwards",
    "small": "the corners lie too close together for a sheet",
    "shape": "the corners do not have the shape of the page, nor of the page seen at an angle; is "
    "the first one where its top left is printed?",
}


def corners_odd(p: Params) -> str:
    """Of corners that can't be those of a page."""
    return CORNERS[p["what"]]


def other_study(p: Params) -> str:
    """Of another study's sheet."""
    other = f" (“{p['study']}”)" if p["study"] else ""
    return (
        f"this sheet belongs to another study{other}, not to “{p['title']}”; "
        "send it to the coordinator of that study"
    )


def too_slow(p: Params) -> str:
    """Of a photo that took too long."""
    limit = f"{p['seconds']} second" + ("s" if p["seconds"] != 1 else "")
    return f"reading this photo took longer than {limit} and was stopped"


def percent(share: float) -> str:
    """A share as a percentage with two significant digits, rounded up: never better than true."""
    if share <= 0.0:
        return "0 %"
    value = share * 100.0
    digits = 0
    while value * 10**digits < 10.0 and digits < 8:
        digits += 1
    scaled = value * 10**digits
    up = int(scaled) if scaled - int(scaled) < 1e-9 else int(scaled) + 1
    return f"{up / 10**digits:.{digits}f} %"


def counted(number: int, singular: str, plural: str = "") -> str:
    """``number`` with its noun: "1 photo", "2 photos", "0 boxes"."""
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"
