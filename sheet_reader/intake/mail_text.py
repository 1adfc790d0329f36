"""What a person wrote in a mail, without what is quoted of earlier mails and without signature.

Plain rules (common practice, no source): a quotation begins at a line with ``>``, at a line of
strokes, or at a line such as "On 3 June 2026, Pat wrote:" right above it; a signature at ``--``.
"""

from __future__ import annotations

import re
from email.message import Message
from html import unescape

from sheet_reader.numbers import INTAKE

LONGEST = INTAKE.longest_mail_text
_QUOTE = re.compile(r"^\s*>|^-- ?$|^_{5,}\s*$|^-{3,}.*-{3,}\s*$|@sheet-reader\.invalid")
_INTRODUCES = re.compile(r"^(?=.*\d)(?=.*[:>]\s*$).{10,200}$")
_UNSEEN = re.compile(r"<(?:style|script|title)\b[^<]*", re.IGNORECASE)
_QUOTED = re.compile(r"<blockquote\b", re.IGNORECASE)
_ENDS = re.compile(r"<(?:br|/p|/div)\b[^>]{0,100}>", re.IGNORECASE)


def said_in(mail: Message) -> str:
    """What is written in a mail, on one line: its plain text, or else its HTML; "" where there is
    nothing.
    """
    parts = [part for part in mail.walk() if part.get_content_disposition() != "attachment"]
    for kind in ("text/plain", "text/html"):
        for part in parts:
            if part.get_content_type() == kind and part.get_filename() is None:
                text = _text(part)
                return written(_without_tags(text) if kind == "text/html" else text)
    return ""


def _text(part: Message) -> str:
    data = part.get_payload(decode=True)
    if not isinstance(data, bytes):
        return ""
    data = data[: 50 * LONGEST]
    try:
        return data.decode(part.get_content_charset() or "utf-8", "replace")
    except LookupError:
        return data.decode("utf-8", "replace")


def _without_tags(text: str) -> str:
    text = _ENDS.sub("\n", _UNSEEN.sub(" ", _QUOTED.split(text, 1)[0]))
    return unescape(re.sub(r"<[^>]{0,500}>", " ", text))


def written(text: str) -> str:
    """What stands above quotation and signature, on one line."""
    kept: list[str] = []
    for line in text.splitlines():
        if _QUOTE.search(line):
            break
        kept.append(line)
    while kept and not kept[-1].strip():
        kept.pop()
    if kept and len(kept) > 1 and _INTRODUCES.match(kept[-1].strip()):
        kept.pop()
    said = " ".join(" ".join(kept).split())
    return "".join(c for c in said if c.isprintable())[:LONGEST]
