"""The two sample studies as they ship inside the package."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from sheet_reader.atomic import atomic_write
from sheet_reader.study.reader import STUDY_FILE, read_study

WEEKS_AHEAD = 4
"""Weeks of a season in the middle that are still to come."""
SAMPLES = ("bean_tips", "rock_pools")


def sample_folder(name: str) -> Path:
    """The folder of one of :data:`SAMPLES`, inside the package: read it, don't write there."""
    if name not in SAMPLES:
        raise ValueError(f"no sample study is called {name!r}; there are {', '.join(SAMPLES)}")
    return Path(__file__).parent / "data" / name


def in_season(name: str, first: date, last: date) -> str:
    """The sample's study file with another season."""
    was = read_study(sample_folder(name)).season
    text = (sample_folder(name) / STUDY_FILE).read_text("utf-8")
    text = text.replace(f"first = {was.first}", f"first = {first}")
    return text.replace(f"last = {was.last}", f"last = {last}")


def copy_in_season(name: str, folder: Path, today: date, weeks: int) -> None:
    """As :func:`copy_sample`, in mid-season: so many ``weeks`` of it are over, and the visit after
    them is expected on the day after ``today``.
    """
    copy_sample(name, folder)
    first = today - timedelta(days=7 * weeks - 1)
    last = first + timedelta(days=7 * (weeks + WEEKS_AHEAD) - 1)
    atomic_write({folder / STUDY_FILE: in_season(name, first, last).encode()})


def copy_sample(name: str, folder: Path) -> None:
    """Copy a sample study's files into ``folder``, which is made if need be."""
    atomic_write({
        folder / file.name: file.read_bytes()
        for file in sorted(sample_folder(name).iterdir()) if file.suffix in {".toml", ".csv"}
    })  # fmt: skip
