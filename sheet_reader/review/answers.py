"""From what a person types to a value of the field: understood, doubtful or not possible."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from sheet_reader.record.history.deciding import MOST_DIGITS
from sheet_reader.study.days import example, latest, order_meant, parse_date, span
from sheet_reader.study.model import FieldSpec, Site, Study
from sheet_reader.study.nearest_sites import nearest_sites
from sheet_reader.wording import said


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


def understand(
    typed: str, spec: FieldSpec, study: Study, today: date, near: str = ""
) -> Value | Refusal:
    """The value that ``typed`` means for the field ``spec``; of a date the parts that are left out
    are those of ``near`` (ISO 8601), where there is one.
    """
    text = typed.strip()
    if spec.kind == "date":
        return _date(text, study, today, date.fromisoformat(near) if near else None)
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


def _date(text: str, study: Study, today: date, near: date | None) -> Value | Refusal:
    season = span(study)
    day = parse_date(text, study, near)
    if day is None or not season.first <= day <= season.last:
        meant = order_meant(text, study)
    if day is None:
        how = f"type {' '.join(study.date_order)}, e.g. {example(study)}"
        return Refusal(f"no such date; {meant or how}")
    doubt = ""
    if not season.first <= day <= season.last:
        whole = f"{said(study.season.first)} to {said(study.season.last)}"
        doubt = f"{said(day)} lies outside the season ({whole})" + (f"; {meant}" if meant else "")
    elif day > latest(today):
        doubt = f"{said(day)} lies in the future"
    return Value(day.isoformat(), doubt)
