"""What comes in: photos, whose original is on the disk before a line is in the record; new mail of
a server, noted once all its photos are kept; and answers to letters, out of mail files: what the
volunteer wrote, without what is quoted.
"""

from __future__ import annotations

import email
import email.policy
import hashlib
import re
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

from sqlalchemy import select

from sheet_reader.errors import StorageError
from sheet_reader.intake.arrivals import NO_PICTURE
from sheet_reader.intake.files import (
    DEFAULT,
    Arrival,
    NoPicture,
    file_name,
    too_many_bytes,
)
from sheet_reader.intake.gather import gather
from sheet_reader.intake.imap import Mailbox, connected, messages, password_for
from sheet_reader.intake.mail import from_mail, is_mail, is_mbox, is_tangled, mails_in, said_in
from sheet_reader.intake.pictures import is_overlay
from sheet_reader.numbers import READING
from sheet_reader.reading.tally import BatchTally
from sheet_reader.record.history import photos
from sheet_reader.record.originals import originals
from sheet_reader.record.people.remarks import Place, Remark, add_to_photo, keep_answer
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import our_errors
from sheet_reader.record.store.place import knows_photos
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now, span

HEAD = READING.mail_head
"""So many bytes hold the header of nearly every mail; one that names no letter of ours is left."""
_OURS = re.compile(r"<([0-9a-f]{32})@sheet-reader\.invalid>")
_SIGN = re.compile(r"\[([0-9a-f]{8})\]")
_OURS_BYTES = re.compile(rb"[0-9a-f]{32}@sheet-reader\.invalid|\[[0-9a-f]{8}\]")


def take_in(
    record: Record,
    arriving: Iterable[Arrival | NoPicture],
    tally: BatchTally,
    answers: Collection[str] = (),
) -> None:
    """Keep every original on the disk, then note it as waiting. ``answers`` are files in which an
    answer to a letter was found, which need no picture.
    """
    for item in arriving:
        if isinstance(item, NoPicture):
            if item.name in answers and item.reason == NO_PICTURE:
                continue
            tally.counts.update(["refused", "failed"])
            tally.lines.append(f"{item.name}: {item.reason}")
        elif is_overlay(item.data):
            tally.drawn.append(item.name)
        elif (photo_id := _keep(record, item)) is not None:
            tally.new.add(photo_id)
        else:
            tally.counts["known"] += 1


def _keep(record: Record, item: Arrival) -> int | None:
    """Keep one photo; gives its id if it is new, else None."""
    digest = hashlib.sha256(item.data).hexdigest()
    with record.reading() as connection:
        if photos.is_erased(connection, digest):
            return None
        is_first = not knows_photos(connection)
    original = originals.place_of(digest, item.suffix)
    if is_first:
        with record.writing() as connection:
            photos.announce(connection, digest)
    with our_errors(record.folder):
        written = originals.keep(record.folder, original, item.data)
    with record.writing() as connection:
        photo_id, new = photos.add_photo(
            connection, digest, item.name, original, len(item.data), item.origin
        )
        if item.said:
            mark = hashlib.sha256(f"{item.origin.sent_at}\n{item.said}".encode()).hexdigest()
            add_to_photo(connection, photo_id, Remark("mail", mark, item.origin.sender, item.said))
        if written and not new:
            photos.came_back(connection, digest, original)
    return photo_id if new else None


def fetch(record: Record, mailbox: Mailbox, tally: BatchTally) -> None:
    """Keep the photos of all new mail since the season began.

    A connection that breaks is a line in the tally; whatever came before is kept, and the next
    call goes on from there. Raises :class:`UsageError` where the server refuses, the folder or the
    password is missing, and :class:`StorageError` where the server was never reached.
    """
    password = password_for(mailbox)
    name = f"{mailbox.user}@{mailbox.host}/{mailbox.folder}"
    name = hashlib.sha256(name.encode()).hexdigest()  # an address is a person's, too
    mails = schema.mail_messages
    with record.reading() as connection:
        query = select(mails.c.mark).where(mails.c.mailbox == name)
        known = frozenset(connection.execute(query).scalars())
    came = 0
    try:
        with connected(mailbox, password) as server:
            since = span(record.study).first
            for message in messages(server, since, known, DEFAULT.mail_bytes):
                if (data := message.data) is None:
                    why = too_many_bytes(message.size, DEFAULT.mail_bytes)
                    what = f"mail {message.mark} in {mailbox.folder}"
                    take_in(record, [NoPicture(what, why)], tally)
                else:
                    arriving = from_mail(data, str(mailbox), way="mailbox")
                    take_in(record, arriving, tally)
                    answer = as_answer(data)
                    if answer is not None and (places := keep_answer(record, *answer)):
                        tally.lines.append(kept_with(places))
                    with record.writing() as connection:
                        photos.insert_new(
                            connection, mails, mailbox=name, mark=message.mark, seen_at=now()
                        )
                came += 1
    except StorageError as error:
        if error.where != str(mailbox) or not came:
            raise
        tally.lines.append(f"{error}")


def keep_answers(
    record: Record, paths: Iterable[Path]
) -> tuple[list[list[Place]], int, frozenset[str]]:
    """Keep the answers in mail files, mailboxes and folders as remarks on the visits that their
    letters ask about; files that are no mail, and mails that answer no letter of ours, are passed
    over.

    Gives, for each answer that is new, its visits; how many were known already; and the names of
    all files with an answer.
    """
    kept, known, names = [], 0, set()
    for path in (path for path in gather(paths) if isinstance(path, Path)):
        for answer in filter(None, map(as_answer, _mails(path))):
            places = keep_answer(record, *answer)
            if places is not None:
                names.add(file_name(path.name))
                known += not places
            kept += [places] if places else []
    return kept, known, frozenset(names)


def _mails(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        head = stream.read(HEAD)
        if is_mbox(head):
            yield from mails_in(path, DEFAULT.mail_bytes)
        elif is_mail(head) and _OURS_BYTES.search(head):
            yield head + stream.read(DEFAULT.mail_bytes)


def as_answer(data: bytes) -> tuple[tuple[str, ...], Remark] | None:
    """A mail as an answer; None where it answers no letter of ours or says nothing. A letter is
    named by its message, or by the sign in its subject where a mail program forgets the former.
    """
    if is_tangled(data):
        return None
    try:
        mail = email.message_from_bytes(data, policy=email.policy.default)
        named = f"{mail.get('In-Reply-To', '')} {mail.get('References', '')}"[:HEAD]
        subject = str(mail.get("Subject", ""))[:HEAD]
        letters = tuple(dict.fromkeys(_OURS.findall(named) or _SIGN.findall(subject)))
        said = said_in(mail) if letters else ""
        sender = str(mail.get("From", ""))[: READING.longest_sender]
    except Exception:  # the parser does not document what hostile bytes make it raise
        return None
    if not letters or not said:
        return None
    mark = hashlib.sha256(data).hexdigest()
    return letters, Remark("mail", mark, " ".join(sender.split()), said)


def kept_with(places: list[Place]) -> str:
    """The line that tells with which visits an answer is kept."""
    told = ", ".join(f"site {site} on {day or 'no day'}" for site, day in places)
    return f"an answer is kept with {told}"
