"""Where a person is named: in the record, and in the coordinator's own files beside it."""

from __future__ import annotations

import zipfile
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from sheet_reader.intake.decoding import looks_like_pdf
from sheet_reader.intake.files import natural_key
from sheet_reader.intake.gather import INBOX
from sheet_reader.intake.mail import is_mbox
from sheet_reader.intake.tags import page_texts, tag_texts, texts_in
from sheet_reader.numbers import RECORD
from sheet_reader.record.history.photos import both_names
from sheet_reader.record.originals import originals
from sheet_reader.record.originals.backup import SQLITE_MAGIC
from sheet_reader.record.people.people import DECISIONS, Person, leases_of, naming
from sheet_reader.record.people.remarks import remarks_naming
from sheet_reader.record.store import schema
from sheet_reader.record.store.engine import LOGS, RECORD_FILE
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.wording import neutral_name

MOST_LINES = RECORD.most_trace_lines
MOST_BYTES = 20_000_000
"""Larger files, but for mail, are not looked through, and said to be so."""
OWN = frozenset(f"{RECORD_FILE}{ending}" for ending in ("", *LOGS))
PARQUET = b"PAR1"
BACKUPS = frozenset({".tar", ".tgz", ".gz", ".zip"})


@dataclass(frozen=True, slots=True)
class Traces:
    """What in the record names a person, and what :func:`.erase.erase` would remove or blank.

    ``photos`` gives for each photo the ids of the origins that name her; ``names`` what the photos
    are called, ``senders`` who sent them in how many ``mails``; ``at_sites`` are the photos of
    sites whose contact she is, in which she may have written her name, and ``others`` is the number
    of all other photos. ``decisions`` is the number of those that she took, ``deciders`` under
    which names; ``reasons`` is the number of reasons given for one that name her; ``remarks`` are
    those that she made or that name her; ``at_work`` is the number of questions and photos that
    programs of hers hold now, ``labels`` that of sites' labels that name her.
    """

    photos: dict[int, list[int]]
    names: tuple[str, ...]
    senders: tuple[str, ...]
    mails: int
    at_sites: tuple[int, ...]
    others: int
    decisions: int
    reasons: int
    deciders: tuple[str, ...]
    remarks: tuple[int, ...]
    at_work: int
    labels: int

    @property
    def any(self) -> bool:
        """Whether the record names her at all."""
        named = (self.photos, self.decisions, self.reasons, self.remarks, self.at_work, self.labels)
        return any(named)


def in_record(record: Record, who: Person, hers: Collection[int] = ()) -> Traces:
    """Photos whose origin, name or tags name the person, or that are ``hers`` (by their ids), those
    of her sites, and decisions she took.
    """
    with record.reading() as connection:
        o, p = schema.origins.c, schema.photos.c
        query = select(o.id, o.photo_id, o.sender, o.file_name, o.subject, o.container, o.sent_at)
        sent = [
            row for row in connection.execute(query.order_by(o.photo_id))
            if row.photo_id in hers or any(map(who.named_in, row[2:6]))
        ]  # fmt: skip
        found: dict[int, list[int]] = {}
        for row in sent:
            found.setdefault(row.photo_id, []).append(row.id)
        names: list[str] = []
        whole: set[int] = set()
        photos = select(p.id, p.name, p.original, p.forgotten_at).order_by(p.id)
        for photo_id, name, original, forgotten_at in connection.execute(photos):
            has_tags = forgotten_at is None and original
            whole |= {photo_id} if has_tags else set()
            if (
                photo_id in found
                or photo_id in hers
                or who.named_in(name)
                or (has_tags and _in_tags(originals.at(record.folder, original), who))
            ):
                found.setdefault(photo_id, [])
                names.append(both_names(photo_id, name))
        decided = [row for table in DECISIONS for row in naming(connection, table, who).values()]
        takers = [row["by"] for row in decided if "by" in row]
        remarks = remarks_naming(connection, who)
        at_work = len(leases_of(connection, who)) + len(naming(connection, schema.photos, who))
        labels = len(naming(connection, schema.site_labels, who))
    sites = {site.number for site in record.study.sites if who.named_in(site.contact)}
    visits = [*record.state(), *record.state_aside()] if sites else []
    seen = {page.photo_id for v in visits if v.site in sites for page in v.pages}
    mails = {(row.sender, row.sent_at, row.subject, row.container) for row in sent if row.sender}
    return Traces(
        photos=found,
        names=tuple(names),
        senders=tuple(dict.fromkeys(row.sender for row in sent if row.sender)),
        mails=len(mails),
        at_sites=tuple(sorted((seen & whole) - set(found))),
        others=len(whole - seen - set(found)),
        decisions=len(takers),
        deciders=tuple(dict.fromkeys(takers)),
        reasons=sum("reason" in row for row in decided),
        remarks=remarks,
        at_work=at_work,
        labels=labels,
    )


