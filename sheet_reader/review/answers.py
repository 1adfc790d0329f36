"""From what a person types to a value of the field: understood, doubtful or not possible."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from sheet_reader.phrases import said
from sheet_reader.record.deciding import MOST_DIGITS
from sheet_reader.study.model import FieldSpec, Site, Study
from sheet_reader.study.nearest_sites import nearest_sites


@dataclass(frozen=True, slots=True)
class Value:
    """A usable value. ``doubt`` says what is unusual about it, "" if nothing is."""

    text: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """The typed text is no value of this field; ``message`` says what would be. ``near`` are the
    sites that an unknown number may have meant.
    """

    message: str
    near: tuple[Site, ...] = ()


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
    return Refusal(
        f"site {text} is not on the site list; a site that has left it must be put back first",
        nearest_sites(text, study.sites, 4),
    )


def sites_named(text: str, sites: Sequence[Site], most: int = 6) -> tuple[Site, ...]:
    """The sites whose names hold all the words of ``text``, else those named most alike."""
    parts = text.casefold().split()
    holding = [s for s in sites if all(part in s.label.casefold() for part in parts)]
    if holding or not parts:
        return tuple(holding[:most])
    names = {site.label.casefold(): site for site in sites if site.label}
    alike = get_close_matches(" ".join(parts), names, most, 0.5)
    return tuple(names[name] for name in alike)


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
    season = study.season
    one_year = season.first.year == season.last.year
    day = parse_date(_with_year(text, season.first.year) if one_year else text)
    if day is None:
        return Refusal("no such date; type day month year, e.g. 20 05 26 or 2026-05-20")
    doubt = ""
    if not season.first <= day <= season.last:
        whole = f"{said(season.first)} to {said(season.last)}"
        doubt = f"{said(day)} lies outside the season ({whole})"
    elif day > today:
        doubt = f"{said(day)} lies in the future"
    return Value(day.isoformat(), doubt)


def _with_year(text: str, year: int) -> str:
    """Day and month in two digits each, or with a sign between, of the ``year``; other text as it
    is.
    """
    parts = re.fullmatch(r"(\d{2})(\d{2})|(\d{1,2})[ ./-]+(\d{1,2})[ .]*", text, re.ASCII)
    return " ".join([*filter(None, parts.groups()), str(year)]) if parts else text


def completed_date(text: str, near: str | None) -> str:
    """A day alone, or day and month, completed from the ISO 8601 date ``near``; any other text as
    it is.

    >>> completed_date("27", "2026-05-20"), completed_date("3 6", "2026-05-20")
    ('2026-05-27', '2026-06-03')
    """
    parts = re.split(r"[ ./-]+", text.strip())
    if near is None or not all(re.fullmatch(r"[0-9]{1,2}", part) for part in parts):
        return text
    year, month, _ = near.split("-")
    if len(parts) == 1:
        return f"{year}-{month}-{parts[0].zfill(2)}"
    return f"{year}-{parts[1].zfill(2)}-{parts[0].zfill(2)}" if len(parts) == 2 else text
