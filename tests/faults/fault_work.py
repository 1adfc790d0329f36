"""What the fault test's victims do; run in processes of their own, which are killed."""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import decided
import stand_in
from sqlalchemy import Connection as Database
from sqlalchemy import text

from sheet_reader.answers.questions import AlikeCard, Card, OutsideCard, PhotosCard, SumCard
from sheet_reader.answers.replies import (
    Reply,
    alike_reply,
    field_reply,
    other_place,
    read_on,
    same_sheet,
    sum_reply,
)
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.history import deciding, mending
from sheet_reader.record.history.answers import FieldAnswer, Illegible, Value
from sheet_reader.record.history.entered import enter
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.people.remarks import type_up
from sheet_reader.record.store import checksums
from sheet_reader.record.store.engine import open_engine, sqlite_url
from sheet_reader.record.store.migrations import MIGRATIONS, Migration, migrate
from sheet_reader.record.store.store import Record
from sheet_reader.review.source import RecordQuestions
from sheet_reader.study.study import SumRule

LATEST = MIGRATIONS[-1].version


def read(folder: Path, tell: Connection, jobs: int = 0) -> None:
    """Read whatever is in the inbox."""
    tell.send("ready")
    read_batch(stand_in.a_study(folder), reader=stand_in.read_seen, jobs=jobs)


def read_apart(folder: Path, tell: Connection) -> None:
    """The same with a worker process."""
    read(folder, tell, jobs=1)


def read_changed(folder: Path, tell: Connection) -> None:
    """Read under another study file and site list: all known sheets are decoded anew."""
    study = stand_in.a_study(folder)
    counts = tuple(replace(count, lowest=5) for count in study.counts)
    tell.send("ready")
    changed = replace(study, counts=counts, sites=study.sites[1:])
    read_batch(changed, reader=stand_in.read_seen, jobs=0)


def review(folder: Path, tell: Connection) -> None:
    """Answer everything that waits, telling each answer once it is given."""
    chance = random.Random(len(list(folder.iterdir())))
    with Record.open(stand_in.a_study(folder)) as record:
        items = decided.pending(record)
        tell.send("ready")
        for item in items:
            value = "1004" if item.field == "site" else str(chance.randrange(60))
            answer = Illegible() if chance.random() < 0.1 else Value(value)
            decided.decide(record, item.reading_id, answer, by="Ada")
            tell.send((item.reading_id, None if isinstance(answer, Illegible) else value))


REVIEWER = "Bea"
SUM = SumRule("sun.snails", ("sun.eggs", "shade.snails"))


def answer_cards(folder: Path, tell: Connection) -> None:
    """Answer the cards of a review, whatever they are, and type up remarks. Which decisions an
    answer is to make is told before, and again once it is given.
    """
    chance = random.Random(len(list(folder.iterdir())))
    study = replace(stand_in.a_study(folder), sums=(SUM,))
    with Record.open(study) as record:
        source = RecordQuestions(record)
        cards, serial = source.cards(), len(record.photos())
        tell.send("ready")
        while cards:
            card = cards[0]
            reply = _reply(card, chance)
            ids = tuple(sorted(answer.reading_id for answer in reply.fields))
            tell.send(("begins", *map(str, ids)))
            source.keep(reply, by=REVIEWER)
            if ids:
                tell.send(("answered", *map(str, ids)))
            remark = f"remark {serial} {card.place.page_instance_id}"
            type_up(record, card.place.page_instance_id, remark, REVIEWER)
            tell.send(("remark", str(card.place.page_instance_id), remark))
            cards = source.cards()


def _reply(card: Card, chance: random.Random) -> Reply:
    value = Value(str(chance.randrange(60)))
    if isinstance(card, PhotosCard):
        if chance.random() < 0.5:
            return same_sheet(card)
        day = f"2026-0{4 + chance.randrange(5)}-{1 + chance.randrange(28):02}"
        return other_place(card.sheets[-1], "date", day)
    if isinstance(card, SumCard):
        return sum_reply(card, {1: value} if chance.random() < 0.5 else {})
    if isinstance(card, AlikeCard):
        return alike_reply(card, {0: value} if chance.random() < 0.5 else {})
    if isinstance(card, OutsideCard):
        return read_on(card, ask_photo=True)
    return field_reply(card, Value("1004") if card.spec.kind.name == "site" else value)


