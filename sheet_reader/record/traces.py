"""Where a person is named: in the record, and in the coordinator's own files beside it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select

from sheet_reader.errors import UsageError
from sheet_reader.intake.gather import INBOX
from sheet_reader.intake.names import natural_key
from sheet_reader.intake.tags import tag_texts, texts_in
from sheet_reader.record import originals, schema
from sheet_reader.record.anonymise import decisions_naming
from sheet_reader.record.engine import RECORD_FILE
from sheet_reader.record.naming import both_names
from sheet_reader.record.parameters import RECORD
from sheet_reader.record.remarks import remarks_naming
from sheet_reader.study.model import Study

SHORTEST = RECORD.shortest_trace
MOST_LINES = RECORD.most_trace_lines
ENDINGS = frozenset(
    {"jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "pdf", "zip", "eml", "mbox"}
)
TEXT_FILES = frozenset({".csv", ".tsv", ".txt", ".toml", ".json", ".md", ".html", ".eml", ".mbox"})
BACKUPS = frozenset({".tar", ".tgz", ".gz", ".zip"})


@dataclass(frozen=True, slots=True)
class Traces:
    """What in the record names a person.

    ``photos`` gives for each photo the ids of the origins that name her; ``names`` what the photos
    are called, ``senders`` who sent them in how many ``mails``; ``decisions`` is the number of
    those that she took, ``deciders`` under which names; ``reasons`` is the number of reasons given
    for one that name her; ``remarks`` are those that she made or that name her.
    """

    photos: dict[int, list[int]]
    names: tuple[str, ...]
    senders: tuple[str, ...]
    mails: int
    decisions: int
    reasons: int
    deciders: tuple[str, ...]
    remarks: tuple[int, ...]

    @property
    def any(self) -> bool:
        """Whether there is anything at all."""
        return bool(self.photos or self.decisions or self.reasons or self.remarks)


def pattern_of(contact: str) -> re.Pattern[str]:
    """Finds the contact as whole words: "Ann" is not in "Joanne", nor jo@… in big.jo@…; the words
    of a name may be joined by other signs, as in ``Pat_Doe.jpg``.

    Raises :class:`UsageError` for a text that cannot mean one person.
    """
    contact = contact.strip()
    if len(contact) < SHORTEST:
        raise UsageError(f"“{contact}” is too short to tell one person from another")
    if contact.lower().lstrip("*.") in ENDINGS or not any(c.isalpha() for c in contact):
        raise UsageError(
            f"“{contact}” is part of many file names and no person",
            remedy="give a name or a mail address",
        )
    if "@" in contact:
        text = rf"(?<![\w.+-]){re.escape(contact)}(?![\w-]|\.\w)"
    else:
        words = r"[\W_]+".join(re.escape(word) for word in contact.split())
        text = rf"(?<![^\W_]){words}(?![^\W_])"
    return re.compile(text, re.IGNORECASE)


def in_record(connection: Connection, folder: Path, who: re.Pattern[str]) -> Traces:
    """Photos whose origin, name or tags name the person, and decisions she took."""
    p, o = schema.photos.c, schema.origins.c
    found: dict[int, list[int]] = {}
    senders: dict[str, None] = {}
    mails: set[tuple[str, ...]] = set()
    query = select(o.id, o.photo_id, o.sender, o.file_name, o.subject, o.container, o.sent_at)
    for row in connection.execute(query.order_by(o.photo_id)):
        if any(who.search(text) for text in row[2:6]):
            found.setdefault(row.photo_id, []).append(row.id)
            if row.sender:
                senders[row.sender] = None
                mails.add((row.sender, row.sent_at, row.subject, row.container))
    names: list[str] = []
    photos = select(p.id, p.name, p.original, p.forgotten_at).order_by(p.id)
    for photo_id, name, original, forgotten_at in connection.execute(photos):
        has_tags = forgotten_at is None and original
        if (
            photo_id in found
            or who.search(name)
            or (has_tags and _in_tags(originals.at(folder, original), who))
        ):
            found.setdefault(photo_id, [])
            names.append(both_names(photo_id, name))
    takers, reasons = decisions_naming(connection, who)
    return Traces(
        photos=found,
        names=tuple(names),
        senders=tuple(senders),
        mails=len(mails),
        decisions=len(takers),
        deciders=tuple(dict.fromkeys(takers)),
        reasons=reasons,
        remarks=remarks_naming(connection, who),
    )


def _in_tags(original: originals.File, who: re.Pattern[str]) -> bool:
    try:
        data = original.read_bytes()
    except OSError:
        return False
    return any(who.search(text) for text in tag_texts(data))


def in_her_files(study: Study, who: re.Pattern[str]) -> tuple[str, ...]:
    """A line for each of the coordinator's own files in the study's folder that names a person."""
    sites = [
        f"the site list names this contact for site {site.number}: edit it, and print a sheet "
        "of this site anew if its label changes"
        for site in study.sites
        if who.search(site.contact) or who.search(site.label)
    ]
    inbox = sorted(
        (path for path in (study.folder / INBOX).rglob("*") if path.is_file()),
        key=lambda path: natural_key(path.name),
    )
    named = [path.name for path in inbox if who.search(path.name)]
    inside = [
        path.name
        for path in inbox
        if not who.search(path.name) and any(who.search(text) for text in texts_in(path))
    ]
    return (
        *sites,
        *_capped(f"a file in the inbox bears the name: {name}" for name in named),
        *_capped(f"a file in the inbox names this person inside: {name}" for name in inside),
        *_capped(_other_files(study.folder, who)),
    )


def backups_in(study: Study) -> tuple[str, ...]:
    """A line for each file in the study's folder that looks like an earlier backup."""
    found = [path.name for path in _files(study.folder) if path.suffix.lower() in BACKUPS]
    return tuple(
        _capped(f"{name} may be a backup made before, which holds it still" for name in found)
    )


def _files(folder: Path) -> Iterator[Path]:
    """The coordinator's files outside the inbox: neither the record's own nor hidden ones."""
    kept = {originals.FOLDER, INBOX}
    for path in sorted(folder.rglob("*")):
        parts = path.relative_to(folder).parts
        if parts[0] in kept or parts[0].startswith((RECORD_FILE, ".")) or path.is_symlink():
            continue
        if path.is_file():
            yield path


def _other_files(folder: Path, who: re.Pattern[str]) -> Iterator[str]:
    """Older tables, overlays, notes: by their names, and texts by what they say."""
    for path in _files(folder):
        shown = path.relative_to(folder).as_posix()
        if who.search(path.name):
            yield f"a file bears the name: {shown}"
        elif path.suffix.lower() in TEXT_FILES and any(map(who.search, texts_in(path))):
            yield f"a file names this person: {shown}"


def _capped(lines: Iterable[str]) -> list[str]:
    found = list(lines)
    more = len(found) - MOST_LINES
    return found[:MOST_LINES] + ([f"and {more} more like this"] if more > 0 else [])
