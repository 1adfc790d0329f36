"""The queue of cards: whatever the order of photos and answers, the rows are the same and true."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import stand_in
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.answers.questions import (
    AlikeCard,
    Card,
    FieldCard,
    OutsideCard,
    PhotosCard,
    SumCard,
)
from sheet_reader.answers.replies import (
    Reply,
    alike_reply,
    field_reply,
    other_place,
    read_on,
    same_sheet,
    sum_reply,
)
from sheet_reader.reasons import Code, Reasons, because
from sheet_reader.record.history.answers import (
    Accept,
    Answer,
    FieldAnswer,
    Illegible,
    LeftEmpty,
    Value,
)
from sheet_reader.record.history.rows import visit_rows
from sheet_reader.record.history.states import (
    Decision,
    PageObservation,
    StoredReading,
    Thresholds,
    VisitState,
)
from sheet_reader.record.history.visits import visits_of
from sheet_reader.review.clashes import own_value, surely
from sheet_reader.review.queue import cards_of
from sheet_reader.study.study import SumRule

SUM = SumRule("sun.snails", ("sun.eggs", "shade.snails"))
STUDY = replace(stand_in.a_study(Path("ponds")), sums=(SUM,))
COUNTS = ("shade.snails", "shade.eggs", "sun.snails", "sun.eggs")
DAYS = ("2026-05-20", "2026-05-27")
SLOW = [HealthCheck.too_slow]
UNHURRIED = settings(deadline=None, max_examples=examples(60), suppress_health_check=SLOW)
DOUBT = because(Code.UNCERTAIN)
OUTSIDE = because(Code.HIDDEN, why="outside")
TRUTHS = (
    {"shade.snails": "7", "shade.eggs": "0", "sun.snails": "10", "sun.eggs": "3"},
    {"shade.snails": "21", "shade.eggs": "14", "sun.snails": "40", "sun.eggs": "18"},
)
"""What is written on two sheets. The sum of the second is wrong as written."""


@dataclass(frozen=True)
class Photo:
    """A photo of one of the sheets: how each of its counts is read, and whether the date is read
    as that of the other sheet.
    """

    sheet: int
    read: tuple[str, ...]
    wrong_date: bool
    blur: float


def photos_of(sheet: int) -> st.SearchStrategy[Photo]:
    """At least two counts are sure, so that another sheet can be told from it."""
    ways = st.sampled_from(["sure", "sure", "doubtful", "misread", "struck", "outside"])
    rest = st.tuples(ways, ways)
    reads = rest.flatmap(lambda two: st.permutations(["sure", "sure", *two]).map(tuple))
    wrong = st.booleans() if sheet else st.just(False)
    return st.builds(Photo, st.just(sheet), reads, wrong, st.sampled_from([0.1, 0.2]))


PHOTOS = st.tuples(
    st.lists(photos_of(0), min_size=1, max_size=2), st.lists(photos_of(1), min_size=1, max_size=2)
).map(lambda two: [*two[0], *two[1]])


@dataclass
class Book:
    """A record in memory; numbers are given in the order in which things come in."""

    pages: list[PageObservation] = field(default_factory=list)
    reads: list[StoredReading] = field(default_factory=list)
    decisions: dict[tuple[int, str], Decision] = field(default_factory=dict)
    truth: dict[int, int] = field(default_factory=dict)
    count: int = 0

    def photo(self, photo: Photo) -> None:
        """A photo comes in."""
        number = len(self.pages) + 1
        self.truth[number] = photo.sheet
        self.pages.append(
            PageObservation(number, number, f"p{number}", 0, "v", "BLANK", 1, None, None, 8,
                            photo.blur, 0, "", "m")
        )  # fmt: skip
        day = DAYS[0] if photo.wrong_date else DAYS[photo.sheet]
        self._read(number, "site", "1004", "accepted", ())
        self._read(number, "date", day, "accepted", ())
        for name, way in zip(COUNTS, photo.read, strict=True):
            right = TRUTHS[photo.sheet][name]
            if way == "sure":
                self._read(number, name, right, "accepted", ())
            elif way in ("doubtful", "misread"):
                value = right if way == "doubtful" else str(int(right) + 1)
                self._read(number, name, value, "flagged", (DOUBT,))
            else:
                self._read(number, name, None, "flagged", (OUTSIDE if way == "outside" else DOUBT,))

    def _read(
        self, number: int, name: str, value: str | None, status: str, reasons: Reasons
    ) -> None:
        self.reads.append(
            StoredReading(
                name, value, 0.9, status, reasons,  # type: ignore[arg-type]
                reading_id=len(self.reads) + 1, page_instance_id=number,
            )
        )  # fmt: skip

    def keep(self, reply: Reply) -> None:
        """Keep an answer as the record does."""
        for one in reply.fields:
            self._decide(one)

    def _decide(self, one: FieldAnswer) -> None:
        self.count += 1
        read = next(r for r in self.reads if r.reading_id == one.reading_id)
        kind, value = _kept(one.answer, read.value)
        told = frozenset(r for r in one.rivals if r.value != value and kind != "unreadable")
        self.decisions[read.page_instance_id, read.field] = Decision(
            self.count, read.page_instance_id, read.field, read.reading_id, kind, value, "a", False,
            told, one.told,
        )  # fmt: skip

    def visits(self) -> list[VisitState]:
        """What holds now."""
        decided = list(self.decisions.values())
        return visits_of(STUDY, self.pages, self.reads, decided, Thresholds())

    def cards(self) -> list[Card]:
        """What is asked now."""
        return cards_of(STUDY, self.visits())

    def rows(self) -> dict[str, dict[str, str | None]]:
        """The counts of each visit by its date."""
        rows = visit_rows(STUDY, self.visits())
        return {row.visit_date: {name: row.values.get(name) for name in COUNTS} for row in rows}


def _kept(answer: Answer, read: str | None) -> tuple[str, str | None]:
    if isinstance(answer, Accept):
        return ("accept", read) if read is not None else ("empty", None)
    if isinstance(answer, Value):
        return ("accept" if answer.text == read else "value"), answer.text
    return ("empty" if isinstance(answer, LeftEmpty) else "unreadable"), None


def truthful(book: Book, card: Card) -> Reply:
    """What somebody answers who has the sheets before her."""
    if isinstance(card, OutsideCard):
        return read_on(card, ask_photo=True)
    photos = card if isinstance(card, PhotosCard) else None
    if isinstance(card, FieldCard):
        photos = card.photos
    if photos is not None:
        strange = [s for s in photos.sheets if wrongly_dated(book, s)]
        if strange:
            return other_place(strange[0], "date", DAYS[book.truth[strange[0].page_instance_id]])
    if isinstance(card, PhotosCard):
        return same_sheet(card)
    truth = TRUTHS[book.truth[card.place.page_instance_id]]
    if isinstance(card, SumCard):
        wrong = {
            place: Value(truth[stated.spec.name])
            for place, stated in enumerate(card.fields)
            if stated.value != truth[stated.spec.name]
        }
        return sum_reply(card, wrong)
    if isinstance(card, AlikeCard):
        return alike_reply(card, {n: Value(truth[s.spec.name]) for n, s in enumerate(card.fields)})
    return field_reply(card, Value(truth[card.spec.name]))


def wrongly_dated(book: Book, sheet) -> bool:  # type: ignore[no-untyped-def]
    return sheet.date.value != DAYS[book.truth[sheet.page_instance_id]]


def expected(photos: list[Photo]) -> dict[str, dict[str, str | None]]:
    """The true rows: a count that lies outside every picture of its sheet is not recorded. A sheet
    under a wrong date that no other contradicts stays there.
    """
    found: dict[str, dict[str, str | None]] = {}
    for sheet in (0, 1):
        own = [photo for photo in photos if photo.sheet == sheet]
        row: dict[str, str | None] = {}
        for place, name in enumerate(COUNTS):
            seen = any(photo.read[place] != "outside" for photo in own)
            row[name] = TRUTHS[sheet][name] if seen else None
        found[DAYS[sheet]] = row
    return found


@UNHURRIED
@given(PHOTOS, st.data())
def test_rows_are_true_and_the_same_in_any_order_of_photos_and_answers(
    photos: list[Photo], data: st.DataObject
) -> None:
    """Photos come while somebody answers one card or another. No row mixes two sheets."""
    book, coming = Book(), list(data.draw(st.permutations(photos)))
    answers = 0
    while coming or book.cards():
        cards = book.cards()
        if coming and (not cards or data.draw(st.booleans())):
            book.photo(coming.pop(0))
            continue
        book.keep(truthful(book, data.draw(st.sampled_from(cards))))
        answers += 1
        assert answers <= 8 * len(photos), "questions come to an end"
    assert book.rows() == expected(photos)


def test_photos_that_surely_differ_in_much_have_no_usual_answer() -> None:
    """Two sheets of one date share nothing; one sheet twice, a digit misread, most."""
    sure = ("sure",) * 4
    two, one = Book(), Book()
    for photo in (Photo(0, sure, False, 0.1), Photo(1, sure, True, 0.1)):
        two.photo(photo)
    [card] = two.cards()
    assert isinstance(card, PhotosCard)
    assert card.unlike
    assert (card.differing, card.compared) == (4, 4)
    for _ in range(2):
        one.photo(Photo(0, sure, False, 0.1))
    last = next(n for n, r in enumerate(one.reads) if r.field == "shade.eggs")
    one.reads[last] = replace(one.reads[last], value="8")
    [field_card] = one.cards()
    assert isinstance(field_card, FieldCard)
    assert field_card.photos is not None
    assert (field_card.photos.unlike, field_card.photos.compared) == (False, 4)


ANY_ANSWER = st.sampled_from([Value("3"), Value("8"), LeftEmpty(), Illegible()])


def some_answer(card: Card, data: st.DataObject) -> Reply:
    """Any answer that a card takes, right or wrong."""
    if isinstance(card, OutsideCard):
        return read_on(card, ask_photo=data.draw(st.booleans()))
    if isinstance(card, PhotosCard):
        number = data.draw(st.integers(0, len(card.sheets) - 1))
        if data.draw(st.booleans()):
            return same_sheet(card, number)
        return other_place(card.sheets[number], "date", data.draw(st.sampled_from(DAYS)))
    if isinstance(card, SumCard):
        places = st.integers(0, len(card.fields) - 1)
        return sum_reply(card, data.draw(st.dictionaries(places, ANY_ANSWER, max_size=2)))
    if isinstance(card, AlikeCard):
        places = st.integers(0, len(card.fields) - 1)
        return alike_reply(card, data.draw(st.dictionaries(places, ANY_ANSWER, max_size=2)))
    return field_reply(card, data.draw(ANY_ANSWER))


@UNHURRIED
@given(PHOTOS, st.data())
def test_no_sure_value_vanishes_without_a_decision(
    photos: list[Photo], data: st.DataObject
) -> None:
    """Whatever is answered, in whatever order: what a photo surely says is in the row, asked about,
    or was decided against by somebody who was told.
    """
    book, coming = Book(), list(photos)
    for _ in range(12):
        cards = book.cards()
        if coming and (not cards or data.draw(st.booleans())):
            book.photo(coming.pop(0))
        elif cards:
            book.keep(some_answer(data.draw(st.sampled_from(cards)), data))
        for visit in book.visits():
            check(visit)


def check(visit: VisitState) -> None:
    """Each sure value serves, is asked about, or was overruled."""
    for name in COUNTS:
        here = [e for e in visit.fields if e.reading.field == name]
        sure = {e.observation.page_instance_id: own_value(e) for e in here if surely(e)}
        (serving,) = [e for e in here if e.is_current] or [None]
        if not sure or serving is None:
            continue
        if serving.needs_review or serving.status == "doubted":
            assert any(e.needs_review for e in here)
            continue
        assert serving.status != "unreadable"
        overruled = {
            rival.page_instance_id
            for e in here if e.decision for rival in e.decision.overruled
        }  # fmt: skip
        for page, value in sure.items():
            assert value == serving.value or page in overruled


UNCLEAR = ("sun.eggs", "shade.eggs", "shade.snails")


def alike(*changes: tuple[str, float, Reasons]) -> list[Card]:
    """The cards of one sheet on which the UNCLEAR counts are doubtful, but for some changes."""
    book, known = Book(), {name: (sure, why) for name, sure, why in changes}
    book.photo(Photo(0, ("sure",) * 4, False, 0.1))
    for at, read in enumerate(book.reads):
        if read.field in UNCLEAR or read.field in known:
            sure, why = known.get(read.field, (0.9, (DOUBT,)))
            book.reads[at] = replace(read, status="flagged", confidence=sure, reasons=why)
    return book.cards()


def test_counts_of_one_sheet_that_are_only_unclear_are_on_one_card() -> None:
    [card] = alike()
    assert isinstance(card, AlikeCard)
    printed = [spec.name for spec in STUDY.fields if spec.name in UNCLEAR]
    assert [stated.spec.name for stated in card.fields] == printed


def test_what_is_doubtful_for_another_cause_or_typed_blind_is_asked_by_itself() -> None:
    other = because(Code.HISTORY_DIFFERS, value="3")
    for change in (
        ("sun.eggs", 0.9, (other, DOUBT)),
        ("sun.eggs", 0.5, (DOUBT,)),
        ("sun.snails", 0.9, (DOUBT,)),
    ):
        cards = alike(change)
        assert len(cards) == 2, change
        alone = [card for card in cards if isinstance(card, FieldCard)]
        assert [card.spec.name for card in alone] == [change[0]]
