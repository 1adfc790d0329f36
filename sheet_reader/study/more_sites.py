"""What is written into the site list: new lines, and names of the sites that are there."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.study.model import Study
from sheet_reader.study.new_study import one_line
from sheet_reader.study.site_list import COLUMNS, on_list
from sheet_reader.study.table import shown

MOST_LABEL_BYTES = 1_000_000


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
        one_line(f"the site on line {number} of {path.name}", line, 60)
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
        found[number] = one_line(f"the name of site {number}", label, 60)
    return found


def list_text(numbers: Sequence[str], labels: Sequence[str]) -> str:
    """A new site list."""
    return with_sites(",".join(COLUMNS) + "\n", numbers, labels)


def with_sites(text: str, numbers: Sequence[str], labels: Sequence[str]) -> str:
    """The list's ``text`` with sites added, its columns, separator and line ends kept."""
    separator, order, ending = _form(text)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=separator, lineterminator=ending)
    for number, label in zip(numbers, labels, strict=True):
        row = {"number": number, "label": label}
        writer.writerow([row.get(column, "") for column in order])
    gap = "" if text.endswith("\n") or not text else ending
    return text + gap + stream.getvalue()


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
