"""What is meant where a study file is no TOML: the parser's error in plain words, with its line."""

from __future__ import annotations

import re

from sheet_reader.errors import Mistake
from sheet_reader.study.table import shown

LISTS = ("header", "plots", "counts", "sums")
"""The tables that are written with two brackets, once for each entry."""
_PLACE = re.compile(r"\(at line (\d+), column \d+\)\Z")
_CURLY = re.compile("[\u2018-\u201f\u00ab\u00bb]")
_QUOTED = re.compile(r""""[^"]*"|'[^']*'""")
_DAY = re.compile(r"(\d{1,4})\s*([./-])\s*(\d{1,2})\s*[./-]\s*(\d{1,4})\b")
_BRACKETS = re.compile(r"\s*\[+\s*([A-Za-z_]+)\s*\]*")
_TWICE = re.compile("Cannot (declare|overwrite|redefine|mutate)")
_VALUES = (
    (re.compile(r"(True|TRUE|False|FALSE)\b"), "true and false are written in small letters"),
    (re.compile(r"[-+]?\d+,\d"), "a number has a point, not a comma: 0.5"),
    (re.compile(r"[-+]?0\d"), "a number has no zeros in front; in quotes it is a text"),
    (re.compile(r"""["'][^"']*\Z"""), "the quote that begins here does not end on this line"),
    (re.compile(r"[^\W\d_]"), 'a text stands in straight quotes: "…"'),
    (re.compile(r"\Z|#"), "after = the value is missing"),
)
"""How a value may begin, and what is wrong then."""


def explain_toml(text: str, said: str) -> Mistake:
    """The mistake in ``text`` of which the parser ``said`` something, in words that tell what to
    write; the parser's own words only where no better ones are known.
    """
    place = _PLACE.search(said)
    lines = text.split("\n")
    filled = [number for number, line in enumerate(lines, 1) if line.strip()]
    number = int(place[1]) if place else max(filled, default=1)
    line = lines[number - 1] if number <= len(lines) else ""
    return Mistake(f"line {number}", _meant(line, said))


def _meant(line: str, said: str) -> str:
    brackets = _BRACKETS.match(line)
    key, sign, value = (part.strip() for part in line.partition("="))
    if _CURLY.search(_QUOTED.sub("", line)):
        return f'has curly quotes; write straight ones: "…" ({shown(line.strip())})'
    if _TWICE.match(said):
        if brackets and brackets[1] in LISTS:
            return f"each of the {brackets[1]} begins with [[{brackets[1]}]], in two brackets"
        return f"{shown(brackets[1] if brackets else key)} is there twice; take one out"
    if brackets:
        name = brackets[1]
        right = f"[[{name}]]" if name in LISTS else f"[{name}]"
        return f"write {right}, with nothing else on the line but a remark after #"
    if sign and (day := _DAY.match(value)):
        return f"{shown(day[0])} is no day; write year-month-day without quotes{_example(day)}"
    if "\\" in line and "escape" in said.lower():
        return "a backslash in a text is written twice: \\\\"
    if not sign:
        colon = " (with =, not :)" if ":" in line else ""
        return f"{shown(line.strip())} is no setting; a line is: name = value{colon}"
    if not re.fullmatch(r"[A-Za-z0-9_-]+", key):
        return f"{shown(key)} is no name of a setting; a line is: name = value"
    for pattern, message in _VALUES:
        if pattern.match(value):
            return message
    return f"is not TOML: {shown(said, 120)[1:-1]}"


def _example(day: re.Match[str]) -> str:
    """`` , such as 2026-06-01`` for a day that can mean one thing only."""
    first, sign, month, last = day.groups()
    year, number = (last, first) if len(last) == 4 else (first, last)
    if sign == "/" or len(year) != 4 or not 1 <= int(month) <= 12 or not 1 <= int(number) <= 31:
        return ", such as 2026-06-01"
    return f": {year}-{int(month):02d}-{int(number):02d}, if it is on the calendar"
