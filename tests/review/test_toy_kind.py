"""Two kinds of field that the product does not have, added here alone: each is printed, read, asked
about and handed out, with no other file changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import cv2
import decided
import made_up
import numpy as np
import pytest

from sheet_reader.answers.questions import FieldCard
from sheet_reader.api import StudyRecord
from sheet_reader.errors import StudyError
from sheet_reader.reading import photo as photo_reading
from sheet_reader.reading.opening import open_record
from sheet_reader.record.history.answers import Value
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.results.facts import facts_of
from sheet_reader.results.formats.dictionary import entries
from sheet_reader.results.letters.open_items import open_items
from sheet_reader.results.status.standing import status_of
from sheet_reader.review.face import Around, face
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.draft import model_digit
from sheet_reader.sheet.layout import draw_sheet
from sheet_reader.sheet.page import Text
from sheet_reader.study.kinds import KINDS, Kind, Listed, Size, Spelling, add_kind
from sheet_reader.study.reader import parse_study, read_study
from sheet_reader.study.study import FieldSpec, Study
from sheet_reader.study.table import TomlTable
from sheet_reader.wording import words

TODAY = date(2026, 6, 30)
SCALE = 10.0
_T = np.linspace(0.0, 1.0, 24)
BERNSTEIN = np.stack([(1 - _T) ** 3, 3 * (1 - _T) ** 2 * _T, 3 * (1 - _T) * _T**2, _T**3], axis=1)
"""Weights (24, 4) of a cubic curve's points along it."""


class PairCode(Kind):
    """Two digits that add to nine, such as 27; the second checks the first."""

    name = "pair_code"
    keys = ()
    is_amount, is_captioned = False, True
    column = "text"
    column_note = "two digits that add to nine"
    answers = (("two digits", "the code; they add to nine"),)
    asks = "Code on the gate"

    def size(self, table: TomlTable) -> Size:
        return 2, None, None

    def captions(self, study: Study) -> tuple[str, ...]:
        return ("code",)

    def spelling(self, study: Study, spec: FieldSpec) -> Spelling:
        return Listed(tuple(f"{first}{9 - first}" for first in range(10)))


class Tick(Kind):
    """One box that holds a 1, or nothing."""

    name = "tick"
    keys = ()
    is_amount, may_be_empty, in_plots = False, True, True
    column_note = "1 where it was ticked"
    answers = (("1", "ticked"),)

    def size(self, table: TomlTable) -> Size:
        return 1, 1, 1


STUDY = """\
key = "gate-walk"
title = "Gate walk"
sites = "sites.csv"

[season]
first = 2026-04-01
last = 2026-09-30

[[header]]
name = "site"
label = "Site number"
kind = "site"
boxes = 4

[[header]]
name = "day"
label = "Visit date"
kind = "date"

[[header]]
name = "gate"
label = "Gate code"
kind = "pair_code"

[[header]]
name = "rain"
label = "Rain?"
kind = "tick"

[[header]]
name = "wind"
label = "Windy?"
kind = "tick"

[[plots]]
name = "lane"
label = "Lane"

[[counts]]
name = "snails"
label = "Snails"
highest = 99

[[counts]]
name = "slime"
label = "Slime seen"
kind = "tick"
"""


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Study]:
    for kind in (PairCode(), Tick()):
        add_kind(kind)
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "sites.csv").write_text("number,label\n2043,Mill\n1029,Wall\n", encoding="utf-8")
    yield read_study(tmp_path)
    for name in ("pair_code", "tick"):
        del KINDS[name]


def photographed(study: Study, path: Path, said: dict[str, str]) -> PhotoResult:
    """The sheet of the Mill with these digits drawn into its boxes, as it is read."""
    book = LayoutBook(study)
    page = book.layout("2043").pages[0]
    paper = cv2.cvtColor(book.template(page, SCALE), cv2.COLOR_GRAY2BGR)
    for cell in page.cells:
        digits = said.get(f"{cell.field}.{cell.part}" if cell.part else cell.field, "")
        first = min(c.index for c in page.cells if (c.field, c.part) == (cell.field, cell.part))
        digit = digits[cell.index - first : cell.index - first + 1]
        x, y, _, height = cell.box_mm
        for stroke in model_digit(digit, x + 1.8, y + 1.7, height - 3.4, 0.5) if digit else ():
            points = np.array(stroke.points)
            for at in range(0, len(points) - 1, 3):
                curve = np.rint(BERNSTEIN @ points[at : at + 4] * SCALE).astype(np.int32)
                cv2.polylines(paper, [curve], False, (90, 30, 20), 5, cv2.LINE_AA)
    table = cv2.copyMakeBorder(paper, 90, 90, 90, 90, cv2.BORDER_CONSTANT, value=(120, 140, 150))
    cv2.imwrite(str(path), table)
    reader = photo_reading.default_reader()
    return photo_reading.read_original(path, study, book, TODAY, reader)


