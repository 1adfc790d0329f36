"""Pictures out of mail, malformed or not: attachments, pictures in the text, archives attached; and
what a person wrote in it, without what is quoted of earlier mails and without signature.

Plain rules (common practice, no source): a quotation begins at a line with ``>``, at a line of
strokes, or at a line such as "On 3 June 2026, Pat wrote:" right above it; a signature at ``--``.
"""

from __future__ import annotations

import base64
import binascii
import email
import email.policy
import email.utils
import mailbox
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace
from email.header import decode_header, make_header
from email.message import Message
from html import unescape
from itertools import takewhile
from pathlib import Path

from sheet_reader.intake.archive import PICTURE_ENDINGS, from_archive, is_zip
from sheet_reader.intake.decoding import looks_like_pdf
from sheet_reader.intake.files import (
    DEFAULT,
    Arrival,
    Bounds,
    NoPicture,
    Origin,
    file_name,
    one_line,
    too_many_bytes,
)
from sheet_reader.intake.pictures import is_heif, is_picture, opened, suffix_of
from sheet_reader.numbers import INTAKE

DAMAGED = "the mail is damaged"
TANGLED = "the mail is made of too many parts within parts"
LONGEST_TEXT = INTAKE.longest_mail_text

_HEADER = re.compile(
    rb"^(received|from|to|date|message-id|mime-version|return-path|subject|content-type):",
    re.IGNORECASE | re.MULTILINE,
)
_BOUNDARY = re.compile(rb"boundary\s*=", re.IGNORECASE)
_FIRST_LINE = re.compile(rb"^[!-9;-~]{1,80}:")
_IN_HTML = re.compile(rb"data:image/[a-z+.-]{1,20};base64,([A-Za-z0-9+/=\s%]+)", re.IGNORECASE)
_QUOTE = re.compile(r"^\s*>|^-- ?$|^_{5,}\s*$|^-{3,}.*-{3,}\s*$|@sheet-reader\.invalid")
_INTRODUCES = re.compile(r"^(?=.*\d)(?=.*[:>]\s*$).{10,200}$")
_UNSEEN = re.compile(r"<(?:style|script|title)\b[^<]*", re.IGNORECASE)
_QUOTED = re.compile(r"<blockquote\b", re.IGNORECASE)
_ENDS = re.compile(r"<(?:br|/p|/div)\b[^>]{0,100}>", re.IGNORECASE)


def is_mail(head: bytes) -> bool:
    """Whether a file starting with these bytes (a few kB) is one mail."""
    return bool(_FIRST_LINE.match(head)) and len(_HEADER.findall(head)) >= 3


def is_mbox(head: bytes) -> bool:
    """Whether a file starting with these bytes is an mbox of many mails."""
    first, _, rest = head.partition(b"\n")
    return first.startswith(b"From ") and is_mail(rest)


def mails_in(path: Path, most_bytes: int) -> Iterator[bytes]:
    """The mails of an mbox, one in memory at a time and of each ``most_bytes`` at most; raises
    OSError, :class:`mailbox.Error` or ValueError where it can't be read.
    """
    box = mailbox.mbox(path, create=False)
    try:
        for key in box.keys():  # noqa: SIM118 - the mailbox itself iterates over messages
            yield box.get_file(key).read(most_bytes)
    finally:
        box.close()


def from_mbox(path: Path) -> Iterator[Arrival | NoPicture]:
    """The pictures of every mail in an mbox, one mail in memory at a time."""
    name = file_name(path.name)
    try:
        for number, data in enumerate(mails_in(path, DEFAULT.mail_bytes + 1), start=1):
            if len(data) > DEFAULT.mail_bytes:
                reason = too_many_bytes(len(data), DEFAULT.mail_bytes)
                yield NoPicture(f"{name}, mail {number}", reason)
            else:
                yield from from_mail(data, name)
    except (OSError, mailbox.Error, ValueError):
        yield NoPicture(name, "the mailbox file is damaged")


def from_mail(
    data: bytes, container: str, bounds: Bounds = DEFAULT, way: str = "mail"
) -> Iterator[Arrival | NoPicture]:
    """The pictures of one mail. Logos and everything else that shows no sheet are passed over;
    what claims to be a picture and is none gives a reason.
    """
    if is_tangled(data):
        yield NoPicture(container, TANGLED)
        return
    try:
        message = email.message_from_bytes(data, policy=_BoundedHeaders())
        parts = [part for part in message.walk() if not part.is_multipart()]
        origin, said = _origin(message, container, way), said_in(message)
    except Exception:  # the parser does not document what hostile bytes make it raise
        yield NoPicture(container, DAMAGED)
        return
    for number, part in enumerate(parts[: bounds.parts], start=1):
        for item in _from_part(part, number, origin, bounds):
            yield replace(item, said=said) if isinstance(item, Arrival) else item
    if len(parts) > bounds.parts:
        many = f"{len(parts)} parts, only the first {bounds.parts} were looked at"
        yield NoPicture(container, f"the mail has {many}")


