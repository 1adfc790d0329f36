from __future__ import annotations

import sys
from pathlib import Path

import pytest
from thorough import or_fewer

sys.path.insert(0, str(Path(__file__).parent))

import season_model
import study_edits

from sheet_reader.record.history import meaning_answers
from sheet_reader.record.history.meaning import Meanings


def test_edits_in_mid_season_lose_and_change_nothing(tmp_path: Path) -> None:
    """The short form; ``python tests/faults/study_edits.py --sequences 500`` is the whole one."""
    sequences = or_fewer(4, 2)
    result = study_edits.campaign(sequences, 7, tmp_path)
    assert result.faults == []
    assert result.sequences == sequences
    assert result.checks == 15 * sequences


def test_the_check_itself_sees_a_value_that_is_not_what_was_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = season_model.Model.value

    def other(model: season_model.Model, sheet: season_model.Sheet, name: str) -> str | None:
        value = real(model, sheet, name)
        return "61" if value == "7" else value

    monkeypatch.setattr(season_model.Model, "value", other)
    assert any("readings" in fault for fault in study_edits.campaign(2, 7, tmp_path).faults)


def test_the_check_itself_sees_words_that_are_not_asked_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(meaning_answers, "must_be_said", lambda *_: None)
    assert any("not asked about" in fault for fault in study_edits.campaign(2, 7, tmp_path).faults)


def test_the_check_itself_sees_a_value_under_other_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Meanings, "renamed", lambda *_: {})
    faults = study_edits.campaign(2, 7, tmp_path).faults
    assert any("rows" in fault or "readings" in fault for fault in faults)
