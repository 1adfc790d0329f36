"""New lines for the site list: numbers, names, and the text with them added."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.study.new_study import one_line
from sheet_reader.study.site_list import COLUMNS

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


def list_text(numbers: Sequence[str], labels: Sequence[str]) -> str:
    """A new site list."""
    return with_sites(",".join(COLUMNS) + "\n", numbers, labels)


def with_sites(text: str, numbers: Sequence[str], labels: Sequence[str]) -> str:
    """The list's ``text`` with sites added, its columns, separator and line ends kept."""
    first_line = text.split("\n", 1)[0]
    separator = max(",;\t", key=first_line.count)
    order = [column.strip().lower() for column in first_line.lstrip("\ufeff").split(separator)]
    ending = "\r\n" if first_line.endswith("\r") else "\n"
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=separator, lineterminator=ending)
    for number, label in zip(numbers, labels, strict=True):
        row = {"number": number, "label": label}
        writer.writerow([row.get(column.strip('"'), "") for column in order])
    gap = "" if text.endswith("\n") or not text else ending
    return text + gap + stream.getvalue()
