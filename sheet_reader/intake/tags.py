"""What a file says of people: camera tags, captions, mail headers and texts, names in archives."""

from __future__ import annotations

import email
import mailbox
import warnings
from collections.abc import Iterator, Mapping
from contextlib import closing
from email.message import Message
from pathlib import Path

import pypdfium2

from sheet_reader.intake.archive import from_archive, is_zip
from sheet_reader.intake.decoding import looks_like_pdf
from sheet_reader.intake.files import DEFAULT, Arrival, Origin
from sheet_reader.intake.mail import (
    decoded_header,
    from_mail,
    is_mail,
    is_mbox,
    is_tangled,
    mails_in,
)
from sheet_reader.intake.pictures import is_picture, opened
from sheet_reader.numbers import INTAKE

HEADERS = ("From", "Sender", "Reply-To", "To", "Cc", "Subject")
EXIF_PARTS = (0x8769, 0x8825, 0xA005)
"""The Exif, GPS and interoperability directories (EXIF 2.32, 4.6.3)."""
_NO_TEXT = frozenset({"icc_profile", "exif"})


def tag_texts(data: bytes) -> Iterator[str]:
    """Every text in a picture's tags: EXIF, XMP, IPTC, comments, a PDF's description.

    Nothing is raised for bad content: what cannot be opened has no tags that could be shown.
    """
    try:
        if looks_like_pdf(data):
            with closing(pypdfium2.PdfDocument(data)) as document:
                yield from list(document.get_metadata_dict().values())
        else:
            yield from _picture_texts(data)
    except Exception:  # decoders do not document what hostile bytes make them raise
        return


def texts_in(path: Path) -> Iterator[str]:
    """Every text in the file at ``path`` that may name a person, its own name first.

    Mail gives headers and texts, mail and archives their pictures' names and tags, a picture its
    tags, anything else its whole text. A file that cannot be read gives its name only.
    """
    yield path.name
    try:
        with path.open("rb") as stream:
            head = stream.read(INTAKE.arrival_head)
            if is_mbox(head):
                for mail in mails_in(path, DEFAULT.mail_bytes):
                    yield from _mail_texts(mail)
                return
            data = head + stream.read(DEFAULT.mail_bytes)
    except (OSError, mailbox.Error, ValueError):
        return
    if is_mail(head):
        yield from _mail_texts(data)
    elif is_zip(data):
        for item in from_archive(path.name, data, Origin("folder", path.name)):
            yield item.name
            if isinstance(item, Arrival):
                yield from tag_texts(item.data)
    elif is_picture(head):
        yield from tag_texts(data)
    else:
        yield from _decoded(data)


def _picture_texts(data: bytes) -> Iterator[str]:
    with warnings.catch_warnings(action="ignore"), opened(data) as image:
        if image.format == "PNG":
            image.load()  # its texts may stand behind the picture
        info = {key: value for key, value in image.info.items() if key not in _NO_TEXT}
        exif = image.getexif()
        parts = [exif.get_ifd(part) for part in EXIF_PARTS]
        segments = [body for name, body in getattr(image, "applist", []) if name != "APP2"]
        found = list(_texts_of([info, dict(exif), parts, segments]))
    yield from found


def page_texts(path: Path) -> Iterator[str]:
    """What is written as text on the pages of the PDF at ``path``; raises what pypdfium2 does."""
    with closing(pypdfium2.PdfDocument(path)) as document:
        for page in document:
            yield page.get_textpage().get_text_bounded()


def _texts_of(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, bytes):
        yield from _decoded(value)
    elif isinstance(value, Mapping | list | tuple):
        for inner in value.values() if isinstance(value, Mapping) else value:
            yield from _texts_of(inner)


def _decoded(data: bytes) -> Iterator[str]:
    yield data.decode("utf-8", "replace")
    if b"\0" in data:
        yield data.decode("utf-16-le", "replace")
        yield data.decode("utf-16-be", "replace")


def _mail_texts(data: bytes) -> Iterator[str]:
    if is_tangled(data):
        yield from _decoded(data)
        return
    try:
        message = email.message_from_bytes(data)
        found = [decoded_header(message, header) for header in HEADERS]
        for part in message.walk():
            found += _part_texts(part)
    except Exception:  # the parser does not document what hostile bytes make it raise
        found = list(_decoded(data))
    yield from found
    for item in from_mail(data, ""):
        yield item.name
        if isinstance(item, Arrival):
            yield from tag_texts(item.data)


def _part_texts(part: Message) -> Iterator[str]:
    yield str(part.get_filename() or "")
    payload = part.get_payload(decode=True)
    if part.get_content_maintype() == "text" and isinstance(payload, bytes):
        yield payload.decode(part.get_content_charset() or "utf-8", "replace")
