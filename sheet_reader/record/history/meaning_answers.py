"""What people said of changed words, in the record; and what is still to be said."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from functools import partial
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from sheet_reader import __version__
from sheet_reader.errors import UnsaidError, UsageError
from sheet_reader.record.history.answers import with_names
from sheet_reader.record.history.meaning import (
    MeaningAnswer,
    MeaningQuestion,
    Meanings,
    Term,
    told_together,
)
from sheet_reader.record.history.photos import insert_new, insert_row
from sheet_reader.record.history.states import Decision, StoredReading
from sheet_reader.record.people.people import REMOVED
from sheet_reader.record.store import schema
from sheet_reader.sheet.kept_layouts import printed_labels
from sheet_reader.study.days import now
from sheet_reader.study.former import TERMS, from_text
from sheet_reader.study.reader import STUDY_FILE
from sheet_reader.study.study import Study

Said = tuple[Term, Term, bool]
"""What was, what is (its ``said`` "": all there is now), and whether they are the same thing."""


def keep_wording(connection: Connection, said: str) -> int:
    """Keep what the names on a page mean (as text), unless it is known; gives its id."""
    c = schema.wordings.c
    known = connection.scalar(select(c.id).where(c.said == said))
    return insert_row(connection, schema.wordings, said=said) if known is None else int(known)


def keep_site_label(connection: Connection, study: Study, number: str) -> None:
    """Keep what a site of the list is called, to which a page belongs."""
    site = study.site(number)
    if site is not None:
        insert_new(connection, schema.site_labels, site=number, label=site.label)


def load_meanings(connection: Connection, study: Study) -> Meanings:
    """The answers that hold (the last of each pair that is not taken back), and the wordings."""
    m, w, s = schema.meanings.c, schema.wordings.c, schema.page_instances.c
    rows = connection.execute(select(schema.meanings).order_by(m.id)).all()
    undone = {row.undoes for row in rows}
    answers = {
        (answer.former, answer.present): answer
        for row in rows
        if row.undoes is None and row.id not in undone
        for answer in [_answer(row)]
    }
    used = select(s.wording).where(s.study == study.key).distinct()
    worded = connection.execute(select(w.id, w.said).where(w.id.in_(used)).order_by(w.id))
    found = Meanings(study, tuple(answers.values()), {n: from_text(said) for n, said in worded})
    if not found.by_wording:
        return found
    query = select(s.id, s.wording).where(s.wording.in_(found.by_wording))
    return replace(found, pages={row.id: row.wording for row in connection.execute(query)})


def _answer(row: Row[Any]) -> MeaningAnswer:
    former = Term(row.kind, row.former, row.former_said)
    present = Term(row.kind, row.present, row.present_said)
    return MeaningAnswer(row.id, former, present, row.same, row.by, row.at)


def with_sites(connection: Connection, meanings: Meanings) -> Meanings:
    """The same with the labels under which sites' values came in, or that were printed for them."""
    c = schema.site_labels.c
    seen: dict[str, dict[str, None]] = {}
    for row in connection.execute(select(c.site, c.label).order_by(c.id)):
        if not row.label.startswith(REMOVED):  # it named a person, who was erased
            seen.setdefault(row.site, {})[row.label] = None
    if seen:
        for number, labels in printed_labels(meanings.study.folder).items():
            if number in seen:
                seen[number] |= dict.fromkeys(labels)
    terms = (Term("site", number, label) for number, labels in seen.items() for label in labels)
    return replace(meanings, sites=tuple(terms))


def open_questions(connection: Connection, study: Study) -> list[MeaningQuestion]:
    """What is to be said of changed words now."""
    return with_sites(connection, load_meanings(connection, study)).questions()


