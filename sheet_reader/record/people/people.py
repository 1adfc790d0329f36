"""Where a study can hold a person: the one list that :mod:`.erase` goes by; who is meant, and how
a name is replaced.

Every column that holds text or a picture stands in exactly one of the sets below, and so does every
kind of area for free writing; a test holds them against the schema. In the study's folder nothing
needs a list: whatever is not the record or an original is looked through and told
(:func:`.traces.in_her_files`).

Who decided, and who is named in a reason, is the one change that the history allows. The database
refuses every change of a decision (see the schema): within one writing transaction the refusal is
taken away, the names are replaced, and it is put back; nobody else can write in between, and an
interruption leaves everything as it was.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import Connection, Table, delete, select, update

from sheet_reader.errors import UsageError
from sheet_reader.numbers import RECORD
from sheet_reader.record.store import schema

NOBODY = "forgotten person"
REMOVED = "(removed)"
REPLACED: dict[str, str | None] = {
    "decisions.by": NOBODY,
    "decisions.reason": REMOVED,
    "sheet_decisions.by": NOBODY,
    "sheet_decisions.reason": REMOVED,
    "meanings.by": NOBODY,
    "meanings.former_said": REMOVED,
    "meanings.present_said": REMOVED,
    "site_labels.label": REMOVED,
    "blind_answers.by": NOBODY,
    "photos.claimed_by": None,
}
"""Where one of these names the person, this stands there instead, and the row stays."""
ROWS_GO = frozenset({
    "origins.way", "origins.file_name", "origins.container", "origins.sender", "origins.sent_at",
    "origins.subject", "origins.seen_at",
    "remarks.author", "remarks.text", "remarks.mark", "remarks.kept_at", "remarks.source",
    "remarks.site", "remarks.visit_date",
    "leases.place", "leases.by", "leases.holder", "leases.until",
})  # fmt: skip
"""Rows of these go where one of their columns names the person, or its photo is hers."""
BY_PHOTO = frozenset({"photos.name", "photos.original"})
"""Of a photo that is hers: the neutral name, and a bare picture with the name's box blanked."""
HARMLESS = frozenset({
    "photos.sha256", "photos.received_at", "photos.status", "photos.reasons",
    "photos.read_at", "photos.program", "photos.model", "photos.circumstances",
    "photos.claimed_at", "photos.forgotten_at",
    "mail_messages.mailbox", "mail_messages.mark", "mail_messages.seen_at",
    "page_instances.study", "page_instances.layout", "page_instances.sheet",
    "page_instances.decoded_under", "page_instances.identity",
    "reading_runs.at", "reading_runs.program", "reading_runs.model", "reading_runs.identified_by",
    "reading_runs.advice", "reading_runs.site", "reading_runs.visit_date", "reading_runs.outline",
    "reading_runs.evidence",
    "readings.field", "readings.value", "readings.status", "readings.reasons",
    "readings.runner_up", "readings.corners", "readings.boxes_png", "readings.context_png",
    "decisions.field", "decisions.kind", "decisions.value", "decisions.at", "decisions.program",
    "decisions.told",
    "sheet_decisions.kind", "sheet_decisions.value", "sheet_decisions.was", "sheet_decisions.at",
    "sheet_decisions.program",
    "overruled.value",
    "drafts.letter", "drafts.site", "drafts.visit_date", "drafts.item", "drafts.drafted_at",
    "meanings.kind", "meanings.former", "meanings.present",
    "meanings.at", "meanings.program", "wordings.said",
    "site_labels.site",
    "blind_answers.field", "blind_answers.said", "blind_answers.at", "blind_answers.program",
    "about.name", "about.value",
    "row_checksums.table_name", "row_checksums.field", "row_checksums.digest",
    "schema_version.name", "schema_version.applied_at", "schema_version.program",
})  # fmt: skip
"""Codes, hashes, numbers, times, sites' numbers and labels, fields' names and labels; crops of
number boxes with 6 mm around, which never reach the box for who counted (a test looks).
"""
BLANKED_AREAS = frozenset({"counted_by"})
TOLD_AREAS = frozenset({"comments"})
HARMLESS_AREAS = frozenset({"tally"})
DECISIONS = (schema.decisions, schema.sheet_decisions, schema.meanings, schema.blind_answers)

_ENDINGS = frozenset(
    {"jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "pdf", "zip", "eml", "mbox"}
)
_SPELLED_OUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe", "œ": "oe",
                              "æ": "ae"})  # fmt: skip
_PLAIN = str.maketrans({"ø": "o", "œ": "oe", "æ": "ae", "ł": "l", "đ": "d", "ð": "d", "þ": "th",
                        "ı": "i"})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Person:
    """Who is to be found: ``patterns``, one for each way to write umlauts."""

    patterns: tuple[re.Pattern[str], ...]

    def named_in(self, text: str | None) -> bool:
        """Whether a text names this person, in capitals or not, composed or decomposed Unicode,
        with accents or without, umlauts and ß as they are or spelled out.
        """
        forms = _forms(text or "")
        return any(
            pattern.search(form) for pattern, form in zip(self.patterns, forms, strict=True)
        )


