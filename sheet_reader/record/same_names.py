"""Fields that have another name now: a person says once whether they are the same thing.

Readings and decisions keep the names under which they were made; they are put under their present
names when they are looked at, so that an answer can be taken back at any time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, insert, select

from sheet_reader import __version__
from sheet_reader.errors import UsageError
from sheet_reader.record import schema
from sheet_reader.record.model import now
from sheet_reader.record.states import Decision, StoredReading
from sheet_reader.study.model import Study

UNDO = "undo"
KINDS = {"count": "count", "plot": "plot", "number": "number in the head"}
"""What can have another name, as it is called to a person."""
LONGEST_CHAIN = 20


@dataclass(frozen=True, slots=True)
class NameAnswer:
    """``former`` is ``present`` now, or (None) something that the study no longer has."""

    id: int
    kind: str
    former: str
    present: str | None
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class NameQuestion:
    """A name that left the study file, and those new there that may mean the same, likely first."""

    kind: str
    former: str
    candidates: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Names:
    """The answers that hold, applied to names that ``study`` does not have."""

    study: Study
    answers: tuple[NameAnswer, ...] = ()

    def field(self, name: str) -> str:
        """The present full name of a field."""
        if not self.answers or any(spec.name == name for spec in self.study.fields):
            return name
        plot, dot, count = name.rpartition(".")
        if not dot:
            return self._now("number", name, {h.name for h in self.study.header})
        plots = {p.name for p in self.study.plots}
        counts = {c.name for c in self.study.counts}
        return f"{self._now('plot', plot, plots)}.{self._now('count', count, counts)}"

    def _now(self, kind: str, name: str, known: set[str]) -> str:
        for _ in range(LONGEST_CHAIN):
            answer = self.answer(kind, name)
            if name in known or answer is None or answer.present is None:
                break
            name = answer.present
        return name

    def answer(self, kind: str, former: str) -> NameAnswer | None:
        """The answer about this name, if one holds."""
        same = (a for a in self.answers if (a.kind, a.former) == (kind, former))
        return next(same, None)


def load_names(connection: Connection, study: Study) -> Names:
    """The answers that hold: the last about each name that is not taken back."""
    c = schema.same_names.c
    rows = connection.execute(select(schema.same_names).order_by(c.id)).all()
    undone = {row.undoes for row in rows}
    holds = {
        (row.kind, row.former): NameAnswer(
            row.id, row.kind, row.former, row.present, row.by, row.at
        )
        for row in rows
        if row.undoes is None and row.id not in undone
    }
    return Names(study, tuple(holds.values()))


def under_present_names(
    names: Names, reads: Iterable[StoredReading], decided: Iterable[Decision]
) -> tuple[list[StoredReading], list[Decision]]:
    """Readings and decisions with the present names of their fields."""
    if not names.answers:
        return list(reads), list(decided)
    return (
        [replace(read, field=names.field(read.field)) for read in reads],
        [replace(one, field=names.field(one.field)) for one in decided],
    )


def add_answer(
    connection: Connection, study: Study, kind: str, former: str, present: str | None, by: str
) -> None:
    """Keep that ``former`` is ``present`` now, or (None) is something else.

    Raises UsageError where the study has ``former`` still, or no ``present``, or where two names of
    one former study would be put together.
    """
    known = _present(study)[kind]
    if former in known:
        raise UsageError(f"study.toml has the {KINDS[kind]} {former}, so it is no former name")
    if present is not None and present not in known:
        raise UsageError(f"study.toml has no {KINDS[kind]} {present}")
    values = {"kind": kind, "former": former, "present": present, "by": by}
    row = insert(schema.same_names).values(at=now(), program=__version__, **values)
    connection.execute(row)


def take_back(connection: Connection, study: Study, former: str, by: str) -> list[NameAnswer]:
    """Take back what was said about a name; gives the answers that held."""
    held = [a for a in load_names(connection, study).answers if a.former == former]
    for a in held:
        values = {"kind": a.kind, "former": a.former, "present": a.present, "by": by}
        row = insert(schema.same_names).values(
            at=now(), program=__version__, undoes=a.id, **values
        )
        connection.execute(row)
    return held


def _present(study: Study) -> dict[str, list[str]]:
    return {
        "count": [count.name for count in study.counts],
        "plot": [plot.name for plot in study.plots],
        "number": [h.name for h in study.header if h.kind == "number"],
    }


def _labels(study: Study) -> dict[tuple[str, str], str]:
    found = {("count", c.name): c.label for c in study.counts}
    found |= {("plot", p.name): p.label for p in study.plots}
    return found | {("number", h.name): h.label for h in study.header}


def open_questions(
    study: Study, former: Sequence[Study], recorded: Iterable[str], names: Names
) -> list[NameQuestion]:
    """What is to be asked: names of ``former`` states of the study (oldest first) and of the fields
    ``recorded`` that it does not have now, where others are new in it.
    """
    present = _present(study)
    labels = _labels(study)
    gone: dict[tuple[str, str], Study | None] = {}
    known = {spec.name for spec in study.fields}
    for name in recorded:
        if name in known:
            continue
        plot, dot, count = name.rpartition(".")
        found = [("plot", plot), ("count", count)] if dot else [("number", name)]
        gone |= dict.fromkeys(found)
    for earlier in former:
        for kind, some in _present(earlier).items():
            gone |= {(kind, name): earlier for name in some}
    questions = []
    for (kind, name), state in gone.items():
        if name in present[kind] or names.answer(kind, name) is not None:
            continue
        before = set(_present(state)[kind]) if state else _recorded(recorded, kind)
        taken = {a.present for a in names.answers if a.kind == kind and a.former in before}
        new = {n: labels[kind, n] for n in present[kind] if n not in before and n not in taken}
        if new:
            likely = _likely_first(new, state, kind, name)
            questions.append(NameQuestion(kind, name, tuple(likely)))
    return questions


def _likely_first(
    new: dict[str, str], state: Study | None, kind: str, former: str
) -> list[str]:
    """The ``new`` names (with labels): of the same label first, then by their place in the file."""
    label = _labels(state).get((kind, former)) if state else None
    return sorted(new, key=lambda name: new[name] != label)


def _recorded(fields: Iterable[str], kind: str) -> set[str]:
    parts = [name.rpartition(".") for name in fields]
    if kind == "number":
        return {name for _, dot, name in parts if not dot}
    return {count if kind == "count" else plot for plot, dot, count in parts if dot}
