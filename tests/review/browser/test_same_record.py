"""The same decisions at the terminal and on the page leave the same record."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import decided
import pytest
import waiting_record
from page_server import TODAY
from rich.console import Console
from sqlalchemy import select

from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.review.session import Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal

SCRIPT: list[tuple[str, list[dict[str, Any]]]] = [
    ("", [{"act": "take"}]),
    ("14", [{"act": "value", "text": "14"}]),
    ("n", [{"act": "nothing"}]),
    ("b", [{"act": "back"}]),
    ("x", [{"act": "unreadable"}]),
    ("many", [{"act": "value", "text": "many"}]),
    ("99999999999", [{"act": "value", "text": "99999999999"}]),
    ("777", [{"act": "value", "text": "777"}]),
    ("", [{"act": "value", "text": "777", "sure": True}]),
]


@pytest.fixture
def records(tmp_path: Path) -> Iterator[list[Record]]:
    with ExitStack() as stack:
        found = []
        for name in ("terminal", "page"):
            record = stack.enter_context(Record.open(waiting_record.bean_study(tmp_path / name)))
            waiting_record.fill(record, 2, 4, first=20)
            waiting_record.every_kind(record)
            found.append(record)
        yield found


def decisions(record: Record) -> list[tuple[Any, ...]]:
    """Everything that is kept of decisions, times apart."""
    found: list[tuple[Any, ...]] = []
    with record.reading() as connection:
        for table in (schema.decisions, schema.sheet_decisions, schema.overruled):
            columns = [c for c in table.c if c.name != "at"]
            rows = connection.execute(select(*columns).order_by(table.c.id))
            found += [(table.name, *row) for row in rows]
    return found


def at_the_terminal(record: Record, lines: list[str]) -> None:
    left = iter(lines)

    def read_line() -> str:
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    console = Console(file=io.StringIO(), width=100, markup=False)
    terminal = Terminal(
        RecordQuestions(record), console, read_line, lambda _path: 1, TODAY, "plain",
        record.folder / "looked_at",
    )  # fmt: skip
    Review(terminal, "Kim").run()


def typed(card: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """A line at the terminal and the same said on the page, for the kinds that are left."""
    if card["kind"] == "sum":
        return "2 5", {"act": "sum", "fields": {"1": "5"}}
    if card["kind"] == "photos":
        return "d2 28", {"act": "date", "text": "28", "sheet": 1}
    return "", {"act": "take"}


def test_both_leave_the_same_record(
    records: list[Record], page_on: Callable[[Record], Any]
) -> None:
    terminal, other = records
    page, lines, kinds = page_on(other), [], set()
    view = page.say(act="show")
    for line, messages in SCRIPT:
        lines.append(line)
        for message in messages:
            view = page.say(card=view["card"]["token"], **message)
    while view["card"]:
        kinds.add(view["card"]["kind"])
        line, message = typed(view["card"])
        lines.append(line)
        view = page.say(card=view["card"]["token"], **message)
        if "look" in view:
            lines.append("")
            view = page.say(card=view["card"]["token"], **message, sure=True)
    at_the_terminal(terminal, lines)
    assert kinds >= {"sum", "photos", "outside", "field"}
    assert decisions(terminal) == decisions(other)
    assert terminal.state() == other.state()
    assert decided.pending(terminal) == []
