"""A trial of 40 photos, reviewed at the terminal by somebody who has the sheets before her.

What was read in the photos is kept in ``trial.json.gz``; ``make_trial.py`` makes it anew, photos
and all. Questions and keys are counted as a coordinator counts them: an Enter is a key.
"""

from __future__ import annotations

import gzip
import io
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import decided
import made_up
import numpy as np
import pytest
from former_layout import with_a_former_layout
from rich.console import Console

from sheet_reader.answers.questions import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SumCard,
)
from sheet_reader.decode.pages import FieldReading
from sheet_reader.reading.field_pictures import pack_boxes
from sheet_reader.reasons import from_json
from sheet_reader.record.history import found
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.store import claims
from sheet_reader.record.store.store import Record
from sheet_reader.review.queue import is_outside, keyed_blind
from sheet_reader.review.session import Outcome, Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.study import Study

TRIAL = Path(__file__).parent / "trial.json.gz"
MOST_QUESTIONS, MOST_KEYS = 39, 84
"""As measured with these readings, in which 66 fields are flagged; to come down. In a terminal of
24 lines without graphics fewer counts are shown at a time:"""
MOST_IN_24_LINES = 43, 88
SHEETS = 38
"""Sheets of the study: one is photographed twice, and one is of another study."""
OUTLINE = ((0.0, 0.0), (840.0, 0.0), (840.0, 1188.0), (0.0, 1188.0))


@pytest.fixture(scope="module")
def photos() -> list[dict[str, Any]]:
    return json.loads(gzip.decompress(TRIAL.read_bytes()))


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return with_a_former_layout(tmp_path / "beans")


def take_in(record: Record, photos: list[dict[str, Any]]) -> None:
    """The readings of the photos, as ``read`` keeps them."""
    for number, photo in enumerate(photos):
        task = made_up.take_in(record, f"{number:02}.png")
        pages = tuple(_page(record.study, page) for page in photo["pages"])
        failures = from_json(json.dumps(photo["failures"]))
        result = PhotoResult(pages, failures, "read" if pages else "no sheet")
        token = claims.my_token()
        with record.writing() as connection:
            assert claims.claim(connection, task, token)
            assert found.finish(connection, task, token, result, "trial", "")


def _page(study: Study, page: dict[str, Any]) -> FoundPage:
    boxes = {spec.name: spec.boxes for spec in study.fields}
    known = {key: value for key, value in page.items() if key != "fields"}
    fields = tuple(_field(dict(f), boxes[f["field"]]) for f in page["fields"])
    return FoundPage(
        frame=0, study=study.key, glare_share=0.0, outline=OUTLINE, fields=fields,
        wording=as_text(wording_of(study)), **known,
    )


def _field(read: dict[str, Any], boxes: int) -> FoundField:
    reasons = from_json(json.dumps(read.pop("reasons")))
    crops = [np.full((64, 64), 200, np.uint8)] * boxes
    return FoundField(FieldReading(reasons=reasons, **read), pack_boxes(crops), b"", ())


@dataclass
class Coordinator:
    """Knows what is written on every sheet, and types it."""

    record: Record
    photos: list[dict[str, Any]]
    kinds: Counter[str] = field(default_factory=Counter)
    keys: int = 0
    asked: list[tuple[object, ...]] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    outcome: Outcome | None = None
    flagged: int = 0
    height: int = 40

    def review(self) -> Outcome:
        """Answer everything that waits."""
        source = RecordQuestions(self.record)
        out = io.StringIO()
        console = Console(file=out, width=80, height=self.height, markup=False, highlight=False)
        terminal = Terminal(
            source, console, lambda: self._type(source), lambda _path: 1,
            self.record.study.season.last, "plain", self.record.folder / "looked_at",
        )  # fmt: skip
        review = Review(terminal, "Kim")
        self.shown = review._in_sight
        return review.run()

    def _type(self, source: RecordQuestions) -> str:
        card = self.shown(source.cards()[0])
        again = bool(self.asked) and self.asked[-1] == card.key
        if not again:
            self.asked.append(card.key)
            self.kinds[type(card).__name__] += 1
        typed = "" if again else self._answer(card)
        assert self.asked.count(card.key) == 1, "nothing is asked twice"
        self.keys += len(typed) + 1
        self.lines.append(f"{card.place.photo} {card.key[0]} {card.place.field} “{typed}”")
        return typed

    def _truth(self, photo_id: int) -> dict[str, str | None]:
        return self.photos[photo_id - 1]["written"]

    def _answer(self, card: Card) -> str:
        if isinstance(card, OutsideCard):
            return ""
        if isinstance(card, PhotosCard):
            return self._of_photos(card)
        truth = self._truth(card.place.photo_id)
        if isinstance(card, SumCard | AlikeCard):
            return ",".join(
                f"{number} {truth[stated.spec.name] or 'n'}"
                for number, stated in enumerate(card.fields, start=1)
                if stated.value != truth[stated.spec.name]
            )
        return self._of_field(card, truth[card.spec.name])

    def _of_photos(self, card: PhotosCard) -> str:
        for number, sheet in enumerate(card.sheets, start=1):
            day = self.photos[sheet.place.photo_id - 1]["date"]
            if day != sheet.place.visit_date:
                near = sheet.place.visit_date
                short = day[8:] if day[:7] == near[:7] else f"{day[8:]} {day[5:7]}"
                return f"d{number} {short}"
        return ""

    def _of_field(self, card: FieldCard, truth: str | None) -> str:
        if truth is None:
            return "n"
        blind = keyed_blind(card, self.record.study)
        if truth == card.reading.value and not blind:
            return ""
        return f"{truth[8:]}{truth[5:7]}" if card.spec.kind.name == "date" else truth


