"""Reasons in words: one table, used where a person reads them and nowhere else.

A template names the parameters of its reason. Blind words hide every parameter that may tell what
was read; for those who type a field before they see the reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

from sheet_reader.reasons import Code, Occlusion, Reason

MASK = "…"
SEPARATOR = "; "
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
_STATES = {"struck": "struck out", "several": "several digits", "other": "no digit"}
_LEADS_IN = {Code.ASKED_ANEW: " ", Code.HISTORY_DIFFERS: ": "}
"""Reasons that lead in the next one, and what stands between."""
_SAFE = frozenset(
    {"box", "boxes", "part", "why", "seconds", "error", "allowed", "highest", "lowest"}
)  # fmt: skip
"""Parameters that tell nothing of what was read; ``boxes`` where it is their number."""

Params = Mapping[str, Any]


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
    place = f"page {reason.pdf_page}: " if reason.pdf_page else ""
    template = _BLIND.get(reason.code, WORDS[reason.code]) if blind else WORDS[reason.code]
    params: dict[str, Any] = {**dict(reason.params), "names": photos}
    if not isinstance(template, str):
        return place + template(params)
    shown = {name: _shown(name, value) for name, value in reason.params}
    if blind:
        shown = {name: value if _safe(name, reason) else MASK for name, value in shown.items()}
    if "box" in params:
        shown["box"] = box_name(params["box"], params["boxes"], params["part"])
    if reason.code is Code.OUTSIDE_SEASON:
        shown["season"] = _season(params)
    if "photo" in params:
        shown["photo"] = _photo(params["photo"], params["frame"], photos)
    return place + template.format(**shown)


def _safe(name: str, reason: Reason) -> bool:
    return name in _SAFE and (name != "boxes" or "box" in reason.code.params)


def _shown(name: str, value: Any) -> str:
    if value is None:
        return "nothing"
    if name == "why":
        return OCCLUSIONS.get(value, str(value))
    if name in ("first", "second") and value in _STATES:
        return _STATES[value]
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(str(item) for item in value)
    return str(value)


def neutral_name(photo_id: int) -> str:
    """The name under which a photo stands in everything that leaves the record.

    >>> neutral_name(27)
    'photo-0027'
    """
    return f"photo-{photo_id:04d}"


def _photo(number: int, frame: int, photos: Mapping[int, str]) -> str:
    name = photos.get(number, neutral_name(number))
    return f"page {frame + 1} of {name}" if frame else name


def box_name(index: int, boxes: int, part: str = "") -> str:
    """How a person calls a box: "the box", "the second box", "the first month box"."""
    part = f"{part} " if part else ""
    if boxes == 1:
        return f"the {part}box"
    ordinal = _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}th"
    return f"the {ordinal} {part}box"


def _struck(p: Params) -> str:
    return f"a box was struck out; {p['value'] or 'no date'} read from the others"


def _off_list(p: Params) -> str:
    text = f"site {p['site']} is not on the site list"
    if near := p["near"]:
        return f"{text}; {' and '.join(near)} {'is' if len(near) == 1 else 'are'}"
    return text if p["check_digit"] else f"{text} and its check digit does not fit"


def _part_empty(p: Params) -> str:
    return f"the {' and '.join(p['parts'])} was left empty"


def _no_day(p: Params) -> str:
    day, month, year = p["day"], p["month"], p["year"]
    if not 1 <= month <= 12:
        return f"{day:02d} {month:02d} {year:02d} is no day"
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


def _in_future(p: Params) -> str:
    return f"visit date {_said(p['date'])} lies in the future"


def _outside_season(p: Params) -> str:
    return f"visit date {_said(p['date'])} lies outside the season ({_season(p)})"


def _season(p: Params) -> str:
    return f"{_said(p['first'])} to {_said(p['last'])}"


def _claims(p: Params) -> str:
    return ", ".join(_claim(claim, p["names"]) for claim in p["claims"])


def _claim(claim: tuple[str, int, int, str | None], names: Mapping[int, str]) -> str:
    what, number, frame, value = claim
    photo = _photo(number, frame, names)
    shown = "nothing" if value is None else value
    if what == "read":
        return f"{photo} reads {shown}"
    if what == "decided":
        return f"{shown} was decided from {photo}"
    return f"nobody could read {photo}, taken for {shown}"


def _code_outside(p: Params) -> str:
    where = f"{p['part']} is outside the picture" if p["part"] else "the square code is cut off"
    return f"{where}, and the code with it; photograph the whole sheet"


def _code_unreadable(p: Params) -> str:
    text = "the square code at the top right can't be read: it is covered, damaged or blurred"
    hint = " (Tesseract, which reads the printed code, is not installed)"
    return text if p["printed_readable"] else text + hint


def _two_sheets(p: Params) -> str:
    coded, printed = (f"site {s}" if s else "blank sheet" for s in (p["coded"], p["printed"]))
    return (
        f"the square code says {coded}, but {printed} is printed on this sheet: "
        "find out which is right and type its numbers in with “sheet-reader enter”"
    )


def _other_study(p: Params) -> str:
    other = f" (“{p['study']}”)" if p["study"] else ""
    return (
        f"this sheet belongs to another study{other}, not to “{p['title']}”; "
        "send it to the coordinator of that study"
    )


def _too_slow(p: Params) -> str:
    limit = f"{p['seconds']} second" + ("s" if p["seconds"] != 1 else "")
    return f"reading this photo took longer than {limit} and was stopped"


def in_general(code: Code) -> str:
    """What all reasons of one code have in common, in words.

    >>> in_general(Code.ABOVE_RANGE)
    'more than the highest plausible value'
    """
    template = _GENERAL.get(code) or _BLIND.get(code) or WORDS[code]
    assert isinstance(template, str)
    return template.format_map(_Masked())


class _Masked(dict[str, str]):
    def __missing__(self, name: str) -> str:
        return "a box" if name == "box" else MASK


WORDS: Mapping[Code, str | Callable[[Params], str]] = {
    Code.TEXT: "{text}",
    Code.HIDDEN: "hidden: {why}",
    Code.BOX_HIDDEN: "{box} is hidden: {why}",
    Code.SEVERAL_DIGITS: "{box} holds several digits",
    Code.NO_DIGIT: "{box} holds a mark that is no digit",
    Code.STRUCK_OUT: "struck out, and no other number written",
    Code.BOX_STRUCK: _struck,
    Code.GAP: "an empty box stands inside the number; read as {value}",
    Code.FAINT_INK: "{box} seems empty, but may hold pale ink",
    Code.PALE_INK: "what stands in {box} is much paler than the rest; it may shine through",
    Code.TALLY_INK: "tally strokes run on towards {box}; one may stand in it",
    Code.STROKE_LEAVES: "a stroke leaves its box",
    Code.ODD_SHEET: "many digits of this sheet are hard to read",
    Code.UNCERTAIN: "not read with enough certainty",
    Code.BOX_UNCERTAIN: "{box} could be {first} or {second}",
    Code.NO_NUMBER: "no number could be read",
    Code.SITE_EMPTY: "the site number was left empty",
    Code.OFF_LIST: _off_list,
    Code.DATE_EMPTY: "the visit date was left empty",
    Code.DATE_PART_EMPTY: _part_empty,
    Code.NO_DATE: "no date could be read",
    Code.NO_SUCH_DAY: _no_day,
    Code.IN_FUTURE: _in_future,
    Code.OUTSIDE_SEASON: _outside_season,
    Code.SEASON_NOT_BEGUN: "the season has not begun",
    Code.HAND_DIFFERS: "the boxes spell {boxes}, the writer's hand {hand}: which is right?",
    Code.OTHERS_DIFFER: "the boxes spell {boxes}, all else says {others}: which is right?",
    Code.ABOVE_RANGE: "{value} is more than the highest plausible value {highest}",
    Code.BELOW_RANGE: "{value} is less than the lowest plausible value {lowest}",
    Code.SUM_OFF: "total {total}, parts add to {parts}: which is right?",
    Code.PARTS_EXCEED: (
        "total {total}, yet the parts written down already add to {parts}: which is right?"
    ),
    Code.HISTORY_DIFFERS: "the site's earlier counts speak against {value}",
    Code.PHOTOS_DIFFER: lambda p: (
        f"two photos of one sheet disagree: {_claims(p)}: which is right?"
    ),
    Code.DECISION_DIFFERS: lambda p: f"{_claims(p)}: which is right?",
    Code.MANY_DIFFER: "many fields differ, so one of them may have another site or date",
    Code.SAME_ELSEWHERE: "{photo} says the same",
    Code.OTHER_PHOTO: "{photo} serves",
    Code.DECIDED_ELSEWHERE: "{value} was decided from {photo}",
    Code.DECIDED: "decided by a person",
    Code.NEWER_DIFFERS: "a newer reading says {value}",
    Code.KEYED_BLIND: "without seeing what was read",
    Code.ASKED_ANEW: "accepted before, but",
    Code.WAS_SURE: "was surely read as {before} before",
    Code.STRICTER: "not certain enough for allowed_error = {allowed}",
    Code.UNKNOWN_FIELD: "study.toml has no such field now",
    Code.NO_SHEET: "no sheet of this study was found in the picture",
    Code.NOT_FOUND: "no sheet was found in the picture",
    Code.BLURRED: "the picture is too blurred: hold still and tap to focus",
    Code.TOO_FEW_MARKERS: (
        "fewer than two of the sheet's corner marks can be seen: photograph the whole sheet"
    ),
    Code.CODE_OUTSIDE: _code_outside,
    Code.CODE_UNREADABLE: _code_unreadable,
    Code.FOREIGN_CODE: (
        "the code on this sheet holds a text that is none of ours; "
        "type its numbers in with “sheet-reader enter”"
    ),
    Code.MARKS_DIFFER: (
        "the code on this sheet and its corner marks name different pages; "
        "type its numbers in with “sheet-reader enter”"
    ),
    Code.TWO_SHEETS: _two_sheets,
    Code.OTHER_STUDY: _other_study,
    Code.OLDER_LAYOUT: (
        "this sheet was printed from another version of “{title}” ({layout}, now {now}); "
        "type its numbers in with “sheet-reader enter”, and use a fresh print next time"
    ),
    Code.UNKNOWN_SITE: (
        "site {site} is printed on this sheet but is not on the site list; "
        "put the site back on the site list, or check the sheet"
    ),
    Code.NO_SUCH_PAGE: (
        "this sheet says page {page}, but a sheet has {pages}; photograph it again"
    ),
    Code.NOTHING_WRITTEN: "blank sheet, nothing written",
    Code.PRINT_CHECK: "print check: {text}",
    Code.NO_PICTURE: "{text}",
    Code.STUMBLED: "the reader stumbled over this photo ({error})",
    Code.BROKE_DOWN: "the reader broke down over this photo",
    Code.TOO_SLOW: _too_slow,
}

_BLIND: Mapping[Code, str] = {
    Code.TEXT: "the words of an earlier version may tell what was read",
    Code.BOX_STRUCK: "a box was struck out",
    Code.GAP: "an empty box stands inside the number",
    Code.OFF_LIST: "the site number is not on the site list",
    Code.NO_SUCH_DAY: "the visit date is no day",
    Code.IN_FUTURE: "the visit date lies in the future",
    Code.OUTSIDE_SEASON: "the visit date lies outside the season ({season})",
    Code.HAND_DIFFERS: "the boxes spell another one than the writer's hand",
    Code.OTHERS_DIFFER: "the boxes spell another number than all else says",
    Code.ABOVE_RANGE: "more than the highest plausible value {highest}",
    Code.WAS_SURE: "was surely read as something else before",
    Code.BELOW_RANGE: "less than the lowest plausible value {lowest}",
    Code.SUM_OFF: "the total and its parts do not fit",
    Code.PARTS_EXCEED: "the parts written down already add to more than the total",
    Code.PHOTOS_DIFFER: "two photos of one sheet disagree",
    Code.DECISION_DIFFERS: "a photo contradicts what was decided from another",
    Code.DECIDED_ELSEWHERE: "it was decided from another photo",
    Code.SAME_ELSEWHERE: "another photo says the same",
    Code.OTHER_PHOTO: "another photo serves",
    Code.TWO_SHEETS: "the square code and the print name two sheets",
    Code.OTHER_STUDY: "this sheet belongs to another study",
}
"""What is said instead where masking would leave half a sentence, or a function words it."""

_GENERAL: Mapping[Code, str] = {
    Code.TEXT: "other reasons",
    Code.HIDDEN: "hidden",
    Code.BOX_HIDDEN: "a box is hidden",
    Code.BOX_UNCERTAIN: "a box could be one of two digits",
    Code.DATE_PART_EMPTY: "a part of the visit date was left empty",
    Code.HISTORY_DIFFERS: "the site's earlier counts speak against it",
    Code.STRICTER: "not certain enough for the allowed_error of today",
    Code.CODE_OUTSIDE: "the square code is outside the picture",
    Code.CODE_UNREADABLE: "the square code can't be read",
    Code.TOO_SLOW: "reading took too long",
}
"""What is said of many cases at once, where masking would say too little."""
