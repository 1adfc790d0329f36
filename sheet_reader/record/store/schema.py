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

from sqlalchemy import (
    Boolean,
    Column,
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
    literal_column,
)

metadata = MetaData()

schema_version = Table(
    "schema_version",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False),
    Column("applied_at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
)

photos = Table(
    "photos",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("original", Text, nullable=False),
    Column("bytes", Integer, nullable=False),
    Column("received_at", String(32), nullable=False),
    Column("status", String(12), nullable=False),
    Column("reasons", Text),
    Column("attempts", Integer, nullable=False, default=0),
    Column("read_at", String(32)),
    Column("program", String(40), nullable=False, default=""),
    Column("model", String(80), nullable=False, default=""),
    Column("circumstances", String(64), nullable=False, default=""),
    Column("claimed_by", String(200)),
    Column("claimed_at", String(32)),
    Column("forgotten_at", String(32)),
)

origins = Table(
    "origins",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo_id", ForeignKey("photos.id"), nullable=False, index=True),
    Column("way", String(12), nullable=False),
    Column("file_name", Text, nullable=False),
    Column("container", Text, nullable=False),
    Column("sender", Text, nullable=False),
    Column("sent_at", String(40), nullable=False),
    Column("subject", Text, nullable=False),
    Column("seen_at", String(32), nullable=False),
    UniqueConstraint("photo_id", "way", "file_name", "container", "sender", "sent_at", "subject"),
)

mail_messages = Table(
    "mail_messages",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("mailbox", Text, nullable=False),
    Column("mark", String(60), nullable=False),
    Column("seen_at", String(32), nullable=False),
    UniqueConstraint("mailbox", "mark"),
)

wordings = Table(
    "wordings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("said", Text, nullable=False),
)

page_instances = Table(
    "page_instances",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo_id", ForeignKey("photos.id"), nullable=False),
    Column("frame", Integer, nullable=False),
    Column("position", Integer, nullable=False),
    Column("study", String(40), nullable=False),
    Column("layout", String(40), nullable=False),
    Column("sheet", String(40), nullable=False),
    Column("page", Integer, nullable=False),
    Column("identity", String(36), nullable=False, unique=True),
    Column("decoded_under", String(120)),
    Column("wording", ForeignKey("wordings.id"), nullable=False),
    UniqueConstraint("photo_id", "frame", "study", "layout", "sheet", "page", "position"),
)

reading_runs = Table(
    "reading_runs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False, index=True),
    Column("attempt", Integer, nullable=False),
    Column("at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
    Column("model", String(80), nullable=False),
    Column("identified_by", String(40), nullable=False),
    Column("px_per_mm", Float, nullable=False),
    Column("blur_mm", Float, nullable=False),
    Column("contrast", Float, nullable=False),
    Column("hidden_boxes", Integer, nullable=False),
    Column("glare_share", Float, nullable=False),
    Column("advice", Text, nullable=False),
    Column("site", String(40)),
    Column("visit_date", String(10)),
    Column("outline", Text, nullable=False),
    Column("threshold", Float, nullable=False),
    Column("evidence", LargeBinary),
    Column("decoded_from", Integer),
)

readings = Table(
    "readings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("reading_runs.id"), nullable=False),
    Column("field", String(200), nullable=False),
    Column("value", String(40)),
    Column("confidence", Float, nullable=False),
    Column("status", String(12), nullable=False),
    Column("reasons", Text),
    Column("runner_up", String(40)),
    Column("runner_up_confidence", Float, nullable=False),
    Column("corners", Text, nullable=False),
    Column("boxes_png", LargeBinary, nullable=False),
    Column("context_png", LargeBinary, nullable=False),
    UniqueConstraint("run_id", "field"),
)

decisions = Table(
    "decisions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    Column("field", String(200), nullable=False),
    Column("reading_id", ForeignKey("readings.id"), nullable=False),
    Column("kind", String(12), nullable=False),
    Column("value", String(40)),
    Column("by", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
    Column("blind", Boolean, nullable=False, default=False),
    Column("undoes", ForeignKey("decisions.id"), unique=True),
    Column("runs_before", Integer, nullable=False),
    Column("answer", Integer),
    Column("told", Text),
    Column("reason", Text),
)

sheet_decisions = Table(
    "sheet_decisions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo_id", ForeignKey("photos.id"), nullable=False, index=True),
    Column("page_instance_id", ForeignKey("page_instances.id")),
    Column("kind", String(12), nullable=False),
    Column("value", String(40)),
    Column("was", String(40)),
    Column("reason", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
    Column("undoes", ForeignKey("sheet_decisions.id"), unique=True),
    Column("runs_before", Integer, nullable=False),
    Column("decisions_before", Integer, nullable=False),
)

overruled = Table(
    "overruled",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("decision_id", ForeignKey("decisions.id"), nullable=False, index=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    Column("value", String(40)),
)

drafts = Table(
    "drafts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("letter", String(120), nullable=False, index=True),
    Column("site", String(40), nullable=False),
    Column("visit_date", String(10), nullable=False),
    Column("item", Text, nullable=False),
    Column("drafted_at", String(32), nullable=False),
)

remarks = Table(
    "remarks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), index=True),
    Column("site", String(40), nullable=False),
    Column("visit_date", String(10), nullable=False),
    Column("source", String(12), nullable=False),
    Column("mark", String(64), nullable=False),
    Column("author", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("kept_at", String(32), nullable=False),
    Column("photo_id", Integer),
    UniqueConstraint("site", "visit_date", "mark"),
)

meanings = Table(
    "meanings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(12), nullable=False),
    Column("former", String(200), nullable=False),
    Column("former_said", Text, nullable=False),
    Column("present", String(200), nullable=False),
    Column("present_said", Text, nullable=False),
    Column("same", Boolean, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
    Column("undoes", ForeignKey("meanings.id"), unique=True),
)

site_labels = Table(
    "site_labels",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("site", String(40), nullable=False),
    Column("label", Text, nullable=False),
    UniqueConstraint("site", "label"),
)

blind_answers = Table(
    "blind_answers",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("page_instance_id", ForeignKey("page_instances.id"), nullable=False),
    Column("field", String(200), nullable=False),
    Column("reading_id", ForeignKey("readings.id"), nullable=False),
    Column("said", String(40), nullable=False),
    Column("by", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("program", String(40), nullable=False),
    Column("decisions_before", Integer, nullable=False),
    UniqueConstraint("page_instance_id", "field", "by"),
)

leases = Table(
    "leases",
    metadata,
    Column("place", String(80), primary_key=True),
    Column("by", Text, nullable=False),
    Column("holder", String(200), nullable=False),
    Column("until", String(40), nullable=False),
)

about = Table(
    "about",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(40), nullable=False),
    Column("value", Text, nullable=False),
    UniqueConstraint("name", "value"),
)

row_checksums = Table(
    "row_checksums",
    metadata,
    Column("table_name", String(20), primary_key=True),
    Column("row_id", Integer, primary_key=True, autoincrement=False),
    Column("owner", Integer),
    Column("field", String(200), nullable=False),
    Column("digest", String(32), nullable=False),
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
