"""Pictures out of mail: attachments, pictures in the text, archives attached; malformed or not."""

from __future__ import annotations

import base64
import binascii
import email
import email.policy
import email.utils
import io
import mailbox
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace
from email.message import Message
from pathlib import Path

from PIL import Image

from sheet_reader.intake.archive import PICTURE_ENDINGS, from_archive, is_zip
from sheet_reader.intake.bounds import Bounds
from sheet_reader.intake.mail_text import said_in
from sheet_reader.intake.names import file_name, one_line
from sheet_reader.intake.pictures import is_heif, is_picture, suffix_of, too_many_bytes
from sheet_reader.intake.types import Arrival, Origin, Unreadable
from sheet_reader.numbers import INTAKE

DAMAGED = "the mail is damaged"
TANGLED = "the mail is made of too many parts within parts"
MOST_SEPARATORS = INTAKE.most_separators
MOST_LINES_TIMES_DEPTH = INTAKE.most_lines_times_depth
LONGEST_HEADER = INTAKE.longest_header
SMALLEST_SIDE = INTAKE.smallest_side_px

_HEADER = re.compile(
    rb"^(received|from|to|date|message-id|mime-version|return-path|subject|content-type):",
    re.IGNORECASE | re.MULTILINE,
)
_BOUNDARY = re.compile(rb"boundary\s*=", re.IGNORECASE)
_FIRST_LINE = re.compile(rb"^[!-9;-~]{1,80}:")
_IN_HTML = re.compile(rb"data:image/[a-z+.-]{1,20};base64,([A-Za-z0-9+/=\s%]+)", re.IGNORECASE)


def is_mail(head: bytes) -> bool:
    """Whether a file starting with these bytes (a few kB) is one mail."""
    return bool(_FIRST_LINE.match(head)) and len(_HEADER.findall(head)) >= 3


def is_mbox(head: bytes) -> bool:
    """Whether a file starting with these bytes is an mbox of many mails."""
    first, _, rest = head.partition(b"\n")
    return first.startswith(b"From ") and is_mail(rest)


def from_mbox(path: Path, bounds: Bounds) -> Iterator[Arrival | Unreadable]:
    """The pictures of every mail in an mbox, one mail in memory at a time."""
    name = file_name(path.name)
    try:
        box = mailbox.mbox(path, create=False)
        keys = box.keys()
    except (OSError, mailbox.Error, ValueError):
        yield Unreadable(name, "the mailbox file is damaged")
        return
    try:
        for number, key in enumerate(keys, start=1):
            data = box.get_file(key).read(bounds.mail_bytes + 1)
            if len(data) > bounds.mail_bytes:
                reason = too_many_bytes(len(data), bounds.mail_bytes)
                yield Unreadable(f"{name}, mail {number}", reason)
            else:
                yield from from_mail(data, name, bounds)
    finally:
        box.close()


def from_mail(
    data: bytes, container: str, bounds: Bounds, way: str = "mail"
) -> Iterator[Arrival | Unreadable]:
    """The pictures of one mail. Logos and everything else that shows no sheet are passed over;
    what claims to be a picture and is none gives a reason.
    """
    if is_tangled(data):
        yield Unreadable(container, TANGLED)
        return
    try:
        message = email.message_from_bytes(data, policy=_BoundedHeaders())
        parts = [part for part in message.walk() if not part.is_multipart()]
        origin, said = _origin(message, container, way), said_in(message)
    except Exception:  # the parser does not document what hostile bytes make it raise
        yield Unreadable(container, DAMAGED)
        return
    for number, part in enumerate(parts[: bounds.parts], start=1):
        for item in _from_part(part, number, origin, bounds):
            yield replace(item, said=said) if isinstance(item, Arrival) else item
    if len(parts) > bounds.parts:
        many = f"{len(parts)} parts, only the first {bounds.parts} were looked at"
        yield Unreadable(container, f"the mail has {many}")


def is_tangled(data: bytes) -> bool:
    """Whether the parser's work would grow out of all proportion: it compares every line with the
    separator of every part around it.
    """
    nested = len(_BOUNDARY.findall(data))
    deep = nested * data.count(b"\n") > MOST_LINES_TIMES_DEPTH
    return bool(deep or data.count(b"\n--") > MOST_SEPARATORS)


class _BoundedHeaders(email.policy.Compat32):
    """Headers cut to a length that no honest one has: taking long ones apart takes for ever."""

    def header_source_parse(self, sourcelines: list[str]) -> tuple[str, str]:
        name, value = super().header_source_parse(sourcelines)
        return name, value[:LONGEST_HEADER]


def _origin(message: Message, container: str, way: str) -> Origin:
    sender = one_line(decoded_header(message, "From"), 200)
    subject = one_line(decoded_header(message, "Subject"), 200)
    return Origin(way, "", one_line(container), sender, _sent_at(message), subject)


def decoded_header(message: Message, header: str) -> str:
    """A header's text with its encoded words decoded; what cannot be decoded stays as it is."""
    raw = str(message.get(header, ""))[:4000]
    try:
        from email.header import decode_header, make_header

        return str(make_header(decode_header(raw)))
    except Exception:
        return raw


def _sent_at(message: Message) -> str:
    try:
        return email.utils.parsedate_to_datetime(str(message.get("Date", ""))[:100]).isoformat()
    except Exception:
        return ""


def _from_part(
    part: Message, number: int, origin: Origin, bounds: Bounds
) -> Iterator[Arrival | Unreadable]:
    try:
        data = part.get_payload(decode=True)
        claimed = str(part.get_filename() or "")[-500:]
        kind = part.get_content_type()
    except Exception:
        yield Unreadable(origin.container, f"part {number} of the mail is damaged")
        return
    if not isinstance(data, bytes):
        return
    name = file_name(_decoded_name(claimed), f"picture {number}")
    if kind == "text/html":
        yield from _from_html(data, origin)
    elif is_zip(data):
        own = _named(origin, name)
        yield from from_archive(name, data, own, bounds)
    elif is_picture(data[:1100]):
        if len(data) > bounds.file_bytes:
            yield Unreadable(name, too_many_bytes(len(data), bounds.file_bytes))
        elif not _is_logo(data):
            yield Arrival(name, data, suffix_of(data), _named(origin, name))
    elif kind.startswith("image/") or name.lower().endswith(PICTURE_ENDINGS):
        yield Unreadable(name, "this attachment is not a picture that can be read")


def _decoded_name(raw: str) -> str:
    holder = Message()
    holder["X"] = raw.replace("\r", " ").replace("\n", " ")
    return decoded_header(holder, "X")


def _named(origin: Origin, name: str) -> Origin:
    return Origin(origin.way, name, origin.container, origin.sender, origin.sent_at, origin.subject)


def _from_html(data: bytes, origin: Origin) -> Iterator[Arrival]:
    for number, found in enumerate(_IN_HTML.finditer(data), start=1):
        try:
            picture = base64.b64decode(re.sub(rb"\s|%[0-9A-Fa-f]{2}", b"", found.group(1)))
        except binascii.Error:
            continue
        if is_picture(picture[:1100]) and not _is_logo(picture):
            name = f"picture {number} in the text"
            yield Arrival(name, picture, suffix_of(picture), _named(origin, name))


def _is_logo(data: bytes) -> bool:
    """Whether a picture is too small to show a sheet; unsure ones count as none."""
    if is_heif(data) or data[:1024].find(b"%PDF-") >= 0:
        return False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as image:
                return bool(max(image.size) < SMALLEST_SIDE)
    except Exception:
        return False
