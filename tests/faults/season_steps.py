"""The steps of a season, at random: edits, sheets, answers, each kept in the model as well."""

from __future__ import annotations

import random
from datetime import date, timedelta
from pathlib import Path

import decided
import edited_study
import made_up
from click.testing import CliRunner
from season_checks import Checks, Result
from season_meaning import Meaning, Thing, words_of
from season_model import Given, Model, Said, Sheet, holds
from sqlalchemy import select

from sheet_reader.answers.questions import SumCard
from sheet_reader.answers.replies import sum_reply
from sheet_reader.cli.main import cli
from sheet_reader.errors import StudyError, UnsaidError, UsageError
from sheet_reader.reading.opening import open_record, thresholds_for
from sheet_reader.record.history import deciding
from sheet_reader.record.history.answers import Accept, Answer, Illegible, LeftEmpty, Value
from sheet_reader.record.history.meaning import MeaningQuestion, Term
from sheet_reader.record.history.meaning_answers import Said as SaidOfWords
from sheet_reader.record.history.meaning_answers import add_answers, open_questions, take_back
from sheet_reader.record.history.states import FieldState
from sheet_reader.record.store import schema
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.review.queue import cards_of
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import FieldSpec, Study
from sheet_reader.wording import neutral_name

STEPS = 14
FIRST_DAY = date(2026, 5, 1)
COMMANDS = ("export", "review", "verify", "audit")


