"""Answers to letters, out of mail files: what the volunteer wrote, without what is quoted."""

from __future__ import annotations

import email
import email.policy
import hashlib
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from sheet_reader.intake.files import DEFAULT, file_name
from sheet_reader.intake.gather import gather
from sheet_reader.intake.mail import is_mail, is_mbox, is_tangled, mails_in, said_in
from sheet_reader.numbers import READING
from sheet_reader.record.people.remarks import Place, Remark, keep_answer
from sheet_reader.record.store.store import Record

HEAD = READING.mail_head
"""So many bytes hold the header of nearly every mail; one that names no letter of ours is left."""
_OURS = re.compile(r"<([0-9a-f]{32})@sheet-reader\.invalid>")
LONGEST_SENDER = READING.longest_sender
_SIGN = re.compile(r"\[([0-9a-f]{8})\]")
_OURS_BYTES = re.compile(rb"[0-9a-f]{32}@sheet-reader\.invalid|\[[0-9a-f]{8}\]")


def answers_in(paths: Iterable[Path]) -> Iterator[tuple[Path, tuple[str, ...], Remark]]:
    """The answers in mail files, mailboxes and folders: the file, the letters it answers, itself.

    Files that are no mail, and mails that answer no letter of ours, are passed over.
    """
    for path in gather(paths):
        if isinstance(path, Path):
            for data in _mails(path):
                found = as_answer(data)
                if found is not None:
                    yield path, *found


def keep_answers(
    record: Record, paths: Iterable[Path]
) -> tuple[list[list[Place]], int, frozenset[str]]:
    """Keep the answers in these files as remarks on the visits that their letters ask about.

    Gives, for each answer that is new, its visits; how many were known already; and the names of
    all files with an answer.
    """
    kept, known, names = [], 0, set()
    for path, letters, answer in answers_in(paths):
        places = keep_answer(record, letters, answer)
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
        sender = str(mail.get("From", ""))[:LONGEST_SENDER]
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
