"""The site list: a CSV file with one line per site (``number,label,contact``; contact may lack).

The columns ``latitude`` and ``longitude`` (decimal degrees, WGS 84) may stand beside these.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from pathlib import Path

from sheet_reader.errors import UsageError
from sheet_reader.study.check_digit import damm, is_valid
from sheet_reader.study.model import Site, Study
from sheet_reader.study.table import Mistakes, nearest, shown

COLUMNS = ("number", "label", "contact")
NEEDED = ("number", "label")
PLACES = {"latitude": 90.0, "longitude": 180.0}
"""The columns of a place, and how far they reach in degrees."""
MOST_BYTES = 4_000_000
_DEGREES = re.compile(r"-?\d{1,3}(\.\d+)?", re.ASCII)
_LONGEST = {"number": 12, "label": 60, "contact": 120, "latitude": 20, "longitude": 20}


def read_sites(path: Path, boxes: int | None, mistakes: Mistakes) -> tuple[Site, ...]:
    """Read the site list; every mistake is noted with its line number.

    ``boxes`` is the number of boxes the sheet has for a site number (None: not known, then any
    length passes). Commas, semicolons and tabs may separate; a byte order mark is ignored.
    """
    text = _text(path, mistakes)
    if text is None:
        return ()
    first_line = text.split("\n", 1)[0]
    separator = max(",;\t", key=first_line.count)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        mistakes.add(path.name, f"is not a well-formed CSV file ({error})")
        return ()
    if not lines or not _columns(path.name, lines[0], mistakes):
        if not lines:
            mistakes.add(path.name, f"is empty; its first line must be {','.join(COLUMNS)}")
        return ()
    return _sites(path.name, lines, boxes, mistakes)


def _text(path: Path, mistakes: Mistakes) -> str | None:
    try:
        if path.stat().st_size > MOST_BYTES:
            mistakes.add(path.name, "is larger than 4 MB; this is no site list")
            return None
        data = path.read_bytes()
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        what = "the file is not there" if missing else f"can't be read ({error.strerror})"
        mistakes.add(path.name, what)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        mistakes.add(f"{path.name} line {line}", "is not UTF-8; save the site list as “CSV UTF-8”")
        return None
    if "\0" in text:
        mistakes.add(path.name, "is not a text file")
        return None
    return text


def _columns(name: str, head: list[str], mistakes: Mistakes) -> bool:
    given = [column.strip().lower() for column in head]
    before = len(mistakes.found)
    for column in (*COLUMNS, *PLACES):
        if given.count(column) > 1:
            mistakes.add(f"{name} line 1", f"the column “{column}” is there twice")
    unknown = [column for column in given if column not in (*COLUMNS, *PLACES)]
    missing = [column for column in COLUMNS if column not in given]
    for column in unknown:
        hint = nearest(column, missing)
        mistakes.add(f"{name} line 1", f"unknown column {shown(column)}{hint}")
    if sum(column in given for column in PLACES) == 1:
        mistakes.add(f"{name} line 1", "latitude and longitude go together; one is missing")
    for column in missing:
        if column not in NEEDED:
            continue
        mistakes.add(f"{name} line 1", f"the column “{column}” is missing")
    return len(mistakes.found) == before


def _sites(
    name: str, lines: list[list[str]], boxes: int | None, mistakes: Mistakes
) -> tuple[Site, ...]:
    order = [column.strip().lower() for column in lines[0]]
    sites: list[Site] = []
    seen: dict[str, int] = {}
    reader_line = 1
    for cells in lines[1:]:
        reader_line += 1
        place = f"{name} line {reader_line}"
        reader_line += sum(cell.count("\n") for cell in cells)
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(order):
            mistakes.add(place, f"has {len(cells)} columns, not {len(order)}")
            continue
        row = dict.fromkeys((*COLUMNS, *PLACES), "")
        row |= {column: cell.strip() for column, cell in zip(order, cells, strict=True)}
        if not _row(place, row, boxes, mistakes):
            continue
        number = row["number"]
        if number in seen:
            mistakes.add(place, f"site {number} is already on line {seen[number]}")
            continue
        seen[number] = reader_line
        degrees = [float(row[column]) if row[column] else None for column in PLACES]
        sites.append(Site(number, row["label"], row["contact"], *degrees))
    if not sites and not any(cell.strip() for cells in lines[1:] for cell in cells):
        mistakes.add(name, "lists no site")
    return tuple(sites)


def _row(place: str, row: dict[str, str], boxes: int | None, mistakes: Mistakes) -> bool:
    before = len(mistakes.found)
    for column, longest in _LONGEST.items():
        if len(row[column]) > longest:
            mistakes.add(f"{place} {column}", f"is longer than {longest} characters")
        elif not row[column].isprintable():
            mistakes.add(f"{place} {column}", "holds a line break or control character")
    number = row["number"]
    if len(mistakes.found) > before:
        return False
    if not (number.isascii() and number.isdigit()):
        mistakes.add(f"{place} number", f"{shown(number)} is not a number of digits only")
    elif boxes is not None and len(number) != boxes:
        lost = " (a spreadsheet may have dropped leading zeros)" if len(number) < boxes else ""
        mistakes.add(
            f"{place} number",
            f"{number} has {len(number)} digits, but the sheet has {boxes} boxes for it{lost}",
        )
    elif not is_valid(number):
        right = number[:-1] + damm(number[:-1]) if len(number) > 1 else ""
        hint = f"; {number[:-1]} would become {right}" if right else ""
        mistakes.add(f"{place} number", f"{number} does not end in its check digit{hint}")
    _place(place, row, mistakes)
    return len(mistakes.found) == before


def _place(place: str, row: dict[str, str], mistakes: Mistakes) -> None:
    """Latitude and longitude, if any: both, in decimal degrees, with a point."""
    for column, most in PLACES.items():
        text = row[column]
        if text and (not _DEGREES.fullmatch(text) or abs(float(text)) > most):
            example = "51.4778" if column == "latitude" else "-0.0015"
            mistakes.add(
                f"{place} {column}", f"{shown(text)} is no {column} in degrees, such as {example}"
            )
    given = [column for column in PLACES if row[column]]
    if len(given) == 1:
        mistakes.add(place, f"has a {given[0]} only; latitude and longitude go together")


def on_list(study: Study, number: str) -> Site:
    """The line of the list of the site with this number, blanks around it aside.

    Raises UsageError where there is none, and names the nearest ones.
    """
    number = number.strip()
    site = study.site(number)
    if site is None:
        raise UsageError(
            f"there is no site {number[:20]!r} on the site list",
            remedy=_nearest_sites(study, number),
        )
    return site


def _nearest_sites(study: Study, number: str) -> str:
    numbers = [entry.number for entry in study.sites]
    close = difflib.get_close_matches(number[:20], numbers, n=3, cutoff=0.5) or numbers[:3]
    listed = ", ".join(f"{n} {site.label}" for n in close if (site := study.site(n)))
    wrong = "" if is_valid(number) else "its check digit is wrong; "
    return f"{wrong}nearest: {listed}" if listed else f"{wrong}the site list is empty"
