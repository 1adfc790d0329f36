"""The site list: a CSV file with one line per site (``number,label,contact``; contact may lack).

The columns ``latitude`` and ``longitude`` (decimal degrees, WGS 84) may stand beside these. It is
read with all mistakes at once; lines and names are added with everything else left as it is.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.study.site_numbers import damm, is_valid, nearest_sites
from sheet_reader.study.study import Site, Study
from sheet_reader.study.table import Mistakes, line_fault, nearest, printable_line, shown

COLUMNS = ("number", "label", "contact")
NEEDED = ("number", "label")
PLACES = {"latitude": 90.0, "longitude": 180.0}
"""The columns of a place, and how far they reach in degrees."""
MOST_BYTES = 4_000_000
MOST_LABEL_BYTES = 1_000_000
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
    separator = max(",;\t", key=text.split("\n", 1)[0].count)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        mistakes.add(path.name, f"is not a well-formed CSV file ({error})")
        return ()
    if not lines:
        mistakes.add(path.name, f"is empty; its first line must be {','.join(COLUMNS)}")
    elif _columns(path.name, lines[0], mistakes):
        return _sites(path.name, lines, boxes, mistakes)
    return ()


def _text(path: Path, mistakes: Mistakes) -> str | None:
    try:
        if path.stat().st_size > MOST_BYTES:
            mistakes.add(path.name, "is larger than 4 MB; this is no site list")
            return None
        data = path.read_bytes()
    except FileNotFoundError:
        mistakes.add(path.name, "the file is not there")
        return None
    except OSError as error:
        mistakes.add(path.name, f"can't be read ({error.strerror})")
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
    missing = [column for column in COLUMNS if column not in given]
    found = [
        f"the column “{column}” is there twice"
        for column in (*COLUMNS, *PLACES)
        if given.count(column) > 1
    ]
    found += [
        f"unknown column {shown(column)}{nearest(column, missing)}"
        for column in given
        if column not in (*COLUMNS, *PLACES)
    ]
    if sum(column in given for column in PLACES) == 1:
        found.append("latitude and longitude go together; one is missing")
    found += [f"the column “{column}” is missing" for column in missing if column in NEEDED]
    for message in found:
        mistakes.add(f"{name} line 1", message)
    return not found


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
        number = row["number"]
        if not _row(place, row, boxes, mistakes):
            continue
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
        if fault := line_fault(row[column], longest, required=False):
            mistakes.add(f"{place} {column}", fault)
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
        body = number[:-1]
        hint = f"; {body} would become {body}{damm(body)}" if body else ""
        mistakes.add(f"{place} number", f"{number} does not end in its check digit{hint}")
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
    return len(mistakes.found) == before


def on_list(study: Study, number: str) -> Site:
    """The line of the list of the site with this number, blanks around it aside.

    Raises UsageError where there is none, and names the nearest ones.
    """
    number = number.strip()
    site = study.site(number)
    if site is None:
        near = nearest_sites(number[:20], study.sites) or study.sites[:3]
        listed = ", ".join(f"{site.number} {site.label}".rstrip() for site in near)
        wrong = "" if is_valid(number) else "its check digit is wrong; "
        raise UsageError(
            f"there is no site {number[:20]!r} on the site list",
            remedy=wrong + (f"nearest: {listed}" if listed else "the site list is empty"),
        )
    return site


def read_labels(path: Path) -> tuple[str, ...]:
    """The names of sites in a text file, one a line; empty lines are left out.

    Raises StorageError where it can't be read and UsageError for a name that can't be one.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_LABEL_BYTES + 1)
    except OSError as error:
        raise StorageError(f"can't be read: {error.strerror}", where=path) from None
    if len(data) > MOST_LABEL_BYTES:
        raise UsageError("is larger than 1 MB; name one site a line", where=path)
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise UsageError("is not UTF-8; save it as UTF-8 text", where=path) from None
    return tuple(
        printable_line(f"the site on line {number} of {path.name}", line, 60)
        for number, line in enumerate(lines, 1)
        if line.strip()
    )


def labels_for(count: int, labels: Sequence[str]) -> tuple[str, ...]:
    """As many labels as sites, empty ones at the end; raises UsageError where there are more."""
    if len(labels) > count:
        raise UsageError(f"the file names {len(labels)} sites, but {count} are asked for")
    return (*labels, *[""] * (count - len(labels)))


def names_in_order(study: Study, labels: Sequence[str]) -> dict[str, str]:
    """The labels for the sites without one, by number in the order of the list. Raises UsageError
    where there are more of them, and for one that a site has already.
    """
    known = {site.label.casefold(): site.number for site in study.sites if site.label}
    for label in labels:
        if label.casefold() in known:
            raise UsageError(
                f"“{label}” is the name of site {known[label.casefold()]} already",
                remedy="leave in the file the names of sites that have none yet",
            )
    free = [site.number for site in study.sites if not site.label]
    if len(labels) > len(free):
        raise UsageError(
            f"there are {len(labels)} names for {len(free)} sites without one",
            remedy="for new sites add --add N; to change a name: --name NUMBER=NAME",
        )
    return dict(zip(free, labels, strict=False))


def names_given(study: Study, given: Sequence[str]) -> dict[str, str]:
    """Labels by number from ``NUMBER=NAME``; raises UsageError for what is none, and for a site
    that is not on the list or named twice.
    """
    found: dict[str, str] = {}
    for text in given:
        number, sign, label = text.partition("=")
        if not sign:
            raise UsageError(f"{shown(text)} is no NUMBER=NAME", remedy="such as --name 2043=Kiln")
        number = on_list(study, number).number
        if number in found:
            raise UsageError(f"site {number} is named twice")
        found[number] = printable_line(f"the name of site {number}", label, 60)
    return found


def list_text(numbers: Sequence[str], labels: Sequence[str]) -> str:
    """A new site list."""
    return with_sites(",".join(COLUMNS) + "\n", numbers, labels)


def with_sites(text: str, numbers: Sequence[str], labels: Sequence[str]) -> str:
    """The list's ``text`` with sites added, its columns, separator and line ends kept."""
    separator, order, ending = _form(text)
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, order, delimiter=separator, lineterminator=ending)
    writer.writerows(
        dict.fromkeys(order, "") | {"number": number, "label": label}
        for number, label in zip(numbers, labels, strict=True)
    )
    return text + ("" if text.endswith("\n") or not text else ending) + stream.getvalue()


def with_labels(text: str, labels: Mapping[str, str]) -> str:
    """The list's ``text`` with these labels by site number; every other line stays as it is."""
    separator, order, ending = _form(text)
    lines: list[str] = []

    def seen() -> Iterator[str]:
        for line in io.StringIO(text, newline=""):
            lines.append(line)
            yield line

    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=separator, lineterminator=ending)
    for cells in csv.reader(seen(), delimiter=separator):
        number = cells[order.index("number")].strip() if len(cells) == len(order) else ""
        if number in labels:
            cells[order.index("label")] = labels[number]
            writer.writerow(cells)
        else:
            stream.write("".join(lines))
        lines.clear()
    return stream.getvalue()


def _form(text: str) -> tuple[str, list[str], str]:
    """Separator, columns and line end of a site list."""
    first_line = text.split("\n", 1)[0]
    separator = max(",;\t", key=first_line.count)
    columns = next(csv.reader([first_line.lstrip("\ufeff")], delimiter=separator))
    ending = "\r\n" if first_line.endswith("\r") else "\n"
    return separator, [column.strip().lower() for column in columns], ending
