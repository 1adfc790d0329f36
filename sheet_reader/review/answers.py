"""From what a person types to a value of the field: understood, doubtful or not possible."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from sheet_reader.record import model as record
from sheet_reader.record.deciding import MOST_DIGITS
from sheet_reader.record.model import Accept, Answer, LeftEmpty
from sheet_reader.study.model import FieldSpec, Study


@dataclass(frozen=True, slots=True)
class Value:
    """A usable value. ``doubt`` says what is unusual about it, "" if nothing is."""

    text: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """The typed text is no value of this field; ``message`` says what would be."""

    message: str


def understand(typed: str, spec: FieldSpec, study: Study, today: date) -> Value | Refusal:
    """The value that ``typed`` means for the field ``spec``."""
    text = typed.strip()
    if spec.kind == "date":
        return _date(text, study, today)
    if spec.kind == "site":
        return _site(text, study)
    return _number(text, spec)


def _number(text: str, spec: FieldSpec) -> Value | Refusal:
    if not re.fullmatch(r"[0-9]+", text):
        return Refusal("type the number in digits, e.g. 14")
    text = text.lstrip("0") or "0"
    if len(text) > MOST_DIGITS:
        return Refusal(f"a number has at most {MOST_DIGITS} digits, this has {len(text)}")
    value = int(text)
    doubts = []
    if spec.lowest is not None and value < spec.lowest:
        doubts.append(f"less than {spec.lowest}, the lowest value expected here")
    if spec.highest is not None and value > spec.highest:
        doubts.append(f"more than {spec.highest}, the highest value expected here")
    if len(str(value)) > spec.boxes:
        doubts.append(f"longer than the {spec.boxes} boxes of this field")
    return Value(str(value), f"{value} is {doubts[0]}" if doubts else "")


def _site(text: str, study: Study) -> Value | Refusal:
    if study.site(text) is not None:
        return Value(text)
    padded = [s.number for s in study.sites if s.number.lstrip("0") == text.lstrip("0")]
    if len(padded) == 1:
        return Value(padded[0])
    near = [s.number for s in study.sites if _one_slip_apart(s.number, text)]
    hint = f"; near it are {', '.join(near[:4])}" if near else ""
    reason = f"site {text} is not on the site list{hint}; a site that left it must be put back"
    return Refusal(reason)


def _one_slip_apart(number: str, typed: str) -> bool:
    """Whether one wrong digit, or two neighbours swapped, makes ``typed`` of ``number``."""
    if len(number) != len(typed):
        return False
    unlike = [place for place in range(len(number)) if number[place] != typed[place]]
    if len(unlike) == 1:
        return True
    first, last = (unlike[0], unlike[-1]) if unlike else (0, 0)
    swapped = number[first] == typed[last] and number[last] == typed[first]
    return len(unlike) == 2 and last - first == 1 and swapped


_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)
_SPACED = re.compile(r"(\d{1,2})[ ./-]+(\d{1,2})[ ./-]+(\d{2}|\d{4})", re.ASCII)
_RUN = re.compile(r"(\d{2})(\d{2})(\d{2}|\d{4})", re.ASCII)


def parse_date(text: str) -> date | None:
    """A date typed as on the sheet (DD MM YY, with or without spaces, dots, slashes) or ISO 8601.

    Two-digit years lie in 2000–2099. None where it is no date of the calendar.
    """
    if match := _ISO.fullmatch(text):
        year, month, day = (int(part) for part in match.groups())
    elif match := _SPACED.fullmatch(text) or _RUN.fullmatch(text):
        day, month, year = (int(part) for part in match.groups())
    else:
        return None
    try:
        return date(year + 2000 if year < 100 else year, month, day)
    except ValueError:
        return None


def _date(text: str, study: Study, today: date) -> Value | Refusal:
    day = parse_date(text)
    if day is None:
        return Refusal("no such date; type day month year, e.g. 20 05 26 or 2026-05-20")
    doubt = ""
    if not study.season.first <= day <= study.season.last:
        doubt = f"{day} is outside the season ({study.season.first} to {study.season.last})"
    elif day > today:
        doubt = f"{day} lies in the future"
    return Value(day.isoformat(), doubt)


def answer_text(answer: Answer, read: str | None) -> str | None:
    """The value that an answer gives, or None."""
    if isinstance(answer, record.Value):
        return answer.text
    return read if isinstance(answer, Accept) else None


def answer_words(answer: Answer, read: str | None) -> str:
    """An answer in a few words."""
    if isinstance(answer, Accept | record.Value):
        return answer_text(answer, read) or "nothing written"
    return "nothing written" if isinstance(answer, LeftEmpty) else "can't be read"
