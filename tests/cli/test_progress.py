"""The bar of a long work: how far, how fast, how long still."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from sheet_reader.cli.progress import per_minute, progress, working


@pytest.mark.parametrize(
    ("done", "elapsed_s", "told"),
    [(0, 10.0, ""), (3, 0.0, ""), (30, 60.0, "30 a minute"), (3, 120.0, "1.5 a minute")],
)
def test_pace(done: int, elapsed_s: float, told: str) -> None:
    assert per_minute(done, elapsed_s) == told


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_bar_fits_its_terminal(width: int) -> None:
    stream = io.StringIO()
    console = Console(file=stream, force_terminal=True, width=width, color_system=None)
    with progress("Reading", console) as step:
        step(3, 240, "a_photo_with_a_very_long_name_from_somewhere.jpg")
    shown = stream.getvalue()
    assert "3/240" in shown
    assert "a minute" in shown


def test_nothing_where_there_is_no_terminal() -> None:
    stream = io.StringIO()
    with progress("Reading", Console(file=stream, force_terminal=False)) as step:
        step(1, 2, "a.jpg")
    with working("Simulating", Console(file=stream, force_terminal=False)):
        pass
    assert stream.getvalue().strip() == ""


def test_work_of_unknown_length_is_one_line() -> None:
    stream = io.StringIO()
    with working("Simulating", Console(file=stream, force_terminal=True, width=80)):
        pass
    shown = stream.getvalue()
    assert "Simulating" in shown
    assert shown.count("\n") <= 1
