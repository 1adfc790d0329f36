"""A study of which sheets of a former layout are still about."""

from __future__ import annotations

from pathlib import Path

from sheet_reader.demo.samples import copy_sample
from sheet_reader.sheet.kept_layouts import keep_layout, kept_layouts
from sheet_reader.study.reader import STUDY_FILE, read_study
from sheet_reader.study.study import Study

BEFORE = 'label = "Bean plants"', 'label = "Plants"'
"""What the study file says, and what it said in that layout."""


def with_a_former_layout(folder: Path) -> Study:
    """The study in a new ``folder``, where sheets were printed before a label changed."""
    copy_sample("bean_tips", folder)
    file = folder / STUDY_FILE
    now = file.read_text(encoding="utf-8")
    assert now.count(BEFORE[0]) == 1
    file.write_text(now.replace(*BEFORE), encoding="utf-8")
    keep_layout(read_study(folder))
    file.write_text(now, encoding="utf-8")
    study = read_study(folder)
    assert len(kept_layouts(study).studies) == 1
    return study
