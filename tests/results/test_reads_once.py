"""What results cost is counted, not timed: SQL statements and layouts don't grow with the sites."""

from __future__ import annotations

import re
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from counting import calls
from sqlalchemy import Engine, event

from sheet_reader.cli.main import cli
from sheet_reader.demo.season_record import make_season_folder
from sheet_reader.reading import field_pictures

TODAY = date(2026, 6, 1)
FEW, MANY = 4, 16




@pytest.fixture(scope="module")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    folder = tmp_path_factory.mktemp("seasons")
    for sites in (FEW, MANY):
        make_season_folder(folder / str(sites), TODAY, 3, sites, weeks=3)
    return {sites: folder / str(sites) for sites in (FEW, MANY)}


@contextmanager
def noted() -> Iterator[list[str]]:
    """The SQL statements of all engines meanwhile."""
    statements: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        statements.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    yield statements
    event.remove(Engine, "before_cursor_execute", note)


def statements_of(folder: Path, tmp_path: Path, *command: str) -> list[str]:
    copy = tmp_path / folder.name
    shutil.copytree(folder, copy)
    with noted() as statements:
        done = CliRunner().invoke(cli, [command[0], str(copy), *command[1:]])
    assert done.exit_code == 0, done.output
    return statements


@pytest.mark.parametrize(
    "command",
    [
        ("status",),
        ("export", "--format", "csv,data-package,darwin-core,excel,parquet"),
    ],
    ids=lambda command: command[0],
)
def test_statements_do_not_grow_with_sites(
    seasons: dict[int, Path], tmp_path: Path, command: tuple[str, ...]
) -> None:
    few, many = (statements_of(seasons[n], tmp_path, *command) for n in (FEW, MANY))
    assert len(few) > 5
    assert Counter(few) == Counter(many)


def test_the_readings_are_fetched_once_however_many_formats(
    seasons: dict[int, Path], tmp_path: Path
) -> None:
    formats = "csv,data-package,darwin-core,excel,parquet"
    statements = statements_of(seasons[FEW], tmp_path, "export", "--format", formats)
    of_readings = re.compile(r"SELECT readings\.id.*readings\.confidence", re.DOTALL)
    fetched = [statement for statement in statements if of_readings.search(statement)]
    assert len(fetched) == 1


def test_the_layouts_of_a_study_are_made_once_for_all_letters(
    seasons: dict[int, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[object] = []
    once = field_pictures.whole_book
    monkeypatch.setattr(
        field_pictures, "whole_book", lambda study: made.append(study) or once(study)
    )
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: TODAY)
    statements_of(seasons[MANY], tmp_path, "letters")
    assert len(list((tmp_path / str(MANY) / "letters").glob("*.eml"))) > FEW
    assert len(made) == 1


def test_calls_grow_with_the_sites_and_no_faster(seasons: dict[int, Path]) -> None:
    from sheet_reader.reading.opening import open_record
    from sheet_reader.results.facts import facts_of
    from sheet_reader.results.formats import FORMATS, format_named
    from sheet_reader.results.frames import tables_of
    from sheet_reader.results.status.standing import status_of
    from sheet_reader.study.reader import read_study

    def all_of(folder: Path) -> Callable[[], None]:
        def work() -> None:
            study = read_study(folder)
            with open_record(study, for_reading=True) as record:
                facts = facts_of(record)
            status_of(study, facts, TODAY)
            tables = tables_of(study, facts)
            for name in FORMATS:
                format_named(name)(study, tables)

        return work

    all_of(seasons[FEW])()  # what is imported and laid out once
    few, many = (calls(all_of(seasons[sites])) for sites in (FEW, MANY))
    assert many <= MANY / FEW * 1.1 * few
