"""A page of a sheet together with everything printed on it."""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.sheet.drawing import Mark
from sheet_reader.sheet.model import Page


@dataclass(frozen=True, slots=True)
class DrawnPage:
    """A page and everything printed on it."""

    page: Page
    marks: tuple[Mark, ...]
