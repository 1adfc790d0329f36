"""The steps of a season, at random: edits, sheets, answers, each kept in the model as well."""

from __future__ import annotations

import random
from datetime import date, timedelta
from pathlib import Path

import edited_study
import made_up
from click.testing import CliRunner
from season_checks import Checks, Result
from season_model import Given, Model, Said, Sheet, holds
from sqlalchemy import select

from sheet_reader.cli.main import cli
from sheet_reader.errors import StudyError, UsageError
from sheet_reader.reading.opening import open_record
from sheet_reader.reading.promise import thresholds_for
from sheet_reader.record import schema
from sheet_reader.record.claims import Task
from sheet_reader.record.lines import Waiting
from sheet_reader.record.model import Accept, Answer, LeftEmpty, Unreadable, Value
from sheet_reader.record.naming import neutral_name
from sheet_reader.record.store import Record
from sheet_reader.sheet.model import BLANK
from sheet_reader.study.model import FieldSpec, Study
from sheet_reader.study.reader import read_study

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
        actions = (self.edit, self.edit, self.edit, self.answer, self.answer, self.new_photo,
                   self.read_again, self.take_back, self.leave_unread, self.read_on)  # fmt: skip
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
        Record.open(study).close()
        self.study, self.draft = study, draft
        limits = thresholds_for(study.allowed_error)
        self.record = Record(study, self.record.engine, self.record.where, limits)

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
            names = {h.kind: h.name for h in self.study.header}
            self.model.sheets.append(Sheet(called, number, sheet, place, what, names))

    def read_again(self) -> None:
        """A photo once more: a sheet is read as the study file now has it, or refused."""
        if not self.tasks:
            return
        name = self.chance.choice(list(self.tasks))
        seen = [s for s in self.model.sheets if s.photo == name]
        known = {spec.name for spec in self.study.fields}
        kept = [s for s in seen if set(s.said) <= known and self.chance.random() < 0.7]
        for sheet in kept:
            sheet.said = self.judged({name: (v, "", c) for name, (v, _, c) in sheet.said.items()})
        pages = [made_up.page(self.study, s.said, sheet=s.printed, place=s.place) for s in kept]
        self.tasks[name] = made_up.read_in(self.record, self.tasks[name], pages)

    def answer(self) -> None:
        pending = self.record.pending()
        if not pending:
            return
        asked = self.chance.choice(pending)
        answer, given = self.some_answer(asked, self.sheet_of(asked.reading_id))
        try:
            self.record.decide(asked.reading_id, answer, by="Ada")
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

    def take_back(self) -> None:
        undone = self.record.undo_last("Ada")
        if (undone is not None) != bool(self.model.answers):
            self.fault("taking back found another number of answers")
        if self.model.answers:
            self.model.answers.pop()

    # --- what is made up

    def sheet_says(self, printed: str) -> dict[str, Said]:
        said: dict[str, Said] = {}
        for spec in self.study.fields:
            if spec.kind == "site" and printed != BLANK:
                continue
            doubt = 10.0 ** -self.chance.uniform(1.2, 4.5)
            said[spec.name] = (self.some_value(spec), "", 1.0 - doubt)
        return self.judged(said)

    def some_value(self, spec: FieldSpec) -> str | None:
        if spec.kind == "site":
            return str(self.chance.choice(self.draft["sites"]))
        if spec.kind == "date":
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
            names = [n for n in (rule.total, *rule.parts) if n in result]
            numbers = [int(result[n][0] or -1) for n in names]
            if numbers and min(numbers) >= 0 and numbers[0] != sum(numbers[1:]):
                result |= {n: (result[n][0], "flagged", result[n][2]) for n in names}
        return result

    def some_answer(self, asked: Waiting, sheet: Sheet) -> tuple[Answer, Given | None]:
        """An answer, and what must be kept of it (None: it must be refused)."""
        read, _, _ = sheet.said[asked.field]
        status = sheet.said[asked.field][1]
        at = (sheet.page_instance_id, asked.field)
        kind = self.chance.choice(("accept", "value", "value", "empty", "unreadable"))
        if kind == "accept":
            if read is None:
                return Accept(), Given(*at, "empty", None) if status == "empty" else None
            on_list = asked.kind != "site" or read in self.draft["sites"]
            return Accept(), Given(*at, "accept", read) if on_list else None
        if kind == "value":
            value = self.value_for(asked, read)
            if asked.kind == "site" and value not in self.draft["sites"]:
                return Value(value), None
            return Value(value), Given(*at, "accept" if value == read else "value", value)
        answer = LeftEmpty() if kind == "empty" else Unreadable()
        return answer, Given(*at, kind, None)

    def value_for(self, asked: Waiting, read: str | None) -> str:
        if asked.kind == "site":
            return self.chance.choice(edited_study.SITES)
        if asked.kind == "date":
            assert read is not None
            return read
        return str(self.chance.randrange(99))

    def sheet_of(self, reading_id: int) -> Sheet:
        fields = [e for visit in self.record.state() for e in visit.fields]
        number = next(
            e.reading.page_instance_id for e in fields if e.reading.reading_id == reading_id
        )
        return next(s for s in self.model.sheets if s.page_instance_id == number)


def _files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.glob("*")} if folder.is_dir() else {}
