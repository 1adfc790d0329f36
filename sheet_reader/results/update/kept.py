"""What stays in the study's folder from one update to the next: her own words, and which were made.

Every update is one more look at the comparison, so its day is kept and its intervals count it.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from sheet_reader.errors import StorageError, UsageError

FOLDER, WORDS_FILE, MADE_FILE = "updates", "own_words.md", "updates.csv"
OWN_TEMPLATES = "update_templates"
COLUMNS = ("until", "made_at")
MOST_CHARACTERS = 50_000
FIRST_WORDS = """<!--
Write your own paragraphs for the volunteers below this remark; they stand at the top of the next
update and stay here for the ones after. An empty line parts paragraphs, "# " makes a heading,
"- " a list. What stands between these arrows is not shown.
-->
"""
_REMARK = re.compile(r"<!--.*?(?:-->|\Z)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Made:
    """An update that was made: the last day it covers, and when (UTC, ISO 8601)."""

    until: date
    made_at: str


def own_words(folder: Path) -> str | None:
    """Her own paragraphs in the study's ``folder`` without remarks; None before the first update.

    Raises StorageError for a file that can't be read, UsageError for one that is too long.
    """
    path = folder / FOLDER / WORDS_FILE
    text = _text(path)
    if text is not None and len(text) > MOST_CHARACTERS:
        raise UsageError(
            "your own words are too long for an update",
            where=path,
            remedy=f"the most is {MOST_CHARACTERS:,} characters",
        )
    return None if text is None else _REMARK.sub("", text)


def made_before(folder: Path) -> list[Made]:
    """The updates made so far, by day. Raises UsageError for a list that is not as written."""
    path = folder / FOLDER / MADE_FILE
    found = []
    for number, line in enumerate(csv.reader(io.StringIO(_text(path) or "")), start=1):
        if not line or tuple(line) == COLUMNS:
            continue
        try:
            day, made_at = line
            datetime.fromisoformat(made_at)
            found.append(Made(date.fromisoformat(day), made_at))
        except ValueError:
            raise UsageError(
                "this line does not say which update was made when",
                where=f"{path} line {number}",
                remedy="put it right (until,made_at), or remove the line",
            ) from None
    return sorted(found, key=lambda made: (made.until, made.made_at))


def made_csv(made: Iterable[Made], this: Made) -> bytes:
    """The list with ``this`` update in it, which replaces an earlier one of the same day."""
    kept = [each for each in made if each.until != this.until]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for each in sorted([*kept, this], key=lambda m: m.until):
        writer.writerow((each.until.isoformat(), each.made_at))
    return stream.getvalue().encode()


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        raise StorageError("is not UTF-8; save the file as UTF-8", where=path) from None
    except OSError as error:
        raise StorageError(f"can't be read: {error.strerror}", where=path) from None
