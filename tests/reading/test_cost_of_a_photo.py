"""What a photo costs the record is counted, not timed: it must not grow with the record."""

from __future__ import annotations

import re
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import date, timedelta
from typing import Any

import stand_in
from sqlalchemy import Engine, event
from stand_in import says

from sheet_reader.reading.batch import read_batch
from sheet_reader.record.store.engine import RECORD_FILE
from sheet_reader.study.study import Study

MANY = 30
FROM_CLAIM = re.compile(r"SELECT photos\.attempts, photos\.claimed_by")
FEW = re.compile(
    r"SCAN (sqlite_master|CONSTANT ROW|wordings|row_checksums USING INDEX row_checksums_open)"
)
"""The schema itself, one row for each wording of the study, and the checksums of the rows that this
transaction wrote.
"""
Statement = tuple[str, Any]


@contextmanager
def noted() -> Iterator[list[Statement]]:
    """The SQL statements of all engines meanwhile, with what they are given."""
    found: list[Statement] = []

    def note(_at: object, _cursor: object, said: str, given: Any, _: object, many: bool) -> None:
        found.append((said, given[0] if many and given else given))

    event.listen(Engine, "before_cursor_execute", note)
    yield found
    event.remove(Engine, "before_cursor_execute", note)


def photos(study: Study, first: int, count: int) -> None:
    for number in range(first, first + count):
        day = date(2026, 4, 1) + timedelta(days=number)
        data = stand_in.photo(says({"date": day.isoformat()}), seed=number)
        (study.folder / "inbox" / f"p{number}.png").write_bytes(data)


def of_one_photo(study: Study, number: int) -> tuple[list[Statement], list[Statement]]:
    """What taking in a further photo needs, and reading it from its claim to its commit."""
    for file in (study.folder / "inbox").iterdir():
        file.unlink()
    photos(study, number, 1)
    marks: list[int] = []
    with noted() as found:
        read_batch(
            study, reader=stand_in.read, jobs=0, on_progress=lambda *_: marks.append(len(found))
        )
    claim = next(n for n, (said, _) in enumerate(found) if FROM_CLAIM.match(said))
    added = [n for n, (said, _) in enumerate(found[:claim]) if said.startswith("INSERT")]
    kept = next(n for n in added if "INTO photos" in found[n][0])
    return found[kept - 3 : added[-1] + 4], found[claim : marks[0]]


def plain(statement: Statement) -> str:
    """Without the mark of the transaction, which is drawn at random."""
    return re.sub(r"= \d+$", "= N", statement[0])


def test_statements_for_a_photo_do_not_grow_with_the_record(study: Study) -> None:
    photos(study, 0, 2)
    read_batch(study, reader=stand_in.read, jobs=0)
    few = of_one_photo(study, 2)
    photos(study, 3, MANY)
    read_batch(study, reader=stand_in.read, jobs=0)
    many = of_one_photo(study, 3 + MANY)
    for before, now in zip(few, many, strict=True):
        assert Counter(map(plain, before)) == Counter(map(plain, now))
    assert sum(map(len, many)) <= 44  # three of each transaction mark the log as its own


def test_no_statement_for_a_photo_goes_through_a_whole_table(study: Study) -> None:
    """By the plan that the database itself tells."""
    photos(study, 0, 3)
    read_batch(study, reader=stand_in.read, jobs=0)
    statements = [one for part in of_one_photo(study, 3) for one in part]
    assert any("INTO photos" in said for said, _ in statements)
    assert any("INTO readings" in said for said, _ in statements)
    plans = []
    with closing(sqlite3.connect(study.folder / RECORD_FILE)) as plain:
        # Without foreign keys, as it is set up: what they look for in tables that refer to a new
        # row runs only where a transaction has left a reference open.
        for said, given in statements:
            if said.startswith(("SELECT", "UPDATE", "INSERT", "DELETE")):
                plan = plain.execute(f"EXPLAIN QUERY PLAN {said}", given).fetchall()
                plans += [(row[3], said) for row in plan]
    assert len(plans) > 10
    whole = [plan for plan in plans if plan[0].startswith("SCAN") and not FEW.match(plan[0])]
    assert whole == []
