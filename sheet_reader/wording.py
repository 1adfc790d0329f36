"""Reasons in words, used where a person reads them and nowhere else; and a few words of which many
speak: days, shares, photos.

Most words stand with the code, as a template that names its parameters; here are the sentences that
need a choice. Blind words hide every parameter that may tell what was read; for those who type a
field before they see the reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from sheet_reader.reasons import Code, Occlusion, Reason

MASK = "…"
SEPARATOR = "; "
Params = Mapping[str, Any]
_STATES = {"struck": "struck out", "several": "several digits", "other": "no digit"}
_LEADS_IN = {Code.ASKED_ANEW: " ", Code.HISTORY_DIFFERS: ": "}
"""Reasons that lead in the next one, and what stands between."""
_SAFE = frozenset(
    {"box", "boxes", "part", "why", "seconds", "error", "allowed", "highest", "lowest"}
)
"""Parameters that tell nothing of what was read; ``boxes`` where it is their number."""
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
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
"""Why corners that a person pointed at can't be those of a page."""


def words(
    reasons: Iterable[Reason], *, photos: Mapping[int, str] | None = None, blind: bool = False
) -> str:
    """The reasons in words, "" for none. ``photos`` are names by photo number, for those that are
    not to bear their neutral ones; ``blind`` hides whatever may tell what was read.
    """
    text, between = "", ""
    for reason in reasons:
        text += between + _one(reason, photos or {}, blind=blind)
        between = _LEADS_IN.get(reason.code, SEPARATOR)
    return text


def _one(reason: Reason, photos: Mapping[int, str], *, blind: bool) -> str:
    code, params = reason.code, dict[str, Any](reason.params)
    place = f"page {reason.pdf_page}: " if reason.pdf_page else ""
    template = (code.blind if blind else "") or code.words
    if not template:
        return place + _CHOSEN[code](params)
    shown = {
        name: MASK if blind and not _safe(name, code) else _shown(name, value, photos)
        for name, value in params.items()
    }
    if "box" in params:
        shown["box"] = _box_name(params["box"], params["boxes"], params["part"])
    if code is Code.OUTSIDE_SEASON:
        shown["season"] = f"{_said(params['first'])} to {_said(params['last'])}"
    if "photo" in params:
        shown["photo"] = _photo_name(params["photo"], params["frame"], photos)
    return place + template.format(**shown)


def _safe(name: str, code: Code) -> bool:
    return name in _SAFE and (name != "boxes" or "box" in code.params)


def _shown(name: str, value: Any, photos: Mapping[int, str]) -> str:
    if value is None:
        return "nothing"
    if name == "why":
        return Occlusion(value).words if value in {*Occlusion} else str(value)
    if name in ("first", "second") and value in _STATES:
        return _STATES[value]
    if name in ("date", "other"):
        return _said(value)
    if name == "claims":
        return ", ".join(_claim(claim, photos) for claim in value)
    if isinstance(value, float):
        return f"{value:g}"
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def in_general(code: Code) -> str:
    """What all reasons of one code have in common, in words.

    >>> in_general(Code.BOX_HIDDEN)
    'a box is hidden'
    """
    return (code.general or code.blind or code.words).format_map(_Masked())


class _Masked(dict[str, str]):
    def __missing__(self, name: str) -> str:
        return "a box" if name == "box" else MASK


def neutral_name(photo_id: int) -> str:
    """The name under which a photo stands in everything that leaves the record.

    >>> neutral_name(27)
    'photo-0027'
    """
    return f"photo-{photo_id:04d}"


def _photo_name(number: int, frame: int, photos: Mapping[int, str]) -> str:
    name = photos.get(number, neutral_name(number))
    return f"page {frame + 1} of {name}" if frame else name


def _box_name(index: int, boxes: int, part: str) -> str:
    """How a person calls a box: "the box", "the second box", "the first month box"."""
    ordinal = _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}th"
    return " ".join(filter(None, ("the", ordinal if boxes != 1 else "", part, "box")))


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


