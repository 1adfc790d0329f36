"""New mail from a server into the record; each mail is noted once all its photos are kept."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from sqlalchemy import select

from sheet_reader.errors import StorageError
from sheet_reader.intake.files import DEFAULT, Arrival, Bounds, NoPicture, too_many_bytes
from sheet_reader.intake.imap import Mailbox, Message, connected, messages, password_for
from sheet_reader.intake.mail import from_mail
from sheet_reader.reading.mail_answers import as_answer, kept_with
from sheet_reader.reading.taking import Tally, take_in
from sheet_reader.record.history.photos import insert_new
from sheet_reader.record.people.remarks import keep_answer
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now, span


def fetch(record: Record, mailbox: Mailbox, tally: Tally, bounds: Bounds = DEFAULT) -> None:
    """Keep the photos of all new mail since the season began.

    A connection that breaks is a line in the tally; whatever came before is kept, and the next
    call goes on from there. Raises :class:`UsageError` where the server refuses, the folder or the
    password is missing, and :class:`StorageError` where the server was never reached.
    """
    password = password_for(mailbox)
    name = f"{mailbox.user}@{mailbox.host}/{mailbox.folder}"
    name = hashlib.sha256(name.encode()).hexdigest()  # an address is a person's, too
    known = _known(record, name)
    came = 0
    try:
        with connected(mailbox, password) as server:
            since = span(record.study).first
            for message in messages(server, since, known, bounds.mail_bytes):
                take_in(record, _photos(message, mailbox, bounds), tally)
                if message.data is not None:
                    _keep_answer(record, message.data, tally)
                    _note(record, name, message.mark)
                came += 1
    except StorageError as error:
        if error.where != str(mailbox) or not came:
            raise
        tally.lines.append(f"{error}")


def _photos(message: Message, mailbox: Mailbox, bounds: Bounds) -> Iterator[Arrival | NoPicture]:
    if message.data is None:
        yield NoPicture(
            f"mail {message.mark} in {mailbox.folder}",
            too_many_bytes(message.size, bounds.mail_bytes),
        )
    else:
        yield from from_mail(message.data, str(mailbox), bounds, way="mailbox")


def _keep_answer(record: Record, data: bytes, tally: Tally) -> None:
    """Keep a mail that answers a letter as a remark on its visits."""
    if (answer := as_answer(data)) is not None and (places := keep_answer(record, *answer)):
        tally.lines.append(kept_with(places))


def _known(record: Record, name: str) -> frozenset[str]:
    with record.reading() as connection:
        query = select(schema.mail_messages.c.mark).where(schema.mail_messages.c.mailbox == name)
        return frozenset(connection.execute(query).scalars())


def _note(record: Record, name: str, mark: str) -> None:
    with record.writing() as connection:
        insert_new(connection, schema.mail_messages, mailbox=name, mark=mark, seen_at=now())
