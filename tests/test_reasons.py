"""Reasons are data: a code with parameters, put into words at the edge and nowhere compared."""

from __future__ import annotations

import ast
import json
import pickle
import string
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sheet_reader
from sheet_reader.reasons import (
    Code,
    Occlusion,
    Reason,
    because,
    codes_of,
    from_json,
    has,
    in_words,
    to_json,
)
from sheet_reader.wording import _CHOSEN, CORNERS, in_general, words

ROOT = Path(sheet_reader.__file__).parent
NUMBERS = st.integers(10, 999).map(str)
DATES = st.dates().map(lambda day: day.isoformat())
CLAIMS = st.tuples(
    st.sampled_from(["read", "decided", "unreadable"]),
    st.integers(1, 9999),
    st.integers(0, 3),
    st.none() | NUMBERS,
)
PARAMS: dict[str, st.SearchStrategy[Any]] = {
    "text": st.text(min_size=1),
    "error": st.text(string.ascii_letters, min_size=1),
    "why": st.sampled_from([o for o in Occlusion if o]),
    "box": st.integers(0, 7),
    "part": st.sampled_from(["", "day", "month", "year"]),
    "first": NUMBERS,
    "second": st.sampled_from(["empty", "struck", "several", "other"]) | NUMBERS,
    "near": st.lists(NUMBERS, max_size=3),
    "check_digit": st.booleans(),
    "printed_readable": st.booleans(),
    "parts": st.lists(st.sampled_from(["day", "month", "year"]), min_size=1, max_size=2),
    "day": st.integers(0, 99),
    "month": st.integers(0, 99),
    "year": st.integers(0, 99),
    "date": DATES,
    "claims": st.lists(CLAIMS, min_size=1, max_size=4),
    "photo": st.integers(1, 9999),
    "frame": st.integers(0, 3),
    "fields": st.lists(st.text(string.ascii_lowercase, min_size=1), min_size=2),
    "allowed": st.floats(0.0001, 0.1),
    "seconds": st.integers(1, 600),
    "value": st.none() | NUMBERS,
    "hand": st.none() | NUMBERS,
    "what": st.sampled_from(sorted(CORNERS)),
    "coded": st.none() | NUMBERS,
    "printed": st.none() | NUMBERS,
}


def _param(code: Code, name: str) -> st.SearchStrategy[Any]:
    if code is Code.OUTSIDE_SEASON:
        return DATES
    if name == "boxes":
        return st.just(8) if "box" in code.params else NUMBERS
    if name == "parts" and "total" in code.params:
        return NUMBERS
    if name == "part" and code is Code.CODE_OUTSIDE:
        return st.sampled_from(["", "right edge"])
    return PARAMS.get(name, NUMBERS)


def reason_of(code: Code) -> st.SearchStrategy[Reason]:
    return st.fixed_dictionaries({n: _param(code, n) for n in code.params}).map(
        lambda params: because(code, **params)
    )


any_reason = st.sampled_from(list(Code)).flatmap(reason_of)


@pytest.mark.parametrize("code", list(Code))
def test_every_code_has_words_that_name_its_parameters_only(code: Code) -> None:
    assert (not code.words) == (code in _CHOSEN)
    known = {*code.params, *(["season"] if code is Code.OUTSIDE_SEASON else [])}
    for template in (code.words, code.blind, code.general):
        assert {name for _, name, _, _ in string.Formatter().parse(template) if name} <= known
    assert in_general(code)


@given(any_reason)
def test_words_are_whole_sentences_of_every_parameter(reason: Reason) -> None:
    said = words([reason])
    assert said.strip()
    if reason.code not in (Code.TEXT, Code.NO_PICTURE, Code.PRINT_CHECK):
        assert not {"None", "{", "["} & {*said.split(), *said}


@given(st.lists(any_reason))
def test_a_round_trip_through_json_and_between_processes(reasons: list[Reason]) -> None:
    assert from_json(to_json(reasons)) == tuple(reasons)
    assert pickle.loads(pickle.dumps(reasons)) == reasons
    assert words(from_json(to_json(reasons))) == words(reasons)


@given(any_reason, st.integers(2, 99))
def test_a_page_of_a_pdf_is_a_parameter(reason: Reason, page: int) -> None:
    placed = reason.on_page(page)
    assert placed.pdf_page == page
    assert words([placed]) == f"page {page}: {words([reason])}"
    assert placed.on_page(None) == reason
    assert from_json(to_json([placed])) == (placed,)


SAFE_DIGITS = {
    Code.TOO_SLOW, Code.STRICTER, Code.ABOVE_RANGE, Code.BELOW_RANGE, Code.OUTSIDE_SEASON,
    Code.SAME_ELSEWHERE, Code.OTHER_PHOTO, Code.DECIDED_ELSEWHERE,
}  # fmt: skip
"""Their digits are those of a setting or of a photo's name, not of an answer."""


@given(any_reason)
def test_blind_words_hold_no_digit(reason: Reason) -> None:
    said = words([reason], blind=True)
    assert said
    if reason.code not in SAFE_DIGITS:
        assert not any(character.isdigit() for character in said)