WRITTEN = {"day.day": "20", "day.month": "05", "day.year": "26", "lane.snails": "12"}


def test_a_kind_of_ones_own_goes_the_whole_way(study: Study, tmp_path: Path, sitting) -> None:  # type: ignore[no-untyped-def]
    gate = study.spec("gate")
    assert gate is not None
    [drawn] = draw_sheet(study, "2043")
    boxes = [cell.field for cell in drawn.page.cells]
    assert (boxes.count("gate"), boxes.count("rain")) == (2, 1)
    assert "code" in [mark.text for mark in drawn.marks if isinstance(mark, Text)]

    ticked = WRITTEN | {"rain": "1", "lane.slime": "1"}
    good = photographed(study, tmp_path / "a.png", ticked | {"gate": "09"})
    odd = photographed(study, tmp_path / "b.png", WRITTEN | {"day.day": "21", "gate": "37"})
    read, doubted = (
        {field.reading.field: field.reading for field in result.pages[0].fields}
        for result in (good, odd)
    )
    said = {name: (field.value, field.status) for name, field in read.items()}
    assert said["gate"] == ("09", "accepted")
    assert said["rain"] == said["lane.slime"] == ("1", "accepted")
    assert said["wind"] == (None, "empty")
    assert {a.field for a in drawn.page.areas if a.kind == "tally"} == {"lane.snails"}
    assert (doubted["gate"].value, doubted["gate"].status) == ("37", "flagged")
    assert words(doubted["gate"].reasons) == "37 is none of the values expected here"

    with open_record(study) as record:
        for name, result in (("a", good), ("b", odd)):
            made_up.read_in(record, made_up.take_in(record, name), result.pages)
        [waits] = decided.pending(record)
        shown = face(FieldCard(waits, gate), "", Around(study))
        assert (shown["asks"], shown["listed"]) == ("Code on the gate", False)
        own = type(sitting)(study, tmp_path)
        _, source = own.run([FieldCard(waits, gate)], ["9x", "28", "-", "9"])
        assert "two digits the code; they add to nine" in " ".join(own.screen.split())
        assert "type the number in digits" in own.screen.lower()
        assert "28 is none of the values expected here" in own.screen
        assert source.kept == [("gate", Value("09"), False)]
        decided.decide(record, waits.reading_id, Value("9"), by="Kim")
        facts = facts_of(record)
        asked = open_items(study, facts, status_of(study, facts, TODAY))
        with StudyRecord(study, record) as handed_out:
            rows, counts = handed_out.rows(), handed_out.counts()
    assert not [item for item in asked if item.kind == "empty"], "an empty tick is an answer"
    assert (str(rows["gate"].dtype), list(rows["gate"])) == ("string", ["09", "09"])
    assert (str(rows["rain"].dtype), list(rows["rain"].fillna(0))) == ("Int64", [1, 0])
    slime = counts[counts["count"] == "slime"]
    assert list(slime["value"].fillna(0)) == [1, 0]
    lines = {entry.column: entry for entry in entries(study)}
    assert (lines["gate"].type, lines["rain"].type) == ("text", "integer")
    assert lines["gate"].meaning == "Gate code; two digits that add to nine"


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('[effort]\nfield = "gate"\nunit = "min"', "“gate” is no count or number"),
        ('[[sums]]\ntotal = "gate"\nparts = ["snails"]', "“gate” is no field"),
    ],
)
def test_what_is_no_amount_is_not_added_up_and_measures_no_effort(
    study: Study, more: str, told: str
) -> None:
    with pytest.raises(StudyError) as caught:
        parse_study(f"{STUDY}\n{more}\n".encode(), study.folder, study.sites)
    assert any(told in str(mistake) for mistake in caught.value.mistakes), caught.value.mistakes


def test_the_study_file_names_the_kinds_there_are(study: Study) -> None:
    with pytest.raises(StudyError) as caught:
        parse_study(STUDY.replace('"tick"', '"tik"').encode(), study.folder, study.sites)
    assert "“number”, “pair_code”, “tick” – did you mean “tick”?" in str(caught.value.mistakes[0])
