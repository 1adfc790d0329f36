"""The tables of the record, one definition for SQLite and PostgreSQL.

Their first release stands as frozen text beside this (``version_1_*.sql``), made of these tables
and their triggers by ``python -m sheet_reader.lab.schema_text``. Until that release a change of
this module renews the text; after it, it is a step in ``migrations.py``.

``photos`` are originals by content hash, with the circumstances they were last read under;
``origins`` say where each came from (personal data, removed by ``erase``); ``mail_messages`` are
the mails whose photos are all kept. A ``page_instance`` is one printed page in one photo: it stays
the same when the photo is read again, with its ``identity``. A ``reading_run`` is one reading of a
page instance by one program and model (its ``threshold`` is the one from which on counts were
accepted, 0 on a page that was typed in); its ``readings`` hold a value per field. ``evidence`` is
what a page was decoded from; a run made from that of an earlier run (``decoded_from``) has that
one's pictures.
``decoded_under`` names the rules under which a page was last decoded.
``reasons`` are kept as JSON (see :mod:`sheet_reader.reasons`), NULL for none.
``decisions`` are what people said about a field of a page instance, with a ``reason`` where they
gave one; ``runs_before`` is the highest id of a reading run that was there, so that runs and
decisions stand in one sequence whatever the clock says; ``answer`` numbers the answer that a
decision belongs to (NULL for one that takes another back), ``told`` is what the person was told of
(see answers; NULL for nothing).
``sheet_decisions`` are what people said about a whole photo (``page_instance_id`` NULL) or one
sheet in it: set aside, taken back, of another site or date than is printed; ``decisions_before``
puts them into the same sequence. ``overruled`` are the values of the same field on other pages that
a person was told of and decided against. Reading runs, readings, all decisions and overruled are
only ever added, never changed (see migrations). ``drafts`` say what was asked of volunteers in
which letter. ``remarks`` are what people say about a visit, about a page where they stand on one,
or in the mail that brought a photo (personal data, removed by ``erase``). ``wordings`` are what the
names on a page meant when it came in (see :mod:`sheet_reader.study.former`), ``site_labels`` what
sites were called when pages of theirs came in. ``meanings`` are answers about words that changed
since: ``same``, or not (``present_said`` "": as all that the study had then).
``blind_answers`` are what each of two people made of a field by herself; they are only ever added,
too. ``leases`` say who is shown which question now; they are no part of the history. ``about``
holds notes on the record itself, and ``row_checksums`` a checksum for each row of the others (see
checksums), leases apart.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    func,
    literal_column,
    select,
)
from sqlalchemy.schema import SchemaItem
from sqlalchemy.types import TypeEngine

metadata = MetaData()


def _table(name: str, *parts: SchemaItem) -> Table:
    """A table of rows that are numbered."""
    return Table(name, metadata, Column("id", Integer, primary_key=True), *parts)


def _filled(**kinds: TypeEngine[Any] | type[TypeEngine[Any]]) -> list[Column[Any]]:
    """Columns that always hold something, by their names."""
    return [Column(name, kind, nullable=False) for name, kind in kinds.items()]


def _may_be_null(**kinds: TypeEngine[Any] | type[TypeEngine[Any]]) -> list[Column[Any]]:
    """Columns that may hold nothing, by their names."""
    return [Column(name, kind) for name, kind in kinds.items()]


schema_version = Table(
    "schema_version", metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    *_filled(name=String(80), applied_at=String(32), program=String(40)),
)

photos = _table(
    "photos",
    Column("sha256", String(64), nullable=False, unique=True),
    *_filled(name=Text, original=Text, bytes=Integer, received_at=String(32), status=String(12)),
    *_may_be_null(reasons=Text),
    Column("attempts", Integer, nullable=False, default=0),
    *_may_be_null(read_at=String(32)),
    Column("program", String(40), nullable=False, default=""),
    Column("model", String(80), nullable=False, default=""),
    Column("circumstances", String(64), nullable=False, default=""),
    *_may_be_null(claimed_by=String(200), claimed_at=String(32), forgotten_at=String(32)),
)

origins = _table(
    "origins",
    Column("photo_id", ForeignKey("photos.id"), nullable=False, index=True),
    *_filled(
        way=String(12), file_name=Text, container=Text, sender=Text, sent_at=String(40),
        subject=Text, seen_at=String(32),
    ),
    UniqueConstraint("photo_id", "way", "file_name", "container", "sender", "sent_at", "subject"),
)

mail_messages = _table(
    "mail_messages",
    *_filled(mailbox=Text, mark=String(60), seen_at=String(32)),
    UniqueConstraint("mailbox", "mark"),
)

wordings = _table(
    "wordings",
    *_filled(said=Text),
)

page_instances = _table(
    "page_instances",
    Column("photo_id", ForeignKey("photos.id"), nullable=False),
    *_filled(
        frame=Integer, position=Integer, study=String(40), layout=String(40), sheet=String(40),
        page=Integer,
    ),
    Column("identity", String(36), nullable=False, unique=True),
    *_may_be_null(decoded_under=String(120)),
    Column("wording", ForeignKey("wordings.id"), nullable=False),
    UniqueConstraint("photo_id", "frame", "study", "layout", "sheet", "page", "position"),
)

reading_runs = _table(
    "reading_runs",
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False, index=True),
    *_filled(
        attempt=Integer, at=String(32), program=String(40), model=String(80),
        identified_by=String(40), px_per_mm=Float, blur_mm=Float, contrast=Float,
        hidden_boxes=Integer, glare_share=Float, advice=Text,
    ),
    *_may_be_null(site=String(40), visit_date=String(10)),
    *_filled(outline=Text, threshold=Float),
    *_may_be_null(evidence=LargeBinary, decoded_from=Integer),
)

readings = _table(
    "readings",
    Column("run_id", ForeignKey("reading_runs.id"), nullable=False),
    *_filled(field=String(200)),
    *_may_be_null(value=String(40)),
    *_filled(confidence=Float, status=String(12)),
    *_may_be_null(reasons=Text, runner_up=String(40)),
    *_filled(
        runner_up_confidence=Float, corners=Text, boxes_png=LargeBinary, context_png=LargeBinary,
    ),
    UniqueConstraint("run_id", "field"),
)

decisions = _table(
    "decisions",
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    *_filled(field=String(200)),
    Column("reading_id", ForeignKey("readings.id"), nullable=False),
    *_filled(kind=String(12)),
    *_may_be_null(value=String(40)),
    *_filled(by=Text, at=String(32), program=String(40)),
    Column("blind", Boolean, nullable=False, default=False),
    Column("undoes", ForeignKey("decisions.id"), unique=True),
    *_filled(runs_before=Integer),
    *_may_be_null(answer=Integer, told=Text, reason=Text),
)

sheet_decisions = _table(
    "sheet_decisions",
    Column("photo_id", ForeignKey("photos.id"), nullable=False, index=True),
    Column("page_instance_id", ForeignKey("page_instances.id")),
    *_filled(kind=String(12)),
    *_may_be_null(value=String(40), was=String(40)),
    *_filled(reason=Text, by=Text, at=String(32), program=String(40)),
    Column("undoes", ForeignKey("sheet_decisions.id"), unique=True),
    *_filled(runs_before=Integer, decisions_before=Integer),
)

overruled = _table(
    "overruled",
    Column("decision_id", ForeignKey("decisions.id"), nullable=False, index=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    *_may_be_null(value=String(40)),
)

drafts = _table(
    "drafts",
    Column("letter", String(120), nullable=False, index=True),
    *_filled(site=String(40), visit_date=String(10), item=Text, drafted_at=String(32)),
)

remarks = _table(
    "remarks",
    Column("page_instance_id", ForeignKey("page_instances.id"), index=True),
    *_filled(
        site=String(40), visit_date=String(10), source=String(12), mark=String(64), author=Text,
        text=Text, kept_at=String(32),
    ),
    *_may_be_null(photo_id=Integer),
    UniqueConstraint("site", "visit_date", "mark"),
)

meanings = _table(
    "meanings",
    *_filled(
        kind=String(12), former=String(200), former_said=Text, present=String(200),
        present_said=Text, same=Boolean, by=Text, at=String(32), program=String(40),
    ),
    Column("undoes", ForeignKey("meanings.id"), unique=True),
)

site_labels = _table(
    "site_labels",
    *_filled(site=String(40), label=Text),
    UniqueConstraint("site", "label"),
)

blind_answers = _table(
    "blind_answers",
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    *_filled(field=String(200)),
    Column("reading_id", ForeignKey("readings.id"), nullable=False),
    *_filled(said=String(40), by=Text, at=String(32), program=String(40), decisions_before=Integer),
    UniqueConstraint("page_instance_id", "field", "by"),
)

leases = Table(
    "leases", metadata,
    Column("place", String(80), primary_key=True),
    *_filled(by=Text, holder=String(200), until=String(40)),
)

about = _table(
    "about",
    *_filled(name=String(40), value=Text),
    UniqueConstraint("name", "value"),
)

row_checksums = Table(
    "row_checksums", metadata,
    Column("table_name", String(20), primary_key=True),
    Column("row_id", Integer, primary_key=True, autoincrement=False),
    *_may_be_null(owner=Integer),
    *_filled(field=String(200), digest=String(32)),
)

OPEN_CHECKSUMS = row_checksums.c.digest.in_([literal_column("''"), literal_column("'-'")])
Index(
    "row_checksums_open",
    row_checksums.c.table_name,
    row_checksums.c.row_id,
    sqlite_where=OPEN_CHECKSUMS,
    postgresql_where=OPEN_CHECKSUMS,
)
Index("decisions_by_place", decisions.c.page_instance_id, decisions.c.field)
Index("photos_by_status", photos.c.status)
PHOTOS_BY_NAME = Index("photos_by_name", photos.c.name)

APPEND_ONLY = (
    "reading_runs", "readings", "decisions", "overruled", "sheet_decisions", "wordings",
    "meanings", "site_labels", "blind_answers",
)  # fmt: skip
"""Tables to which the database itself lets rows be added only."""


def last_id(connection: Connection, table: Table) -> int:
    """The highest id in a table; 0 where it is empty."""
    return connection.scalar(select(func.max(table.c.id))) or 0


def notes(connection: Connection, name: str) -> list[str]:
    """The record's notes on itself of this name, oldest first."""
    query = select(about.c.value).where(about.c.name == name).order_by(about.c.id)
    return list(connection.scalars(query))