def person_meant(contact: str) -> Person:
    """The contact as whole words: "Ann" is not in "Joanne", nor jo@… in big.jo@…; the words of a
    name may be joined by other signs, as in ``Pat_Doe.jpg``.

    Raises :class:`UsageError` for a text that cannot mean one person.
    """
    contact = contact.strip()
    if len(contact) < RECORD.shortest_trace:
        raise UsageError(f"“{contact}” is too short to tell one person from another")
    if contact.lower().lstrip("*.") in _ENDINGS or not any(c.isalpha() for c in contact):
        raise UsageError(
            f"“{contact}” is part of many file names and no person",
            remedy="give a name or a mail address",
        )
    return Person(tuple(map(_pattern, _forms(contact))))


def _pattern(contact: str) -> re.Pattern[str]:
    if "@" in contact:
        return re.compile(rf"(?<![\w.+-]){re.escape(contact)}(?![\w-]|\.\w)")
    words = r"[\W_]+".join(re.escape(word) for word in contact.split())
    return re.compile(rf"(?<![^\W_]){words}(?![^\W_])")


def _forms(text: str) -> tuple[str, str]:
    """The text for comparing: umlauts without their dots, and spelled out; Unicode's default
    caseless matching of compatibility forms (The Unicode Standard, 3.13), marks and signs without
    a shape left out.
    """
    if text.isascii():
        return (text.lower(),) * 2
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return _bare(folded.translate(_PLAIN)), _bare(folded.translate(_SPELLED_OUT).translate(_PLAIN))


def _bare(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text)
    return "".join(c for c in apart if unicodedata.category(c) not in ("Mn", "Cf"))


def naming(connection: Connection, table: Table, who: Person) -> dict[int, dict[str, str]]:
    """The columns of a table that name this person, with what they say, by the row's id."""
    columns = [c for c in table.c if f"{table.name}.{c.name}" in REPLACED]
    found: dict[int, dict[str, str]] = {}
    for number, *texts in connection.execute(select(table.c.id, *columns).order_by(table.c.id)):
        said = zip(columns, texts, strict=True)
        if named := {c.name: text for c, text in said if who.named_in(text)}:
            found[number] = named
    return found


def leases_of(connection: Connection, who: Person) -> list[str]:
    """The places that programs of this person hold now."""
    rows = connection.execute(select(schema.leases))
    return [row.place for row in rows if who.named_in(row.by) or who.named_in(row.holder)]


def forget_names(connection: Connection, who: Person) -> int:
    """Replace what names this person in decisions and notes of programs at work; nothing else
    changes. Her leases end. Gives the number of decisions.

    ``connection`` must be inside a writing transaction.
    """
    hers = schema.leases.c.place.in_(leases_of(connection, who))
    connection.execute(delete(schema.leases).where(hers))
    _forget(connection, schema.photos, who)
    forgotten = 0
    for table in (*DECISIONS, schema.site_labels):
        if naming(connection, table, who):
            with _changes_allowed(connection, table.name):
                changed = _forget(connection, table, who)
            forgotten += changed if table in DECISIONS else 0
    return forgotten


def _forget(connection: Connection, table: Table, who: Person) -> int:
    found = naming(connection, table, who)
    for number, columns in found.items():
        new = {name: REPLACED[f"{table.name}.{name}"] for name in columns}
        if table is schema.blind_answers:
            new["by"] = _other_nobody(connection, number)
        if table is schema.site_labels:
            new["label"] = f"{REMOVED} {number}"  # a site's labels stay different ones
        connection.execute(update(table).where(table.c.id == number).values(new))
    return len(found)


def _other_nobody(connection: Connection, number: int) -> str:
    """A name for nobody that no other blind answer to this question bears: two people stay two."""
    b = schema.blind_answers.c
    row = connection.execute(select(b.page_instance_id, b.field).where(b.id == number)).one()
    same = (b.page_instance_id == row.page_instance_id) & (b.field == row.field)
    taken = set(connection.scalars(select(b.by).where(same)))
    names = [NOBODY, *(f"{NOBODY} {n}" for n in range(2, len(taken) + 2))]
    return next(name for name in names if name not in taken)


@contextmanager
def _changes_allowed(connection: Connection, name: str) -> Iterator[None]:
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"ALTER TABLE {name} DISABLE TRIGGER {name}_keep")
        yield
        connection.exec_driver_sql(f"ALTER TABLE {name} ENABLE TRIGGER {name}_keep")
        return
    guard = f"{name}_keep_update"
    query = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?"
    sql = connection.exec_driver_sql(query, (guard,)).scalar_one()
    connection.exec_driver_sql(f"DROP TRIGGER {guard}")
    yield
    connection.exec_driver_sql(sql)
