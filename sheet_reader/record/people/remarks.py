"""Remarks of people: on a visit, on the page on which they stand, or in the mail that brought a
photo; and what letters asked of them. Personal data.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, delete, func, insert, or_, select

from sheet_reader.errors import UsageError
from sheet_reader.record.history.photos import insert_new
from sheet_reader.record.people.people import Person
from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.days import now

Place = tuple[str, str]
"""Site and visit date."""
Source = Literal["mail", "person"]
LONGEST = 2_000
BY_MAIL = "by mail: "
"""Stands before what came by mail."""
CAME_BY_MAIL = f"{BY_MAIL}it is in the record"
COMMENTS = "comments"
"""Marks what the comments area of a page says, typed up."""
SIGN = 8
GOES_ALONG = frozenset({"thanks", "advice"})
"""How items begin that ask nothing: an answer is not about them."""


@dataclass(frozen=True, slots=True)
class Remark:
    """What somebody said. ``source`` "mail": in a mail; "person": typed by hand.

    ``mark`` (at most 64 characters) tells remarks apart: the same one is kept once for each visit.
    ``author`` (a name or address, "" for unknown) is there for ``erase`` and leaves in no table.
    """

    source: Source
    mark: str
    author: str
    text: str


def add_to_visit(connection: Connection, place: Place, remark: Remark) -> bool:
    """Keep a remark on a visit; False where it is known already. ``connection`` is writing."""
    return _add(connection, remark, place)


def add_to_photo(connection: Connection, photo_id: int, remark: Remark) -> bool:
    """Keep what the mail said that brought a photo; it goes to the visits of the sheets in it.
    False where it is known already, or the photo's sender was erased. ``connection`` is writing.
    """
    p = schema.photos.c
    if connection.scalar(select(p.forgotten_at).where(p.id == photo_id)) is not None:
        return False
    return _add(connection, remark, of=f"photo {photo_id}:", photo_id=photo_id)


def add_to_page(connection: Connection, page_instance_id: int, remark: Remark) -> bool:
    """Keep a remark on a page seen in a photo; it goes to the visit where the page belongs, now
    and after a correction. False where it is known already. ``connection`` is writing.
    """
    number = page_instance_id
    return _add(connection, remark, of=f"{number}:", page_instance_id=number)


def _add(
    connection: Connection, said: Remark, place: Place = ("", ""), of: str = "", **about: int
) -> bool:
    row = {"source": said.source, "mark": f"{of}{said.mark}"[:64], "author": said.author,
           "text": said.text[:LONGEST], "kept_at": now(), **about}  # fmt: skip
    return insert_new(connection, schema.remarks, site=place[0], visit_date=place[1], **row)


@dataclass(frozen=True, slots=True)
class Remarks:
    """All remarks, each as (id, text): ``of_visits`` by site and date, ``of_pages`` by page
    instance.
    """

    of_visits: Mapping[Place, tuple[tuple[int, str], ...]]
    of_pages: Mapping[int, tuple[tuple[int, str], ...]]

    def on(self, place: Place, pages: Iterable[int]) -> tuple[str, ...]:
        """The remarks on a visit and on its pages, in the order in which they came, each once: a
        mail may bring two photos of a sheet.
        """
        found = set(self.of_visits.get(place, ()))
        for page in pages:
            found.update(self.of_pages.get(page, ()))
        return tuple(dict.fromkeys(text for _, text in sorted(found)))


def remarks_of(record: Record, *, of_mail: bool = True) -> Remarks:
    """All remarks of a record; without what stands in mails, which was written to one person, there
    is only said that one came.
    """
    r = schema.remarks.c
    visits: dict[Place, list[tuple[int, str]]] = defaultdict(list)
    pages: dict[int, list[tuple[int, str]]] = defaultdict(list)
    s = schema.page_instances.c
    query = select(r.id, r.page_instance_id, r.site, r.visit_date, r.text, r.source, r.photo_id)
    with record.reading() as connection:
        brought: dict[int, list[int]] = defaultdict(list)
        for page in connection.execute(select(s.id, s.photo_id)):
            brought[page.photo_id].append(page.id)
        for row in connection.execute(query.order_by(r.id)):
            mail = f"{BY_MAIL}{row.text}" if of_mail else CAME_BY_MAIL
            said = row.id, mail if row.source == "mail" else row.text
            if row.photo_id is not None:
                for number in brought[row.photo_id]:
                    pages[number].append(said)
            elif row.page_instance_id is None:
                visits[row.site, row.visit_date].append(said)
            else:
                pages[row.page_instance_id].append(said)
    return Remarks(
        {place: tuple(texts) for place, texts in visits.items()},
        {page: tuple(texts) for page, texts in pages.items()},
    )


def typed_up(record: Record) -> dict[int, str]:
    """What the comments say that were typed up, by page instance."""
    r = schema.remarks.c
    query = select(r.page_instance_id, r.mark, r.text).where(r.page_instance_id.is_not(None))
    with record.reading() as connection:
        rows = connection.execute(query).all()
    return {
        row.page_instance_id: row.text
        for row in rows
        if row.mark == f"{row.page_instance_id}:{COMMENTS}"
    }


def remarks_naming(connection: Connection, who: Person) -> tuple[int, ...]:
    """The remarks that a person made or that name her."""
    r = schema.remarks.c
    rows = connection.execute(select(r.id, r.author, r.text))
    return tuple(row.id for row in rows if who.named_in(row.author) or who.named_in(row.text))


def type_up(record: Record, page_instance_id: int, text: str, by: str) -> None:
    """Keep what the comments on a page say in place of what was typed up before; "" takes it out.

    Raises :class:`UsageError` for a text that is too long.
    """
    text = " ".join(text.split())
    if len(text) > LONGEST:
        raise UsageError(f"a remark has at most {LONGEST:,} signs, this has {len(text):,}")
    r = schema.remarks.c
    mine = (r.page_instance_id == page_instance_id) & (r.mark == f"{page_instance_id}:{COMMENTS}")
    with record.writing() as connection:
        connection.execute(delete(schema.remarks).where(mine))
        if text:
            add_to_page(connection, page_instance_id, Remark("person", COMMENTS, by, text))


@dataclass(frozen=True, slots=True)
class AskedItem:
    """One thing that a letter says of a visit; ``item`` tells things of one visit apart."""

    site: str
    visit_date: str
    item: str


def asked_before(record: Record) -> set[AskedItem]:
    """All that letters have asked so far."""
    d = schema.drafts.c
    with record.reading() as connection:
        return {AskedItem(*row) for row in connection.execute(select(d.site, d.visit_date, d.item))}


def note_drafts(record: Record, letters: Mapping[str, Iterable[AskedItem]]) -> None:
    """Keep what each letter (by its mark) asks, all of them or none."""
    at = now()
    rows = [
        {"letter": letter, "site": a.site, "visit_date": a.visit_date, "item": a.item,
         "drafted_at": at}
        for letter, asked in letters.items()
        for a in asked
    ]  # fmt: skip
    if rows:
        with record.writing() as connection:
            connection.execute(insert(schema.drafts), rows)


def keep_answer(record: Record, letters: Iterable[str], answer: Remark) -> list[Place] | None:
    """Keep an answer with every visit that the letters it answers ask about; a letter may be named
    by the first SIGN characters of its mark.

    Gives those it was new to, [] where it is known already, None where no letter of ours is
    answered.
    """
    d = schema.drafts.c
    named = list(letters)
    ours = or_(d.letter.in_(named), func.substr(d.letter, 1, SIGN).in_(named))
    query = select(d.site, d.visit_date, d.item).where(ours)
    with record.writing() as connection:
        places = sorted({
            (row.site, row.visit_date) for row in connection.execute(query)
            if row.item.partition(":")[0] not in GOES_ALONG
        })  # fmt: skip
        if not places:
            return None
        return [place for place in places if add_to_visit(connection, place, answer)]


def senders(record: Record) -> dict[int, tuple[str, ...]]:
    """Who sent each photo, by its number: addresses as they stood in the mail."""
    o = schema.origins.c
    found: dict[int, list[str]] = defaultdict(list)
    with record.reading() as connection:
        query = select(o.photo_id, o.sender).where(o.sender != "").order_by(o.id)
        for row in connection.execute(query):
            found[row.photo_id].append(row.sender)
    return {photo_id: tuple(dict.fromkeys(names)) for photo_id, names in found.items()}