CORRECTED_FIELDS, TYPED_FIELDS = 3, 7


def put_right(folder: Path, tell: Connection) -> None:
    """Correct two values and the date of sheets, all at once, and set photos aside and back."""
    with Record.open(stand_in.a_study(folder)) as record:
        serial = len(record.photos())
        pages = [page for visit in record.state() for page in visit.pages]
        tell.send("ready")
        for number, page in enumerate(pages):
            name = f"corrected {serial} {number}"
            fields = {r.field: r.reading_id for r in record.readings()
                      if r.page_instance_id == page.page_instance_id}  # fmt: skip
            if not {"helpers", "shade.eggs", "date"} <= set(fields):
                continue
            changes = [FieldAnswer(fields["helpers"], Value("3")),
                       FieldAnswer(fields["shade.eggs"], Value("1"))]  # fmt: skip
            day, here = f"2026-0{4 + number % 6}-{1 + number % 28:02}", page.page_instance_id
            moved = mending.moved(record.study, record.state(), here, "date", day)
            deciding.keep(record, [moved, *changes], by="Ada", reason=name)
            tell.send(("decided", name))
            mending.set_aside(record, page.photo_id, page.page_instance_id, by="Ada", reason=name)
            tell.send(("aside", name))
            mending.take_back(record, page.photo_id, page.page_instance_id, by="Ada", reason=name)
            tell.send(("back", name))


def type_in(folder: Path, tell: Connection) -> None:
    """Type sheets in by hand."""
    with Record.open(stand_in.a_study(folder)) as record:
        with record.reading() as connection:
            serial = connection.execute(text("SELECT count(*) FROM photos")).scalar()
        tell.send("ready")
        for number in range(20):
            name = f"typed {serial} {number}"
            values = {"site": "1010", "date": f"2026-05-{1 + number:02}", "helpers": "2"}
            enter(record, values, by="Ada", reason=name)
            tell.send(("decided", name))


def back_up(folder: Path, tell: Connection) -> None:
    """Write a backup over the former one."""
    tell.send("ready")
    backup(stand_in.a_study(folder), folder.parent / "backup.tar")


def migrate_on(folder: Path, tell: Connection) -> None:
    """Take steps that copy the largest table there and back."""
    engine = open_engine(sqlite_url(folder / "record.sqlite"))
    tell.send("ready")
    migrate(engine, extra_steps())
    engine.dispose()


def extra_steps() -> tuple[Migration, ...]:
    """Three steps after the latest: copy the readings, change the copy, drop it again."""
    return (
        *MIGRATIONS,
        Migration(LATEST + 1, "copy readings", _copy),
        Migration(LATEST + 2, "widen the copy", _widen),
        Migration(LATEST + 3, "drop the copy", lambda c: _run(c, "DROP TABLE copied")),
    )


def step_back(folder: Path) -> None:
    """Take the marks of the extra steps away, so that they can be taken anew."""
    engine = open_engine(sqlite_url(folder / "record.sqlite"))
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _run(connection, f"DELETE FROM schema_version WHERE version > {LATEST}")
        checksums.note_schema(connection)
    engine.dispose()


def _copy(connection: Database) -> None:
    _run(connection, "CREATE TABLE copied AS SELECT * FROM readings WHERE id % 2 = 0")
    _run(connection, "INSERT INTO copied SELECT * FROM readings WHERE id % 2 = 1")


def _widen(connection: Database) -> None:
    _run(connection, "ALTER TABLE copied ADD COLUMN remark TEXT DEFAULT ''")
    _run(connection, "UPDATE copied SET remark = field || ' ' || coalesce(value, '')")


def _run(connection: Database, statement: str) -> Any:
    return connection.execute(text(statement))
