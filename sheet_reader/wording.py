"""Reasons in words: one table, used where a person reads them and nowhere else.

A template names the parameters of its reason. Blind words hide every parameter that may tell what
was read; for those who type a field before they see the reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sheet_reader.phrases import (
    OCCLUSIONS,
    Params,
    box_name,
    claims_of,
    code_outside,
    code_unreadable,
    corners_odd,
    day_or_month,
    in_future,
    no_day,
    off_list,
    other_study,
    outside_season,
    part_empty,
    photo_name,
    season_of,
    struck,
    too_slow,
    two_sheets,
)
from sheet_reader.reasons import Code, Reason

MASK = "…"
SEPARATOR = "; "
_STATES = {"struck": "struck out", "several": "several digits", "other": "no digit"}
_LEADS_IN = {Code.ASKED_ANEW: " ", Code.HISTORY_DIFFERS: ": "}
"""Reasons that lead in the next one, and what stands between."""
_SAFE = frozenset(
    {"box", "boxes", "part", "why", "seconds", "error", "allowed", "highest", "lowest"}
)  # fmt: skip
"""Parameters that tell nothing of what was read; ``boxes`` where it is their number."""


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
        shown["season"] = season_of(params)
    if "photo" in params:
        shown["photo"] = photo_name(params["photo"], params["frame"], photos)
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


def in_general(code: Code) -> str:
    """What all reasons of one code have in common, in words.

    >>> in_general(Code.BOX_HIDDEN)
    'a box is hidden'
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
    Code.BOX_STRUCK: struck,
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
    Code.OFF_LIST: off_list,
    Code.DATE_EMPTY: "the visit date was left empty",
    Code.DATE_PART_EMPTY: part_empty,
    Code.NO_DATE: "no date could be read",
    Code.NO_SUCH_DAY: no_day,
    Code.IN_FUTURE: in_future,
    Code.OUTSIDE_SEASON: outside_season,
    Code.SEASON_NOT_BEGUN: "the season has not begun",
    Code.DAY_OR_MONTH: day_or_month,
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
        f"two photos of one sheet disagree: {claims_of(p)}: which is right?"
    ),
    Code.DECISION_DIFFERS: lambda p: f"{claims_of(p)}: which is right?",
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
    Code.CODE_OUTSIDE: code_outside,
    Code.CODE_UNREADABLE: code_unreadable,
    Code.FOREIGN_CODE: (
        "the code on this sheet holds a text that is none of ours; "
        "type its numbers in with “sheet-reader enter”"
    ),
    Code.MARKS_DIFFER: (
        "the code on this sheet and its corner marks name different pages; "
        "type its numbers in with “sheet-reader enter”"
    ),
    Code.TWO_SHEETS: two_sheets,
    Code.OTHER_STUDY: other_study,
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
    Code.CORNERS_ODD: corners_odd,
    Code.PRINT_NOT_THERE: (
        "what is printed on the sheet does not lie where these corners put it: point at the "
        "corners of the paper, from where its top left is printed, and choose the sheet that it is"
    ),
    Code.PRINT_SAYS: "you chose {chosen}, but {found} is printed on the sheet: which is right?",
    Code.POINTED_BACK: "its corners were pointed at and taken back",
    Code.PRINT_CHECK: "print check: {text}",
    Code.NO_PICTURE: "{text}",
    Code.STUMBLED: "the reader stumbled over this photo ({error})",
    Code.BROKE_DOWN: "the reader broke down over this photo",
    Code.TOO_SLOW: too_slow,
}

_BLIND: Mapping[Code, str] = {
    Code.TEXT: "its words may tell what was read",
    Code.BOX_STRUCK: "a box was struck out",
    Code.GAP: "an empty box stands inside the number",
    Code.OFF_LIST: "the site number is not on the site list",
    Code.NO_SUCH_DAY: "the visit date is no day",
    Code.IN_FUTURE: "the visit date lies in the future",
    Code.OUTSIDE_SEASON: "the visit date lies outside the season ({season})",
    Code.DAY_OR_MONTH: "day and month may stand the other way round",
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
    Code.CORNERS_ODD: "the corners pointed at can't be those of a sheet",
    Code.TOO_SLOW: "reading took too long",
}
"""What is said of many cases at once, where masking would say too little."""