@pytest.mark.parametrize(
    ("reason", "answer"),
    [
        (because(Code.ABOVE_RANGE, value=987, highest=60), "987"),
        (because(Code.BELOW_RANGE, value=3, lowest=10), "3"),
        (because(Code.DECIDED_ELSEWHERE, value="987", photo=1, frame=0), "987"),
        (because(Code.OUTSIDE_SEASON, date="2031-05-20", first="2026-04-20", last="2026-08-30"),
         "2031"),
    ],
)  # fmt: skip
def test_blind_words_of_a_setting_hold_no_answer(reason: Reason, answer: str) -> None:
    assert answer not in words([reason], blind=True)


@given(reason_of(Code.NO_SUCH_DAY), reason_of(Code.OUTSIDE_SEASON))
def test_blind_words_name_no_month(no_day: Reason, outside: Reason) -> None:
    said = words([no_day, outside], blind=True)
    season = words([outside]).rpartition("season ")[2]
    assert said == (f"the visit date is no day; the visit date lies outside the season {season}")


def test_blind_words_still_say_where_the_doubt_lies() -> None:
    doubt = because(Code.BOX_UNCERTAIN, box=1, boxes=2, part="", first="1", second="empty")
    hidden = because(Code.BOX_HIDDEN, box=0, boxes=2, part="", why=Occlusion.COVERED)
    assert words([doubt], blind=True) == "the second box could be … or …"
    assert words([hidden], blind=True) == "the first box is hidden: covered"


def test_a_reason_in_words_only_is_tsaid_as_it_is() -> None:
    said = "site 2074 is not on the site list; 2047 is"
    assert words(in_words(said)) == said
    assert codes_of(in_words(said)) == "text"
    assert in_words("") == ()
    assert words(in_words(said), blind=True) == "its words may tell what was read"


@pytest.mark.parametrize("item", [{"code": "of-tomorrow", "x": 1}, {"code": "gap"}, {"x": 1}])
def test_a_reason_of_another_version_is_kept(item: dict[str, object]) -> None:
    (kept,) = from_json(json.dumps([item]))
    assert kept.code is Code.TEXT
    assert json.loads(words([kept])) == item


def test_a_code_has_its_own_parameters_and_no_others() -> None:
    with pytest.raises(ValueError, match="above-range has the parameters"):
        because(Code.ABOVE_RANGE, value=1)
    with pytest.raises(ValueError, match="gap has the parameters"):
        because(Code.GAP, value=1, highest=2)


def test_several_reasons_are_told_in_their_order() -> None:
    above = because(Code.ABOVE_RANGE, value=12, highest=10)
    anew, decided = because(Code.ASKED_ANEW), because(Code.DECIDED)
    history = because(Code.HISTORY_DIFFERS, value="7")
    assert words([decided, anew, above]) == (
        "decided by a person; accepted before, but 12 is more than the highest plausible value 10"
    )
    assert words([history, above, decided]) == (
        "the site's earlier counts speak against 7: 12 is more than the highest plausible "
        "value 10; decided by a person"
    )
    assert words([history]) == "the site's earlier counts speak against 7"
    assert codes_of([anew, above, above]) == "asked-anew; above-range"
    assert has([anew, above], Code.ABOVE_RANGE)
    assert not has([anew], Code.ABOVE_RANGE, Code.DECIDED)


def test_photos_bear_the_names_that_are_given() -> None:
    claims = [("read", 1, 0, "3"), ("read", 2, 1, None), ("decided", 3, 0, "5")]
    differ = because(Code.DECISION_DIFFERS, claims=claims)
    assert words([differ], photos={1: "a.jpg", 2: "b.pdf"}) == (
        "a.jpg reads 3, page 2 of b.pdf reads nothing, 5 was decided from photo-0003: "
        "which is right?"
    )


def _names_a_reason(node: ast.AST) -> bool:
    """Whether an expression is a reason or its words (``x.reason``, ``why``, ``words(…)``)."""
    if isinstance(node, ast.Attribute):
        return node.attr in ("reason", "reasons", "flags")
    if isinstance(node, ast.Name):
        return node.id in ("reason", "reasons")
    return isinstance(node, ast.Call) and getattr(node.func, "id", "") == "words"


def _compared_or_edited(source: str) -> list[int]:
    """Lines in which a reason is searched, compared with a text or edited as one."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            texts = any(isinstance(s, ast.Constant) and s.value for s in sides)
            if texts and any(map(_names_a_reason, sides)):
                found.append(node.lineno)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            method, on = node.func.attr, node.func.value
            edits = method in ("startswith", "endswith", "replace", "split", "find", "removeprefix")
            regex = method in ("sub", "match", "search") and any(map(_names_a_reason, node.args))
            if regex or (edits and _names_a_reason(on)):
                found.append(node.lineno)
        elif isinstance(node, ast.JoinedStr):
            parts = [p.value for p in node.values if isinstance(p, ast.FormattedValue)]
            if any(isinstance(p, ast.Attribute) and p.attr == "reasons" for p in parts):
                found.append(node.lineno)
    return found


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda p: p.name)
def test_nothing_compares_or_edits_sentences(path: Path) -> None:
    assert _compared_or_edited(path.read_text("utf-8")) == []


@pytest.mark.parametrize(
    "source",
    [
        '"disagree" in f.reason',
        'f.reason.startswith("hidden: ")',
        're.sub(r"[0-9]", "", reading.reason)',
        '_PLACE.sub("", photo.reason)',
        'finding.reason == "no code"',
        'f"{field.reasons}; and more"',
        'words(f.reasons).replace("a", "b")',
    ],
)
def test_the_check_sees_sentences(source: str) -> None:
    assert _compared_or_edited(source) == [1]