def test_the_trial_has_every_trouble(photos: list[dict[str, Any]]) -> None:
    assert len(photos) == 40
    troubles = Counter(photo["trouble"] for photo in photos)
    assert troubles["twice"] == 2
    for one in ("half", "wrong date", "another study", "old layout"):
        assert troubles[one] == 1
    [former] = [p for p in photos if p["trouble"] == "old layout"]
    layouts = {page["layout"] for photo in photos for page in photo["pages"]}
    assert len(layouts) == 2
    others = [p for p in photos if p["trouble"] != "old layout"]
    assert {page["layout"] for page in former["pages"]}.isdisjoint(
        page["layout"] for photo in others for page in photo["pages"]
    )


@pytest.fixture(scope="module")
def reviewed(
    tmp_path_factory: pytest.TempPathFactory, photos: list[dict[str, Any]]
) -> Iterator[Coordinator]:
    study = with_a_former_layout(tmp_path_factory.mktemp("reviewed") / "beans")
    with Record.open(study) as record:
        take_in(record, photos)
        coordinator = Coordinator(record, photos, flagged=len(decided.pending(record)))
        coordinator.outcome = coordinator.review()
        yield coordinator


def test_the_final_rows_are_the_truth_and_none_is_mixed(reviewed: Coordinator) -> None:
    expected = true_rows(reviewed)
    rows = {(row.site, row.visit_date): row for row in reviewed.record.visits()}
    assert rows.keys() == expected.keys()
    for place, row in rows.items():
        assert row.waiting == 0
        assert {name: row.values[name] for name in expected[place]} == expected[place], place
    assert len(rows) == SHEETS


def true_rows(reviewed: Coordinator) -> dict[tuple[str, str], dict[str, str | None]]:
    """What is written on each sheet, under its true date; what lies outside is not recorded."""
    found: dict[tuple[str, str], dict[str, str | None]] = {}
    study = reviewed.record.study
    keys = {h.name for h in study.header if h.kind.name in ("site", "date")}
    for photo in reviewed.photos:
        if "written" not in photo:
            continue
        row = {name: v for name, v in photo["written"].items() if name not in keys}
        for name in outside(photo):
            row[name] = None
        found[photo["site"], photo["date"]] = row
    return found


def outside(photo: dict[str, Any]) -> set[str]:
    """The fields of the photo that lie outside the picture, in whole or in part."""
    return {
        f["field"]
        for page in photo["pages"]
        for f in page["fields"]
        if is_outside(from_json(json.dumps(f["reasons"])))
    }


def test_questions_and_keys_stay_few(reviewed: Coordinator) -> None:
    assert reviewed.kinds["PhotosCard"] == 1
    assert reviewed.kinds["OutsideCard"] == 1
    assert len(reviewed.asked) <= MOST_QUESTIONS < reviewed.flagged
    assert reviewed.keys <= MOST_KEYS
    assert reviewed.outcome.answered == len(reviewed.asked)
    assert reviewed.outcome.waiting == 0


def test_undoing_all_answers_gives_the_record_before(
    study: Study, photos: list[dict[str, Any]]
) -> None:
    with Record.open(study) as record:
        take_in(record, photos)
        before = record.state()
        coordinator = Coordinator(record, photos, height=24)
        coordinator.review()
        assert record.state() != before
        questions, keys = MOST_IN_24_LINES
        assert len(coordinator.asked) <= questions
        assert coordinator.keys <= keys
        while decided.undo_last(record, "Kim") is not None:
            pass
        assert record.state() == before
