"""How many processes of tests there are, and which of their cases run by default."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest
from compiled_once import Compiled
from cores import cores
from sqlalchemy.dialects import postgresql, sqlite
from thorough import every


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({}, 4),
        ({"cpu.max": "max 100000\n"}, 4),
        ({"cpu.max": "200000 100000\n"}, 2),
        ({"cpu.max": "50000 100000\n"}, 1),
        ({"cpu.max": "800000 100000\n"}, 4),
        ({"cpu/cpu.cfs_quota_us": "-1\n", "cpu/cpu.cfs_period_us": "100000\n"}, 4),
        ({"cpu/cpu.cfs_quota_us": "300000\n", "cpu/cpu.cfs_period_us": "100000\n"}, 3),
    ],
)
def test_as_many_processes_as_cores_that_may_be_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, files: dict[str, str], expected: int
) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(4)), raising=False)
    (tmp_path / "cpu").mkdir()
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    assert cores(tmp_path) == expected


def test_every_third_case_runs_by_default_and_none_is_lost() -> None:
    cases = every(3, ["a", ("b",), "c", "d"])
    assert [case.values for case in cases] == [("a",), ("b",), ("c",), ("d",)]
    assert [n for n, case in enumerate(cases) if not case.marks] == [0, 3]


def test_a_statement_compiled_for_one_engine_serves_another_of_its_kind_alone() -> None:
    kept = Compiled()
    kept[sqlite.dialect(), "statement", False] = "as SQLite says it"
    assert kept.get((sqlite.dialect(), "statement", False)) == "as SQLite says it"
    assert kept.get((sqlite.dialect(), "statement", True)) is None
    assert kept.get((postgresql.dialect(), "statement", False)) is None
    namesake = SimpleNamespace(name="other", driver=sqlite.dialect().driver)
    assert kept.get((namesake, "statement", False)) is None
