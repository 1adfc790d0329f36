"""A database server that is killed in the middle of a review, and comes back or does not."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Iterator
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

import database_server
import pytest
import stand_in
from rich.console import Console
from sqlalchemy import create_engine
from stand_in import says

from sheet_reader.errors import UnavailableError
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.store.claims import Leases
from sheet_reader.record.store.engine import URL_VARIABLE
from sheet_reader.record.store.store import Record
from sheet_reader.review.session import Outcome, Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal

NUMBERS = count(1)
TYPED = {"sun.eggs": "5", "sun.snails": "13", "shade.eggs": "1"}


@pytest.fixture(scope="module")
def server() -> Iterator[tuple[Path, str]]:
    with tempfile.TemporaryDirectory(prefix="pg") as place:
        folder = Path(place)
        with database_server.running(folder) as url:
            yield folder, url


@pytest.fixture
def record(
    server: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Record]:
    """Three questions on a server, each about a sheet of its own."""
    _, url = server
    name = f"ponds{next(NUMBERS)}"
    monkeypatch.setenv(URL_VARIABLE, database_server.new_database(url, name))
    study = stand_in.a_study(tmp_path / "ponds")
    (study.folder / "inbox").mkdir(parents=True)
    for number, field in enumerate(TYPED):
        said = says({"date": f"2026-05-{10 + number}"}, flagged={field: "40"})
        (study.folder / "inbox" / f"{number}.png").write_bytes(stand_in.photo(said))
    read_batch(study, reader=stand_in.read, jobs=0)
    with Record.open(study) as record:
        yield record


class Person:
    """Types the right number at each prompt; ``before`` happens before the line of that number."""

    def __init__(self, record: Record, before: dict[int, Callable[[], None]]) -> None:
        self.before, self.prompts = before, 0
        self.screen = io.StringIO()
        self.answers = iter(TYPED.values())
        self.waited = 0
        console = Console(file=self.screen, width=80, height=24, markup=False, highlight=False)
        terminal = Terminal(
            RecordQuestions(record, by="Kim"), console, self.read_line, lambda _: 1,
            date(2026, 6, 1), "off", record.folder,
        )  # fmt: skip
        self.review = Review(terminal, "Kim", leases=Leases(record, "Kim"), wait=self.wait)
        self.back: Callable[[], None] = lambda: None

    def read_line(self) -> str:
        self.prompts += 1
        self.before.get(self.prompts, lambda: None)()
        return next(self.answers)

    def wait(self, _seconds: float) -> None:
        self.waited += 1
        if self.waited == 3:
            self.back()

    def run(self) -> Outcome:
        return self.review.run()


def values(record: Record) -> dict[str, str | None]:
    return {r.field: r.value for r in record.readings() if r.status == "corrected"}


@pytest.mark.parametrize("mode", ["immediate", "fast"])
@pytest.mark.parametrize("prompt", [1, 2, 3])
def test_the_review_goes_on_when_the_server_is_back(
    record: Record, server: tuple[Path, str], prompt: int, mode: str
) -> None:
    folder, _ = server
    person = Person(record, {prompt: lambda: database_server.stop(folder, mode)})
    person.back = lambda: database_server.start(folder)
    outcome = person.run()
    assert values(record) == TYPED
    assert (outcome.answered, outcome.waiting) == (3, 0)
    assert person.waited == 3
    said = " ".join(person.screen.getvalue().split())
    assert said.count("Waiting until it is there again") == 1
    assert said.count("It is there again.") == 1


def test_ctrl_c_ends_the_waiting_and_keeps_what_was_answered(
    record: Record, server: tuple[Path, str]
) -> None:
    folder, _ = server

    def interrupt() -> None:
        raise KeyboardInterrupt

    person = Person(record, {2: lambda: database_server.stop(folder)})
    person.back = interrupt
    with pytest.raises(KeyboardInterrupt):
        person.run()
    database_server.start(folder)
    first, *_ = TYPED.items()
    assert values(record) == {first[0]: first[1]}


def test_a_lost_server_is_no_damaged_record(record: Record, server: tuple[Path, str]) -> None:
    folder, url = server
    with record.reading() as connection:
        database_server.stop(folder)
        with pytest.raises(UnavailableError, match="run the command again"):
            record.photos()  # a connection of its own: refused
        connection.close()
    with pytest.raises(UnavailableError):
        Record.open(record.study)
    database_server.start(folder)
    engine = create_engine(url)
    with engine.connect():
        assert record.photos()  # the connections kept are stale, and that is no matter
    engine.dispose()


def test_a_read_cut_off_by_the_server_goes_on_at_the_next(
    record: Record, server: tuple[Path, str]
) -> None:
    folder, _ = server
    study, seen = record.study, 0
    for number in range(3):
        said = says({"date": f"2026-06-{10 + number}"})
        (study.folder / "inbox" / f"more{number}.png").write_bytes(stand_in.photo(said))

    def read(*given: Any, **more: Any) -> list[Any]:
        nonlocal seen
        seen += 1
        if seen == 2:
            database_server.stop(folder)
        return stand_in.read(*given, **more)

    with pytest.raises(UnavailableError):
        read_batch(study, reader=read, jobs=0)
    database_server.start(folder)
    assert read_batch(study, reader=stand_in.read, jobs=0).failed == 0
    assert record.unread() == 0
    assert len(record.visits()) == 6