def is_tangled(data: bytes) -> bool:
    """Whether the parser's work would grow out of all proportion: it compares every line with the
    separator of every part around it.
    """
    work = len(_BOUNDARY.findall(data)) * data.count(b"\n")
    many = data.count(b"\n--") > INTAKE.most_separators
    return bool(many or work > INTAKE.most_lines_times_depth)


class _BoundedHeaders(email.policy.Compat32):
    """Headers cut to a length that no honest one has: taking long ones apart takes for ever."""

    def header_source_parse(self, sourcelines: list[str]) -> tuple[str, str]:
        name, value = super().header_source_parse(sourcelines)
        return name, value[: INTAKE.longest_header]


def _origin(message: Message, container: str, way: str) -> Origin:
    sender, subject = (one_line(decoded_header(message, h), 200) for h in ("From", "Subject"))
    try:
        date = email.utils.parsedate_to_datetime(str(message.get("Date", ""))[:100]).isoformat()
    except Exception:
        date = ""
    return Origin(way, "", one_line(container), sender, date, subject)


def decoded_header(message: Message, header: str) -> str:
    """A header's text with its encoded words decoded; what cannot be decoded stays as it is."""
    raw = str(message.get(header, ""))[:4000]
    try:
        return str(make_header(decode_header(raw)))
    except Exception:
        return raw


def _from_part(
    part: Message, number: int, origin: Origin, bounds: Bounds
) -> Iterator[Arrival | NoPicture]:
    try:
        data = part.get_payload(decode=True)
        claimed = str(part.get_filename() or "")[-500:]
        kind = part.get_content_type()
    except Exception:
        yield NoPicture(origin.container, f"part {number} of the mail is damaged")
        return
    if not isinstance(data, bytes):
        return
    holder = Message()  # what decodes words in a header decodes them in a name
    holder["X"] = claimed.replace("\r", " ").replace("\n", " ")
    name = file_name(decoded_header(holder, "X"), f"picture {number}")
    own = replace(origin, file_name=name)
    if kind == "text/html":
        yield from _from_html(data, origin)
    elif is_zip(data):
        yield from from_archive(name, data, own, bounds)
    elif is_picture(data[:1100]):
        if len(data) > bounds.file_bytes:
            yield NoPicture(name, too_many_bytes(len(data), bounds.file_bytes))
        elif not _is_logo(data):
            yield Arrival(name, data, suffix_of(data), own)
    elif kind.startswith("image/") or name.lower().endswith(PICTURE_ENDINGS):
        yield NoPicture(name, "this attachment is not a picture that can be read")


def _from_html(data: bytes, origin: Origin) -> Iterator[Arrival]:
    for number, found in enumerate(_IN_HTML.finditer(data), start=1):
        try:
            picture = base64.b64decode(re.sub(rb"\s|%[0-9A-Fa-f]{2}", b"", found.group(1)))
        except binascii.Error:
            continue
        if is_picture(picture[:1100]) and not _is_logo(picture):
            name = f"picture {number} in the text"
            yield Arrival(name, picture, suffix_of(picture), replace(origin, file_name=name))


def _is_logo(data: bytes) -> bool:
    """Whether a picture is too small to show a sheet; unsure ones count as none."""
    if is_heif(data) or looks_like_pdf(data):
        return False
    try:
        with warnings.catch_warnings(action="ignore"), opened(data) as image:
            return bool(max(image.size) < INTAKE.smallest_side_px)
    except Exception:
        return False


def said_in(mail: Message) -> str:
    """What is written in a mail, on one line: its plain text, or else its HTML; "" where there is
    nothing.
    """
    parts = [part for part in mail.walk() if part.get_content_disposition() != "attachment"]
    for kind in ("text/plain", "text/html"):
        for part in parts:
            if part.get_content_type() == kind and part.get_filename() is None:
                text = _text(part)
                if kind == "text/html":
                    text = _ENDS.sub("\n", _UNSEEN.sub(" ", _QUOTED.split(text, 1)[0]))
                    text = unescape(re.sub(r"<[^>]{0,500}>", " ", text))
                return written(text)
    return ""


def _text(part: Message) -> str:
    data = part.get_payload(decode=True)
    if not isinstance(data, bytes):
        return ""
    data = data[: 50 * LONGEST_TEXT]
    try:
        return data.decode(part.get_content_charset() or "utf-8", "replace")
    except LookupError:
        return data.decode("utf-8", "replace")


def written(text: str) -> str:
    """What stands above quotation and signature, on one line."""
    kept = list(takewhile(lambda line: not _QUOTE.search(line), text.splitlines()))
    while kept and not kept[-1].strip():
        kept.pop()
    if len(kept) > 1 and _INTRODUCES.match(kept[-1].strip()):
        kept.pop()
    said = " ".join(" ".join(kept).split())
    return "".join(c for c in said if c.isprintable())[:LONGEST_TEXT]