def must_be_said(connection: Connection, study: Study) -> None:
    """Raises :class:`UnsaidError` where values were written under other words than those that their
    names stand for now, and nobody has said yet what that means.
    """
    asked = [q for q in open_questions(connection, study) if q.blocks]
    if asked:
        sites = all(q.former.kind == "site" for q in asked)
        raise UnsaidError(
            f"{told_together(asked)}: the same in better words, or another thing?",
            where=study.folder / (study.sites_file if sites else STUDY_FILE),
            remedy=f"to say so: sheet-reader names {study.folder}; or put the former words back",
        )


Connecting = Callable[[], AbstractContextManager[Connection]]


def label_sites(reading: Connecting, writing: Connecting, study: Study) -> None:
    """Keep the labels of sites with pages in the record of which none was kept when they came in:
    it was not known then to which site they belong.
    """
    s, k, d = schema.page_instances.c, schema.reading_runs.c, schema.decisions.c
    queries = (
        select(s.sheet).where(s.study == study.key),
        select(k.site).join_from(schema.reading_runs, schema.page_instances),
        select(d.value).where(d.field == study.site_field.name),
        select(schema.sheet_decisions.c.value).where(schema.sheet_decisions.c.kind == "site"),
    )
    with reading() as connection:
        there = {site for query in queries for site in connection.scalars(query.distinct())}
        new = there - set(connection.scalars(select(schema.site_labels.c.site)))
    if missing := [site.number for site in study.sites if site.number in new]:
        with writing() as connection:
            for number in missing:
                keep_site_label(connection, study, number)


def under_present_names(
    meanings: Meanings, reads: Iterable[StoredReading], decided: Iterable[Decision]
) -> tuple[list[StoredReading], list[Decision]]:
    """Readings and decisions with the present names of their fields."""
    if not meanings.pages:
        return list(reads), list(decided)
    called = meanings.field
    return (
        [r if (n := called(r.field, r.page_instance_id)) == r.field
         else replace(r, field=n, on_sheet=r.field) for r in reads],
        [replace(d, field=called(d.field, d.page_instance_id),
                 told=with_names(d.told, partial(called, page_instance_id=d.page_instance_id)))
         for d in decided],
    )  # fmt: skip


def add_answers(connection: Connection, study: Study, said: Sequence[Said], by: str) -> None:
    """Keep what a person said of changed words, all of it or nothing.

    Raises UsageError where two things of one sheet would be taken for the same, and where a site's
    number is to mean another place: it stands on sheets that are out.
    """
    for former, present, same in said:
        if former.kind == "site" and not same:
            raise UsageError(
                f"site {former.name} was “{former.said}” when its counts came in, and a number "
                "means one place for the whole season",
                where=study.folder / study.sites_file,
                remedy=f"call site {former.name} “{former.said}” again, and give "
                f"“{present.said}” a line and a number of its own",
            )
    _add(connection, [_row(*one, by) for one in said])
    clash = load_meanings(connection, study).clash()
    if clash is not None:
        one, other = clash
        raise UsageError(
            f"{one.name} (“{one.said}”) and {other.name} (“{other.said}”) stand on one sheet, so "
            f"they are two {TERMS[one.kind]}s",
            remedy="say which of them it is, or that it is neither",
        )


def take_back(
    connection: Connection, study: Study, former: str, by: str
) -> list[MeaningAnswer]:
    """Take back what was said about a name; gives the answers that held."""
    held = [a for a in load_meanings(connection, study).answers if a.former.name == former]
    rows = [_row(a.former, a.present, a.same, by) | {"undoes": a.id} for a in held]
    _add(connection, rows)
    return held


def _row(former: Term, present: Term, same: bool, by: str) -> dict[str, object]:
    return {
        "kind": former.kind, "former": former.name, "former_said": former.said,
        "present": present.name, "present_said": present.said, "same": same, "by": by,
    }  # fmt: skip


def _add(connection: Connection, rows: Sequence[dict[str, object]]) -> None:
    stamp = {"at": now(), "program": __version__}
    if rows:
        connection.execute(insert(schema.meanings), [row | stamp for row in rows])
