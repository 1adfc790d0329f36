"""Drafts of mails: one per volunteer, as files that a mail program opens. Nothing is ever sent."""

from __future__ import annotations

import email.policy
import hashlib
import io
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from email.message import EmailMessage
from itertools import islice

import numpy as np
from PIL import Image

from sheet_reader.errors import SheetReaderError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import marked_as_overlay, open_pictures
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.record.people.remarks import SIGN, AskedItem
from sheet_reader.record.store.store import Record
from sheet_reader.results.contacts import addresses, sites_by_address
from sheet_reader.results.facts import Facts
from sheet_reader.results.letters.open_items import ASKS, Item, of_photos, open_items
from sheet_reader.results.letters.wording import LetterText, worded
from sheet_reader.results.status.standing import Status
from sheet_reader.study.study import Study

MOST_PICTURES = 12
"""So many pictures go into one letter."""
PHOTO_SIDE = 1200
"""Longer side, in px, of a photo that is sent back."""


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter to be: to whom, what it says, its identifier and its mail."""

    address: str
    sites: tuple[str, ...]
    items: tuple[Item, ...]
    mark: str
    data: bytes

    @property
    def asked(self) -> list[AskedItem]:
        """What goes on record of it."""
        return [AskedItem(i.site, i.visit_date, i.name) for i in self.items]


def to_say(
    study: Study, facts: Facts, status: Status, before: Collection[AskedItem]
) -> dict[str, list[Item]]:
    """By address, what a letter should say now: all that is open and was not said ``before``.

    A volunteer of whom nothing is asked gets no letter.
    """
    address_of = addresses(study)
    site_of = {address: sites[0] for address, sites in sites_by_address(study).items()}
    found: dict[str, list[Item]] = {}
    for item in (*open_items(study, facts, status), *of_photos(facts, site_of)):
        new = AskedItem(item.site, item.visit_date, item.name) not in before
        if new and item.site in address_of:
            found.setdefault(address_of[item.site].lower(), []).append(item)
    return {who: items for who, items in found.items() if any(i.kind in ASKS for i in items)}


def drafts(
    record: Record, said: Mapping[str, Iterable[Item]], words: Mapping[str, str],
    templates: Mapping[str, str],
) -> Iterator[Letter]:  # fmt: skip
    """A draft for each volunteer. Raises UsageError for a template that can't be filled."""
    study = record.study
    for address, several in said.items():
        items = tuple(several)
        drawn = ((item, _picture(record, item)) for item in items)
        shown = dict(islice(((i, p) for i, p in drawn if p is not None), MOST_PICTURES))
        text = worded(study, words, templates, items, list(shown))
        names = "\n".join(f"{i.site} {i.visit_date} {i.name}" for i in items)
        mark = hashlib.sha256(f"{study.key}\n{address}\n{names}".encode()).hexdigest()[:32]
        data = _mail(address, text, list(shown.values()), mark)
        sites = tuple(dict.fromkeys(item.site for item in items))
        yield Letter(address, sites, items, mark, data)


def message_id(mark: str) -> str:
    """The Message-ID of a letter, by which answers are known; .invalid is reserved (RFC 2606)."""
    return f"<{mark}@sheet-reader.invalid>"


def _mail(address: str, text: LetterText, pictures: list[bytes], mark: str) -> bytes:
    """The mail; "X-Unsent: 1" makes several mail programs open it for writing (from memory)."""
    mail = EmailMessage(policy=email.policy.SMTP)
    mail["To"] = address
    mail["Subject"] = f"{text.subject} [{mark[:SIGN]}]"
    mail["Message-ID"] = message_id(mark)
    mail["X-Unsent"] = "1"
    mail.set_content(text.text)
    mail.add_alternative(text.html, subtype="html")
    html = mail.get_payload()[1]  # type: ignore[index]
    assert isinstance(html, EmailMessage)
    for data, cid in zip(pictures, text.pictures, strict=True):
        html.add_related(
            data, "image", "jpeg", cid=f"<{cid}>", filename=f"{cid}.jpg", disposition="inline"
        )
    for number, part in enumerate(mail.walk()):
        if part.is_multipart():
            part.set_boundary(f"=={mark}-{number}==")
    return mail.as_bytes()


def _picture(record: Record, item: Item) -> bytes | None:
    """The picture of the place that an item is about, as JPEG, bare of all tags. It is marked as
    drawn by this program, so that it is no photo when it comes back with an answer.
    """
    if item.reading_id is not None:
        images = field_images(record, item.reading_id)
        if images.context_png:
            return _jpeg(Image.open(io.BytesIO(images.context_png)).convert("L"))
        boxes = list(images.boxes)
        return _jpeg(Image.fromarray(np.hstack(boxes))) if boxes else None
    if item.photo_id is None:
        return None
    try:
        parts = open_pictures(record.photo_path(item.photo_id))
    except SheetReaderError:
        return None
    page = next((part for part in parts if isinstance(part, OpenedPicture)), None)
    return None if page is None else _jpeg(Image.fromarray(page.gray))


def _jpeg(image: Image.Image) -> bytes:
    image.thumbnail((PHOTO_SIDE, PHOTO_SIDE))
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=85)
    return marked_as_overlay(stream.getvalue())
