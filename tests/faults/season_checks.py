"""What is checked after every step of a season: the record against the plain model."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import decided
from click.testing import CliRunner
from edited_study import Draft
from season_meaning import Meaning
from season_model import Model, Sheet

from sheet_reader.cli.main import cli
from sheet_reader.record.store.store import Record
from sheet_reader.results.cells import texts
from sheet_reader.results.facts import facts_of
from sheet_reader.results.frames import tables_of
from sheet_reader.study.study import Study


@dataclass
class Result:
    """What the sequences did. ``faults`` must be empty."""

    sequences: int = 0
    steps: Counter[str] = field(default_factory=Counter)
    checks: int = 0
    seconds: float = 0.0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        steps = ", ".join(f"{name} {count}" for name, count in sorted(self.steps.items()))
        return (
            f"{self.sequences} sequences in {self.seconds:.0f} s, {self.checks} states compared "
            f"({steps}): {len(self.faults)} faults"
        )


class Checks:
    """A season whose record is compared with its model; the steps are those of ``Season``."""

    folder: Path
    chance: random.Random
    result: Result
    model: Model
    study: Study
    meaning: Meaning
    draft: Draft
    record: Record
    log: list[str]

    def compare(self) -> None:
        """The record against the model."""
        self.result.checks += 1
        study, record = self.study, self.record
        model = self.meaning.view(self.model, self.draft)
        self.meaning.note_sites((model.place(study, s)[0] for s in model.sheets), self.draft)
        found = Counter(
            (r.photo, r.site, r.visit_date, r.field, r.value, r.status, r.read_value)
            for r in record.readings()
        )
        table = tables_of(study, facts_of(record)).rows.iloc[:, : len(study.fields) + 1]
        lines = list(zip(*(texts(table[name]) for name in table.columns), strict=True))
        asked = Counter((w.photo, w.field) for w in decided.pending(record))
        waiting = record.summary().waiting
        self.check_history(model)
        self.same("readings", found, model.readings(study))
        self.same("rows", Counter(map(tuple, lines)), model.rows(study))
        known = {spec.name for spec in study.fields}
        still_open = list(model.open(study))
        self.same("questions", asked, Counter((s.photo, n) for s, n in still_open if n in known))
        if waiting != sum(asked.values()):
            self.fault(f"{waiting} fields wait, but {sum(asked.values())} are asked")
        unknown = {n for s in model.sheets for n in s.said} - known
        self.check_notes(record.notes(), model, unknown, still_open)

    def check_notes(
        self, notes: list[str], model: Model, unknown: set[str],
        still_open: list[tuple[Sheet, str]],
    ) -> None:  # fmt: skip
        self.one_line(*notes)
        text = "\n".join(notes)
        questions = sum(
            name in unknown and model.status(self.study, sheet, name) == "flagged"
            for sheet, name in still_open
        )
        named = len(unknown) > 8 or all(name in text for name in unknown)
        if unknown and (not named or f"{questions} question" not in text):
            self.fault(f"{unknown} with {questions} questions are not explained: {notes}")
        if self.model.unread and f"{self.model.unread} photo" not in text:
            self.fault(f"{self.model.unread} unread photos are not told: {notes}")
        places = [model.place(self.study, s) for s in model.sheets]
        gone = {site for site, _ in places if site} - set(self.draft["sites"])
        if any(site not in text for site in gone):
            self.fault(f"sites {gone} off the site list are not told: {notes}")
        tolerance = timedelta(days=self.study.visits.tolerance_days)  # at the edges, too
        first, last = self.study.season.first - tolerance, self.study.season.last + tolerance
        outside = [d for _, d in places if d and not first <= date.fromisoformat(d) <= last]
        if bool(outside) != ("outside the season" in text):
            self.fault(f"{len(outside)} visits outside the season: {notes}")

    def check_history(self, model: Model) -> None:
        """One sheet's history holds all that was read and decided of it."""
        sheet = self.chance.choice(model.sheets)
        site, day = model.place(self.study, sheet)
        if not site or not day:
            return
        entries = Counter((e.field, e.value) for e in self.record.history(site, day))
        wanted = Counter((name, value) for name, (value, _, _) in sheet.said.items())
        wanted |= Counter(
            (a.field, a.value)
            for a in model.answers
            if a.page_instance_id == sheet.page_instance_id
        )
        if wanted - entries:
            self.fault(f"history lacks {wanted - entries}")

    def command(self, name: str) -> None:
        done = CliRunner().invoke(cli, [name, str(self.folder)], input="s\n")
        self.result.steps[f"command {name}"] += 1
        if done.exit_code != 0 or "Unexpected" in done.output or "Traceback" in done.output:
            self.fault(f"{name}: exit code {done.exit_code}: {done.output[-400:]}")

    def same(self, what: str, found: Counter[object], wanted: Counter[object]) -> None:
        if found != wanted:
            lost = [str(line) for line in wanted - found][:3]
            more = [str(line) for line in found - wanted][:3]
            self.fault(f"{what}: lost {lost}, instead {more}")

    def one_line(self, *lines: str) -> None:
        for line in lines:
            if not line.strip() or "\n" in line or "Traceback" in line or "Error(" in line:
                self.fault(f"not a clear line: {line!r}")

    def fault(self, what: str) -> None:
        self.result.faults.append(f"{what} [after {', '.join(self.log)}]")