def chance(probability: float) -> str:
    """A probability as a person says it; never a 100 % that is not certain.

    >>> chance(0.154), chance(0.9999), chance(0.0001)
    ('15 %', 'over 99 %', 'under 1 %')
    """
    shown = f"{100 * probability:.0f}"
    if shown == "100" and probability < 1:
        return "over 99 %"
    if shown == "0" and probability > 0:
        return "under 1 %"
    return f"{shown} %"


def percent(share: float) -> str:
    """A share as a percentage with two significant digits, rounded up: never better than true."""
    if share <= 0.0:
        return "0 %"
    value = share * 100.0
    digits = next((d for d in range(8) if value * 10**d >= 10.0), 8)
    scaled = value * 10**digits
    up = int(scaled) if scaled - int(scaled) < 1e-9 else int(scaled) + 1
    return f"{up / 10**digits:.{digits}f} %"


def _claim(claim: tuple[str, int, int, str | None], photos: Mapping[int, str]) -> str:
    """What a photo says, or a person said of it."""
    what, number, frame, value = claim
    photo = _photo_name(number, frame, photos)
    shown = "nothing" if value is None else value
    if what == "read":
        return f"{photo} reads {shown}"
    if what == "decided":
        return f"{shown} was decided from {photo}"
    return f"nobody could read {photo}, taken for {shown}"


def _off_list(p: Params) -> str:
    text = f"site {p['site']} is not on the site list"
    if near := p["near"]:
        return f"{text}; {' and '.join(near)} {'is' if len(near) == 1 else 'are'}"
    return text if p["check_digit"] else f"{text} and its check digit does not fit"


def _no_such_day(p: Params) -> str:
    day, month, year = p["day"], p["month"], p["year"]
    if not 1 <= month <= 12:
        return f"day {day:02d}, month {month:02d}, year {year:02d} is no day"
    shown = f"{day} {_MONTHS[month - 1]}"
    return f"{shown} {year:02d} is no day" if (day, month) == (29, 2) else f"{shown} is no day"


def _two_sheets(p: Params) -> str:
    coded, printed = (f"site {s}" if s else "blank sheet" for s in (p["coded"], p["printed"]))
    return (
        f"the square code says {coded}, but {printed} is printed on this sheet: "
        "find out which is right and type its numbers in with “sheet-reader enter”"
    )


_CHOSEN: Mapping[Code, Callable[[Params], str]] = {
    Code.BOX_STRUCK: lambda p: (
        f"a box was struck out; {p['value'] or 'no date'} read from the others"
    ),
    Code.OFF_LIST: _off_list,
    Code.DATE_PART_EMPTY: lambda p: f"the {' and '.join(p['parts'])} was left empty",
    Code.NO_SUCH_DAY: _no_such_day,
    Code.CODE_OUTSIDE: lambda p: (
        (f"{p['part']} is outside the picture" if p["part"] else "the square code is cut off")
        + ", and the code with it; photograph the whole sheet"
    ),
    Code.CODE_UNREADABLE: lambda p: (
        "the square code at the top right can't be read: it is covered, damaged or blurred"
        + ("" if p["printed_readable"]
           else " (Tesseract, which might read the printed code, is not installed)")
    ),
    Code.TWO_SHEETS: _two_sheets,
    Code.OTHER_STUDY: lambda p: (
        "this sheet belongs to another study" + (f" (“{p['study']}”)" if p["study"] else "")
        + f", not to “{p['title']}”; send it to the coordinator of that study"
    ),
    Code.CORNERS_ODD: lambda p: CORNERS[p["what"]],
    Code.TOO_SLOW: lambda p: (
        f"reading this photo took longer than {p['seconds']} second"
        + ("s" if p["seconds"] != 1 else "") + " and was stopped"
    ),
}  # fmt: skip
"""The words of the codes that have no template."""


def counted(number: int, singular: str, plural: str = "") -> str:
    """``number`` with its noun: "1 photo", "2 photos", "0 boxes"."""
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"


def some_of(names: Sequence[str], most: int = 5) -> str:
    """The first few names, and how many more there are."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
