"""Digits of a site's earlier sheets: which are settled, and what the next sheet is read with."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from stated_sheets import Written, certain
from stated_sheets import beans as beans

from sheet_reader.decode.hand import FormerSheet
from sheet_reader.decode.pages import PageEvidence, PageReading, evidence_of
from sheet_reader.decode.sheet import decode_page
from sheet_reader.decode.writer import Examples
from sheet_reader.reading.rules import DecodingRules, changed_parts
from sheet_reader.reading.site_history import SiteHistory, settled_digits, with_history
from sheet_reader.record.history.states import FieldState, PageObservation, StoredReading
from sheet_reader.study.study import Study

TODAY = date(2026, 8, 30)
ROOFED = {"1": 0.6, "7": 0.3999}
"""A 1 that looks much like a 7."""
STATES: dict[str, Any] = {
    "site": "2043", "visit_date": "200526", "helpers": "_3",
    "a.plants": ["2", ROOFED], "a.eggs": "52", "a.small": "46",
}  # fmt: skip
ORDER = list(range(10))


def page(study: Study, **states: Any) -> PageEvidence:
    filled = Written(study, STATES | states)
    return evidence_of(filled.view(), certain(filled.flat()), TODAY)


def read(study: Study, evidence: PageEvidence, history: SiteHistory) -> PageReading:
    return with_history(evidence, study, history, threshold=None)


@pytest.fixture
def history(beans: Study) -> SiteHistory:
    """A site whose 1s have roofs, by two sheets of one day."""
    row = certain(["0", ROOFED, *"23456789"]).probabilities
    kept = FormerSheet("2026-05-10", Examples.of(np.vstack([row, row]), ORDER * 2))
    return SiteHistory(beans, {"2043": [kept, kept]})


def plants(reading: PageReading) -> tuple[str | None, float]:
    field = next(f for f in reading.fields if f.field == "a.plants")
    return field.value, field.confidence


def test_a_known_hand_settles_its_own_one(beans: Study, history: SiteHistory) -> None:
    first = decode_page(page(beans), beans)
    found = read(beans, page(beans), history)
    assert plants(found)[0] == "21"
    assert 1 - plants(found)[1] < 0.3 * (1 - plants(first)[1])
    assert (found.site, found.visit_date) == (first.site, first.visit_date)


@pytest.mark.parametrize("states", [{"site": "1181"}, {"visit_date": "100526"}])
def test_another_site_and_days_before_know_nothing(
    beans: Study, history: SiteHistory, states: dict[str, str]
) -> None:
    """A sheet of the same day, as a second photo of it or one read anew, is no memory either."""
    first = decode_page(page(beans, **states), beans)
    assert first.site in ("2043", "1181")
    assert first.visit_date
    assert read(beans, page(beans, **states), history) == first


def test_a_page_is_decoded_anew_when_what_is_known_of_the_hand_changes(
    beans: Study, history: SiteHistory
) -> None:
    first = decode_page(page(beans), beans)
    without, with_hands = DecodingRules(beans, SiteHistory(beans)), DecodingRules(beans, history)
    assert changed_parts(without.name_for(first), with_hands.name_for(first)) == {"history"}
    early = decode_page(page(beans, visit_date="050526"), beans)
    assert without.name_for(early) == with_hands.name_for(early)


def field(name: str, value: str | None, status: Any, confidence: float) -> FieldState:
    seen = PageObservation(
        1, 1, "p", 0, "v1", "-", 1, "2043", "2026-05-20", 8.0, 0.1, 0, "", "model"
    )
    read_as = "empty" if status == "empty" else "accepted"
    read = StoredReading(
        field=name, value=value, confidence=confidence, status=read_as, reading_id=1,
        page_instance_id=1,
    )  # fmt: skip
    return FieldState(seen, read, None, value, status, ())


def test_what_a_person_said_and_what_is_surest_is_settled(beans: Study) -> None:
    fields = [
        field("site", "2043", "accepted", 0.99999),
        field("visit_date", "2026-05-20", "confirmed", 0.5),
        field("a.plants", "21", "corrected", 0.0),
        field("a.eggs", "52", "accepted", 0.998),
        field("a.small", "46", "flagged", 0.9999),
        field("a.large", None, "empty", 1.0),
        field("gone.count", "3", "confirmed", 1.0),
    ]
    assert settled_digits(beans, fields) == {
        ("site", ""): "2043",
        ("visit_date", "day"): "20",
        ("visit_date", "month"): "05",
        ("visit_date", "year"): "26",
        ("a.plants", ""): "21",
    }
    doubted = replace(fields[2], status="unreadable", value=None)
    assert ("a.plants", "") not in settled_digits(beans, [doubted])