class Season(Checks):
    """One study, its record and the model of it."""

    def __init__(self, folder: Path, chance: random.Random, result: Result) -> None:
        self.folder = folder
        self.chance = chance
        self.result = result
        self.model = Model()
        self.meaning = Meaning()
        self.tasks: dict[str, Task] = {}
        self.waiting: list[Task] = []
        self.days = 0
        self.original = self.draft = edited_study.first_draft(chance)
        edited_study.write(self.draft, folder)
        self.study = read_study(folder)
        self.key = self.study.key
        self.record = open_record(self.study)
        self.log: list[str] = []

    def run(self) -> None:
        """Some sheets, then steps in any order, all compared after each."""
        for _ in range(self.chance.randint(1, 3)):
            self.new_photo()
        self.compare()
        actions = (self.edit, self.edit, self.edit, self.answer, self.answer, self.new_photo,
                   self.confirm_sum, self.read_again, self.take_back, self.leave_unread,
                   self.read_on, self.say_of_gone, self.take_words_back)  # fmt: skip
        for _ in range(STEPS):
            action = self.chance.choice(actions)
            self.log.append(action.__name__)
            action()
            self.result.steps[self.log[-1]] += 1
            self.compare()
        self.command(self.chance.choice(COMMANDS))

    # --- steps

    def edit(self) -> None:
        name, draft = edited_study.edited(self.draft, self.original, self.chance)
        self.log[-1] = f"edit {name}"
        edited_study.write(draft, self.folder)
        try:
            study = read_study(self.folder)
        except StudyError as error:
            self.log[-1] = "edit refused by the study file's rules"
            self.one_line(*error.lines())
            edited_study.write(self.draft, self.folder)
            return
        refused = self.model.refused(study, self.key)
        if refused != "no":
            self.log[-1] += ", refused" if refused == "must" else ", not to be told"
            if refused == "must":
                self.expect_refusal(study)
            edited_study.write(self.draft, self.folder)
            return
        if not self.model.sheets:
            self.key = study.key
        before = self.record
        limits = thresholds_for(study.allowed_error)
        self.record = Record(study, before.engine, before.where, limits)
        unsaid = self.meaning.unsaid(draft)
        try:
            Record.open(study).close()
        except UnsaidError as error:
            self.log[-1] += ", asked"
            self.one_line(str(error))
            if not unsaid:
                self.fault(f"asked about words that mean what they meant: {error}")
            if self.chance.random() < 0.2:
                self.expect_refusal(study)
            if not self.answer_words(draft):
                self.log[-1] += " and stopped"
                self.record = before
                edited_study.write(self.draft, self.folder)
                return
            Record.open(study).close()
        else:
            if unsaid:
                self.fault(f"not asked about {unsaid}")
        self.study, self.draft = study, draft

    def answer_words(self, draft: edited_study.Draft) -> bool:
        """A person says what changed words mean, or stops (False)."""
        for _ in range(30):
            asked = [q for q in self.open_words() if q.blocks]
            if not asked:
                if unsaid := self.meaning.unsaid(draft):
                    self.fault(f"nothing is asked about {unsaid}")
                return True
            if self.chance.random() < 0.1 or not self.say_words(self.some_meaning(asked)):
                return False
        self.fault("the questions about words do not end")
        return False

    def open_words(self) -> list[MeaningQuestion]:
        with self.record.reading() as connection:
            return open_questions(connection, self.record.study)

    def some_meaning(self, asked: list[MeaningQuestion]) -> list[SaidOfWords]:
        moved = [q for q in asked if q.moved and q.former.kind == asked[0].former.kind]
        if moved and self.chance.random() < 0.6:
            return [(q.former, q.candidates[-1], True) for q in moved]
        some = asked if self.chance.random() < 0.5 else asked[:1]
        same = self.chance.random() < 0.7
        return [(q.former, q.candidates[0], same) for q in some]

    def say_words(self, said: list[SaidOfWords]) -> bool:
        """Keep answers in the record and, as the person has seen them, in the model."""
        try:
            with self.record.writing() as connection:
                add_answers(connection, self.record.study, said, "Ada")
        except UsageError as error:
            self.one_line(str(error))
            return False
        for former, present, same in said:
            self.meaning.said[_thing(former), _thing(present)] = same
        return True

    def say_of_gone(self) -> None:
        """A name that is gone is one of those that are new, or nothing that is there."""
        asked = self.open_words()
        if asked:
            question = self.chance.choice(asked)
            former, candidate = question.former, self.chance.choice(question.candidates)
            if self.chance.random() < 0.8:
                self.say_words([(former, candidate, True)])
            else:
                self.say_words([(former, Term(former.kind, former.name, ""), False)])

    def take_words_back(self) -> None:
        """What was said about a name is taken back; what is open then is answered at once, or
        what was said is said again.
        """
        if not self.meaning.said:
            return
        name = self.chance.choice(list(self.meaning.said))[0][1]
        held = {pair: same for pair, same in self.meaning.said.items() if pair[0][1] == name}
        with self.record.writing() as connection:
            if len(take_back(connection, self.study, name, "Ada")) != len(held):
                self.fault(f"taking back what was said of {name} found another number of answers")
        for pair in held:
            del self.meaning.said[pair]
        if not self.answer_words(self.draft):
            missing = [(Term(*a), Term(*b), same) for (a, b), same in held.items()]
            if not self.say_words(missing) or not self.answer_words_somehow():
                self.fault("what was said can't be said again")

    def answer_words_somehow(self) -> bool:
        """All that is still open is the same in better words, or else another thing."""
        for same in (True, False):
            for question in [q for q in self.open_words() if q.blocks]:
                self.say_words([(question.former, question.candidates[0], same)])
        return not [q for q in self.open_words() if q.blocks]

    def expect_refusal(self, study: Study) -> None:
        try:
            Record.open(study).close()
        except UsageError as error:
            self.one_line(str(error))
        else:
            self.fault("the record was opened under a study file that must be refused")
        before = _files(self.folder / "results")
        done = CliRunner().invoke(cli, ["export", str(self.folder)])
        lines = [s for s in done.stderr.splitlines() if not s.startswith("note: ")]
        if done.exit_code != 2 or len(lines) != 1:
            self.fault(f"export under a refused study file: {done.exit_code}, {lines}")
        if _files(self.folder / "results") != before:
            self.fault("export under a refused study file wrote tables")

    def new_photo(self) -> None:
        """A photo of one or two sheets, read under the study file of now."""
        name = f"p{len(self.tasks) + len(self.waiting)}.png"
        self.read(made_up.take_in(self.record, name))

    def leave_unread(self) -> None:
        name = f"p{len(self.tasks) + len(self.waiting)}.png"
        self.waiting.append(made_up.take_in(self.record, name))
        self.model.unread = len(self.waiting)

    def read_on(self) -> None:
        while self.waiting:
            self.read(self.waiting.pop())
        self.model.unread = 0

    def read(self, task: Task) -> None:
        places = range(self.chance.randint(1, 2))
        printed = [self.chance.choice([BLANK, *self.draft["sites"]]) for _ in places]
        said = [self.sheet_says(sheet) for sheet in printed]
        pages = [
            made_up.page(self.study, what, sheet=sheet, place=place)
            for what, sheet, place in zip(said, printed, places, strict=True)
        ]
        called = neutral_name(task.photo_id)
        self.tasks[called] = made_up.read_in(self.record, task, pages)
        s = schema.page_instances.c
        with self.record.reading() as connection:
            ids = list(connection.scalars(select(s.id).where(s.photo_id == task.photo_id)))
        for number, sheet, place, what in zip(sorted(ids), printed, places, said, strict=True):
            names = {h.kind.name: h.name for h in self.study.header}
            seen = Sheet(called, number, sheet, place, {}, names)
            seen.read(what)
            self.model.sheets.append(seen)
            self.meaning.papers[number] = words_of(self.draft)

    def read_again(self) -> None:
        """A photo once more: a sheet is read as the study file now has it, now and then otherwise
        than before, or refused.
        """
        if not self.tasks:
            return
        name = self.chance.choice(list(self.tasks))
        seen = [s for s in self.model.sheets if s.photo == name]
        known = {spec.name for spec in self.study.fields}
        kept = [s for s in seen if set(s.said) <= known and self.chance.random() < 0.7]
        pages = []
        for sheet in kept:
            anew = self.judged({n: self.once_more(n, *what) for n, what in sheet.said.items()})
            pages.append(made_up.page(self.study, anew, sheet=sheet.printed, place=sheet.place))
            sheet.read(anew)
        self.tasks[name] = made_up.read_in(self.record, self.tasks[name], pages)

    def answer(self) -> None:
        pending = decided.pending(self.record)
        if not pending:
            return
        asked = self.chance.choice(pending)
        answer, given = self.some_answer(asked, self.sheet_of(asked.reading_id))
        try:
            decided.decide(self.record, asked.reading_id, answer, by="Ada")
        except UsageError as error:
            self.log[-1] = "answer refused"
            self.one_line(str(error))
            if given is not None:
                self.fault(f"a sound answer was refused: {error}")
            return
        if given is None:
            self.fault(f"{answer} was taken for {asked.field}")
        else:
            self.model.answers.append(given)

    def confirm_sum(self) -> None:
        """A sum that does not fit stands so on paper: she is told, and says so once."""
        cards = [c for c in cards_of(self.study, self.record.state()) if isinstance(c, SumCard)]
        if not cards:
            return
        card = self.chance.choice(cards)
        sheet = self.sheet_of(card.place.reading_id)
        view = self.meaning.view(self.model, self.draft)
        seen = next(s for s in view.sheets if s.page_instance_id == sheet.page_instance_id)
        raw = {
            stated.spec.name: self.meaning.raw(sheet, stated.spec.name, self.draft)
            for stated in card.fields
        }
        values = {now: view.value(seen, now) for now in raw}
        deciding.keep(self.record, sum_reply(card).fields, "Ada")
        free = [now for now in raw if not view.decided(seen, now)]
        before = len(self.model.answers)
        for now in free or list(raw)[:1]:
            value = values[now]
            read = seen.said[now][0]
            kind = "empty" if value is None else "accept" if value == read else "value"
            told = frozenset((raw[n], v) for n, v in values.items())
            more = len(self.model.answers) > before
            given = Given(sheet.page_instance_id, raw[now], kind, value, told, more)
            self.model.answers.append(given)

    def take_back(self) -> None:
        undone = decided.undo_last(self.record, "Ada")
        if (undone is not None) != bool(self.model.answers):
            self.fault("taking back found another number of answers")
        while self.model.answers and self.model.answers.pop().more:
            pass

    # --- what is made up

    def once_more(self, name: str, value: str | None, _: str, sure: float) -> Said:
        """What a field says when it is read again: a number may be taken for another."""
        spec = next(spec for spec in self.study.fields if spec.name == name)
        if spec.kind.name in ("site", "date") or self.chance.random() < 0.8:
            return value, "", sure
        return self.some_value(spec), "", sure

    def sheet_says(self, printed: str) -> dict[str, Said]:
        said: dict[str, Said] = {}
        for spec in self.study.fields:
            if spec.kind.name == "site" and printed != BLANK:
                continue
            doubt = 10.0 ** -self.chance.uniform(1.2, 4.5)
            said[spec.name] = (self.some_value(spec), "", 1.0 - doubt)
        return self.judged(said)

    def some_value(self, spec: FieldSpec) -> str | None:
        if spec.kind.name == "site":
            return str(self.chance.choice(self.draft["sites"]))
        if spec.kind.name == "date":
            self.days += 1  # no two sheets are of one visit
            return (FIRST_DAY + timedelta(days=self.days)).isoformat()
        if self.chance.random() < 0.1:
            return None
        return str(self.chance.randint(0, min(40, 10**spec.boxes - 1)))

    def judged(self, said: dict[str, Said]) -> dict[str, Said]:
        """As a reader would: accepted, empty or flagged under the study file of now."""
        specs = {spec.name: spec for spec in self.study.fields}
        result: dict[str, Said] = {}
        for name, (value, _, sure) in said.items():
            settled = "empty" if value is None else "accepted"
            good = holds(self.study, specs[name], (value, settled, sure))
            result[name] = (value, settled if good else "flagged", sure)
        for rule in self.study.sums:
            names = [n for n in rule.fields if n in result]
            numbers = [int(result[n][0] or -1) for n in names]
            if numbers and min(numbers) >= 0 and numbers[0] != sum(numbers[1:]):
                result |= {n: (result[n][0], "flagged", result[n][2]) for n in names}
        return result

    def some_answer(self, asked: FieldState, sheet: Sheet) -> tuple[Answer, Given | None]:
        """An answer, and what must be kept of it (None: it must be refused)."""
        field = self.meaning.raw(sheet, asked.field, self.draft)
        read, status, _ = sheet.said[field]
        at = (sheet.page_instance_id, field)
        kind = self.chance.choice(("accept", "value", "value", "empty", "unreadable"))
        if kind == "accept":
            if read is None:
                return Accept(), Given(*at, "empty", None) if status == "empty" else None
            on_list = asked.field != self.study.keys[0] or read in self.draft["sites"]
            return Accept(), Given(*at, "accept", read) if on_list else None
        if kind == "value":
            value = self.value_for(asked, read)
            if asked.field == self.study.keys[0] and value not in self.draft["sites"]:
                return Value(value), None
            return Value(value), Given(*at, "accept" if value == read else "value", value)
        answer = LeftEmpty() if kind == "empty" else Illegible()
        return answer, Given(*at, kind, None)

    def value_for(self, asked: FieldState, read: str | None) -> str:
        if asked.field == self.study.keys[0]:
            return self.chance.choice(edited_study.SITES)
        if asked.field == self.study.keys[1]:
            assert read is not None
            return read
        return str(self.chance.randrange(99))

    def sheet_of(self, reading_id: int) -> Sheet:
        fields = [e for visit in self.record.state() for e in visit.fields]
        number = next(
            e.reading.page_instance_id for e in fields if e.reading.reading_id == reading_id
        )
        return next(s for s in self.model.sheets if s.page_instance_id == number)


def _thing(term: Term) -> Thing:
    return term.kind, term.name, term.said


def _files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.glob("*")} if folder.is_dir() else {}