def _in_tags(original: originals.File, who: Person) -> bool:
    try:
        data = original.read_bytes()
    except OSError:
        return False
    return any(who.named_in(text) for text in tag_texts(data))


def in_her_files(study: Study, who: Person) -> tuple[str, ...]:
    """A line for each of the coordinator's own files in the study's folder that names a person."""
    sites = [
        f"the site list names this contact for site {site.number}: edit it, and print a sheet "
        "of this site anew if its label changes"
        for site in study.sites
        if who.named_in(site.contact) or who.named_in(site.label)
    ]
    inbox = sorted(_inbox(study.folder), key=lambda path: natural_key(path.name))
    inside = (
        path.name for path in inbox
        if not who.named_in(path.name) and any(map(who.named_in, texts_in(path)))
    )  # fmt: skip
    bearing = (path.name for path in inbox if who.named_in(path.name))
    return (
        *sites,
        *_capped(f"a file in the inbox bears the name: {name}" for name in bearing),
        *_capped(f"a file in the inbox names this person inside: {name}" for name in inside),
        *_capped(_other_files(study.folder, who)),
    )


def _inbox(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / INBOX).rglob("*") if path.is_file())


def copies_of(folder: Path, digests: Collection[str], photo_ids: Collection[int]) -> list[str]:
    """A line for each file in the study's folder that shows one of these photos still: the photo
    itself, by its SHA-256, and pictures drawn from it, by their neutral name.
    """
    drawn = {neutral_name(number) for number in photo_ids}
    return [
        *_capped(
            f"a file in the inbox is such a photo as it came: {path.relative_to(folder)}"
            for path in _inbox(folder)
            if originals.sha256_of(path) in digests
        ),
        *_capped(
            f"a picture was drawn from such a photo: {path.relative_to(folder)}"
            for path in _files(folder)
            if path.stem in drawn or path.stem.rpartition("-")[0] in drawn
        ),
    ]


def closed_files(study: Study, *, backups: bool) -> list[str]:
    """A line for each file in the study's folder that may name a person and can't be looked into,
    and with ``backups`` for each that looks like an earlier backup.
    """
    folder, closed, older = study.folder, list[str](), list[str]()
    for path in _files(folder):
        name, head = path.relative_to(folder).as_posix(), _head(path)
        if _may_be_backup(path, head):
            older.append(f"{name} may be a backup made before, which holds it still")
        elif _is_closed(path, head):
            closed.append(f"this can't be looked into, see for yourself: {name}")
    return [*_capped(closed), *(_capped(older) if backups else ())]


def _files(folder: Path) -> Iterator[Path]:
    """The coordinator's files outside the inbox and the record's own."""
    kept = {originals.FOLDER, INBOX, *OWN}
    for path in sorted(folder.rglob("*")):
        own = path.relative_to(folder).parts[0] in kept
        if not own and not path.is_symlink() and path.is_file():
            yield path


def _other_files(folder: Path, who: Person) -> Iterator[str]:
    """Older tables, overlays, letters, notes: by their names, and by what they say."""
    for path in _files(folder):
        shown, head = path.relative_to(folder).as_posix(), _head(path)
        if who.named_in(path.name):
            yield f"a file bears the name: {shown}"
        elif _is_closed(path, head):
            continue
        elif any(map(who.named_in, (*texts_in(path), *_more_texts(path, head)))):
            yield f"a file names this person: {shown}"


def _is_closed(path: Path, head: bytes) -> bool:
    large = path.stat().st_size > MOST_BYTES and not is_mbox(head)
    return large or head.startswith(PARQUET) or _may_be_backup(path, head)


def _may_be_backup(path: Path, head: bytes) -> bool:
    return path.suffix.lower() in BACKUPS or head.startswith(SQLITE_MAGIC)


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(16)
    except OSError:
        return b""


def _more_texts(path: Path, head: bytes) -> Iterator[str]:
    """What stands on the pages of a PDF, and in the sheets of a workbook."""
    try:
        if looks_like_pdf(head):
            yield from page_texts(path)
        elif zipfile.is_zipfile(path):
            left = MOST_BYTES
            with zipfile.ZipFile(path) as archive:
                for member in archive.infolist():
                    with archive.open(member) as stream:
                        data = stream.read(left)
                    left -= len(data)
                    yield data.decode("utf-8", "replace")
    except Exception:  # decoders do not document what hostile bytes make them raise
        return


def _capped(lines: Iterable[str]) -> list[str]:
    found = list(lines)
    more = len(found) - MOST_LINES
    return found[:MOST_LINES] + ([f"and {more} more like this"] if more > 0 else [])
