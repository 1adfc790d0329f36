"""Review and audit on a real record: several sheets in one file, and questions that close."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import decided
import numpy as np
import pytest
from PIL import Image
from rich.console import Console

from sheet_reader.record.history import deciding
from sheet_reader.record.history.rows import accepted_sample

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import stand_in
from stand_in import says

from sheet_reader.answers.questions import OutsideCard, PhotosCard
from sheet_reader.answers.replies import same_sheet
from sheet_reader.errors import UsageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.record.history import mending
from sheet_reader.record.history.photo_fates import photo_fates
from sheet_reader.record.store.store import Record
from sheet_reader.results.facts import facts_of
from sheet_reader.results.frames import READING_COLUMNS, tables_of
from sheet_reader.review.overlay import write_overlays
from sheet_reader.review.queue import cards_of
from sheet_reader.review.session import Outcome, Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal
from sheet_reader.study.study import Study

SHEETS = 12
FIELDS = ("site", "date", "helpers", "shade.snails", "shade.eggs", "sun.snails", "sun.eggs")


def ink(sheet: int, field: str) -> int:
    """The grey value of the boxes of a field of a sheet; no two are the same."""
    return 10 + 8 * sheet + FIELDS.index(field)


def paper(sheet: int) -> int:
    return 120 + 10 * sheet


def read_pages(
    picture: OpenedPicture, study: Study, _book: object, _today: date, pages: Any
) -> list[Any]:
    """Reads sheets by the number of the picture; ``pages`` lists the sheets of each picture."""
    found = []
    for sheet, said in pages[picture.frame]:
        left = 500.0 * len(found)
        ((view, reading),) = stand_in._read_one(said, picture, study, left)
        boxes = tuple(
            replace(b, crop=np.full((64, 64), ink(sheet, b.cell.field), np.uint8))
            for b in view.boxes
        )
        found.append((replace(view, boxes=boxes), reading))
    return found


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = tmp_path / "ponds"
    (folder / "inbox").mkdir(parents=True)
    return stand_in.a_study(folder)


def take(study: Study, pages: list[list[tuple[int, Any]]], name: str) -> None:
    """A file with so many pictures, each with its sheets."""
    shades = [Image.fromarray(np.full((200, 1600), paper(page[0][0]), np.uint8)) for page in pages]
    path = study.folder / "inbox" / name
    more = {"save_all": True, "append_images": shades[1:], "resolution": 300}
    shades[0].save(path, **(more if name.endswith(".pdf") else {}))
    read_batch(study, reader=partial(read_pages, pages=pages), jobs=0)


def sheets(waiting: dict[int, str]) -> list[tuple[int, Any]]:
    """Twelve blank sheets of one site, a week apart; ``waiting`` names a flagged field of some."""
    found = []
    for sheet in range(SHEETS):
        day = date(2026, 5, 1 + 2 * sheet).isoformat()
        flagged = {waiting[sheet]: "7"} if sheet in waiting else {}
        if waiting.get(sheet) in ("site", "date"):
            flagged = {waiting[sheet]: "1004" if waiting[sheet] == "site" else day}
        found.append((sheet, says({"date": day}, flagged=flagged)))
    return found


WAITING = {1: "site", 4: "sun.eggs", 6: "date", 10: "helpers", 11: "shade.snails"}
LAYOUTS: dict[str, Callable[[list[Any]], list[list[Any]]]] = {
    "twelve pages.pdf": lambda found: [[one] for one in found],
    "three sheets each.pdf": lambda found: [found[n : n + 3] for n in range(0, SHEETS, 3)],
    "twelve on a table.png": lambda found: [found],
}
EACH = {"twelve pages.pdf": 1, "three sheets each.pdf": 3, "twelve on a table.png": SHEETS}
"""How many sheets there are in each picture."""


@pytest.fixture(params=LAYOUTS)
def crowd(request: pytest.FixtureRequest, study: Study) -> Iterator[Record]:
    take(study, LAYOUTS[request.param](sheets(WAITING)), request.param)
    with Record.open(study) as record:
        yield record


def sheet_of(record: Record) -> dict[int, int]:
    """The number of the sheet by its page instance: they were noted in the order of places."""
    numbers = sorted({row.page_instance_id for row in record.readings()})
    return {instance: sheet for sheet, instance in enumerate(numbers)}


def test_all_5_questions_show_their_own_boxes(crowd: Record) -> None:
    source, sheet = RecordQuestions(crowd), sheet_of(crowd)
    cards = source.cards()
    asked = {sheet[c.place.page_instance_id]: c.place.field for c in cards}
    assert asked == WAITING
    for card in cards:
        number = sheet[card.place.page_instance_id]
        assert (source.field(card.place.reading_id).boxes == ink(number, card.place.field)).all()
    for row in crowd.readings():
        boxes = field_images(crowd, row.reading_id).boxes
        assert (boxes == ink(sheet[row.page_instance_id], row.field)).all(), row.field


@pytest.mark.parametrize("name", LAYOUTS)
def test_all_80_audit_pictures_show_their_own_boxes(study: Study, name: str) -> None:
    take(study, LAYOUTS[name](sheets({})), name)
    with Record.open(study) as record:
        drawn = accepted_sample(record.state(), 80, np.random.default_rng(1))
        source = RecordQuestions(record, drawn)
        sheet, right = sheet_of(record), 0
        for card in source.cards():
            own = ink(sheet[card.place.page_instance_id], card.place.field)
            right += int((source.field(card.place.reading_id).boxes == own).all())
    assert right == 80


def test_the_whole_photo_opens_at_the_page_of_the_question(crowd: Record, tmp_path: Path) -> None:
    source, sheet = RecordQuestions(crowd), sheet_of(crowd)
    several = EACH[crowd.photos()[0].name]
    for card in source.cards():
        path = source.photo([card.place], tmp_path / "looked_at")
        picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        assert picture is not None
        first = sheet[card.place.page_instance_id] // several * several
        assert abs(int(np.median(picture[:-44])) - paper(first)) <= 2


def test_overlays_of_a_pdf_are_one_for_each_page(study: Study, tmp_path: Path) -> None:
    take(study, [[one] for one in sheets({})], "scan.pdf")
    with Record.open(study) as record:
        assert len(write_overlays(record, 1, tmp_path / "all")) == SHEETS


def test_readings_tell_the_page_within_the_pdf(crowd: Record) -> None:
    readings = tables_of(crowd.study, facts_of(crowd)).readings
    assert tuple(readings.columns) == tuple(READING_COLUMNS)
    rows = readings.to_dict("records")
    each = EACH[crowd.photos()[0].name]
    told = [int(row["pdf_page"]) for row in rows]
    assert told == [1 + sheet // each for sheet in range(SHEETS) for _ in FIELDS]
    assert [row["field"] for row in rows] == SHEETS * [s.name for s in crowd.study.fields]


@dataclass
class Sitting:
    """A review on a record by somebody who types these lines."""

    record: Record
    read_line: Callable[[], str]
    screen: str = ""

    def hold(self, source: RecordQuestions | None = None, *, audit: bool = False) -> Outcome:
        out = io.StringIO()
        console = Console(file=out, width=200, markup=False, highlight=False)
        terminal = Terminal(
            source or RecordQuestions(self.record), console, self.read_line, lambda _path: 0,
            date(2026, 6, 1), "plain", self.record.folder / "looked_at",
        )  # fmt: skip
        outcome = Review(terminal, "Ada", audit).run()
        self.screen = out.getvalue()
        return outcome


def in_turn(*lines: str) -> Callable[[], str]:
    left = list(lines)

    def read_line() -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    return read_line


@pytest.mark.parametrize("name", ["scan.pdf", "table.png"])
def test_a_site_settled_on_one_sheet_does_not_show_on_another(study: Study, name: str) -> None:
    said = [
        says(flagged={"site": "1004", "date": "2026-05-20", "sun.eggs": "3"}),
        says(flagged={"site": "1010", "date": "2026-05-22", "sun.eggs": "4"}),
        says({"site": "1022", "date": "2026-05-24"}, flagged={"sun.eggs": "5"}),
    ]
    numbered = list(enumerate(said))
    take(study, [[one] for one in numbered] if name == "scan.pdf" else [numbered], name)
    with Record.open(study) as record:
        sitting = Sitting(record, in_turn("1004", "20 05 26", "", "1010", "22 05 26", "", ""))
        outcome = sitting.hold()
        assert (outcome.answered, outcome.waiting) == (7, 0)
        eggs = {(v.site, v.visit_date): v.values["sun.eggs"] for v in record.visits()}
    assert eggs == {
        ("1004", "2026-05-20"): "3", ("1010", "2026-05-22"): "4", ("1022", "2026-05-24"): "5",
    }  # fmt: skip
    heads = [line for line in sitting.screen.splitlines() if " · visit " in line]
    waits = [("site not settled" in head, "visit not settled" in head) for head in heads]
    one_sheet = [(True, True), (False, True), (False, False)]
    assert waits == [*one_sheet, *one_sheet, (False, False)]


HIDDEN = {"sun.eggs": [{"code": "hidden", "why": "outside"}]}


def cropped_then_whole(study: Study) -> None:
    cropped = says(flagged={"sun.eggs": None, "date": "2026-05-20"}, reasons=HIDDEN)
    take(study, [[(0, cropped)]], "cropped.png")
    take(study, [[(1, says({"sun.eggs": "3"}))]], "whole.png")


def test_a_question_that_an_answer_closes_is_not_put(study: Study) -> None:
    """Once the date joins both photos, nobody is asked about the field outside the first."""
    cropped_then_whole(study)
    with Record.open(study) as record:
        sitting = Sitting(record, in_turn("20 05 26", "x", "x"))
        outcome = sitting.hold()
        assert (outcome.answered, outcome.waiting) == (1, 0)
        assert "1 of 2" in sitting.screen
        assert "sun.eggs" not in sitting.screen
        (visit,) = record.visits()
        assert (visit.values["sun.eggs"], visit.waiting) == ("3", 0)


def test_cannot_be_read_in_answer_to_a_stale_question_blanks_nothing(study: Study) -> None:
    """The same where the question was put before the other photo was there."""
    cropped_then_whole(study)
    with Record.open(study) as record:
        source = RecordQuestions(record)
        (stale,) = [card for card in source.cards() if isinstance(card, OutsideCard)]
        Sitting(record, in_turn("20 05 26")).hold()
        review = Sitting(record, in_turn("x"))
        only = OneQuestion(source, stale)
        review.hold(only)
        (visit,) = record.visits()
        assert (visit.values["sun.eggs"], visit.statuses["sun.eggs"]) == ("3", "accepted")
        assert visit.waiting == 0


class OneQuestion(RecordQuestions):
    """A source that puts a question of another time."""

    def __init__(self, source: RecordQuestions, question: Any) -> None:
        super().__init__(source.record)
        self.question = question

    def cards(self) -> list[Any]:
        return [self.question]


def test_the_question_that_a_joining_photo_raises_is_put_in_the_same_sitting(study: Study) -> None:
    take(study, [[(0, says(flagged={"sun.snails": "27"}))]], "first.png")
    take(study, [[(1, says({"sun.snails": "57"}, flagged={"date": "2026-05-20"}))]], "second.png")
    with Record.open(study) as record:
        sitting = Sitting(record, in_turn("21", "20 05 26", "21"))
        outcome = sitting.hold()
        assert (outcome.answered, outcome.waiting) == (3, 0)
        assert (
            "21 was decided from photo-0001, photo-0002 reads 57: which is right?" in sitting.screen
        )
        assert decided.pending(record) == []
        (visit,) = record.visits()
        assert visit.values["sun.snails"] == "21"
        again = Sitting(record, in_turn())
        assert again.hold().waiting == 0


def test_an_audit_of_many_sheets_corrects_the_right_one(study: Study) -> None:
    """Whoever types what the picture shows finds nothing wrong; a mistake is put right in place."""
    take(study, [[one] for one in sheets({})], "scan.pdf")
    with Record.open(study) as record:
        chosen = [
            w for w in accepted_sample(record.state(), 1000, np.random.default_rng(2))
            if w.field == "sun.eggs" and w.frame == SHEETS - 1
        ]  # fmt: skip
        source = RecordQuestions(record, chosen)
        outcome = Sitting(record, in_turn("8", "")).hold(source, audit=True)
        assert (outcome.answered, outcome.corrected) == (1, 1)
        eggs = [v.values["sun.eggs"] for v in sorted(record.visits(), key=lambda v: v.visit_date)]
    assert eggs == ["3"] * (SHEETS - 1) + ["8"]


def test_a_photo_that_was_replaced_says_so_everywhere_and_comes_back(
    study: Study, tmp_path: Path
) -> None:
    other = {"shade.snails": "70", "shade.eggs": "5", "sun.snails": "99", "sun.eggs": "9"}
    take(study, [[(1, says())]], "a.tif")
    take(study, [[(2, says(other))]], "b.tif")
    with Record.open(study) as record:
        row = record.visits()[0]
        assert (row.values["sun.snails"], row.statuses["sun.snails"]) == ("12", "doubted")
        [card] = cards_of(study, record.state())
        assert isinstance(card, PhotosCard)
        assert card.unlike
        second = next(n for n, s in enumerate(card.sheets) if s.place.photo_id == 2)
        deciding.keep(record, same_sheet(card, second).fields, "Ada")
        assert record.visits()[0].values["sun.snails"] == "99"
        first, serving = photo_fates(record)
        assert (first.fate, first.sheets[0].became.words) == ("replaced", "replaced by photo-0002")
        assert serving.fate == "read"
        told = [(e.what, e.photo, e.by) for e in record.history("1004", "2026-05-20")]
        assert told[0] == ("replaced by photo-0002", "photo-0001", "Ada")
        plain, marked = (
            cv2.imread(str(write_overlays(record, n, tmp_path / str(n))[0])) for n in (2, 1)
        )
        assert marked.shape[0] > plain.shape[0]
        assert mending.take_back(record, 1, by="Bo", reason="another sheet")
        assert cards_of(study, record.state()) == [card]
        assert {f.fate for f in photo_fates(record)} == {"read"}
        with pytest.raises(UsageError, match="neither set aside nor replaced"):
            mending.take_back(record, 1, by="Bo")


def test_a_second_photo_that_says_the_same_is_called_so(study: Study) -> None:
    take(study, [[(1, says())]], "a.tif")
    take(study, [[(2, says())]], "b.tif")
    take(study, [[(3, says(flagged={"date": "2026-05-27"}))]], "c.tif")
    with Record.open(study) as record:
        found = [(f.fate, f.sheets[0].became.words) for f in photo_fates(record)]
    assert found == [
        ("read", "read"), ("repeated", "same as photo-0001"),
        ("without a place", "without a place"),
    ]  # fmt: skip
