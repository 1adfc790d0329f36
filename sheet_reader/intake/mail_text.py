"""What a person wrote in a mail, without what is quoted of earlier mails and without signature.

Plain rules (common practice, no source): a quotation begins at a line with ``>``, at a line of
strokes, or at a line such as "On 3 June 2026, Pat wrote:" right above it; a signature at ``--``.
"""

from __future__ import annotations

import email
import email.policy
import re
from email.message import EmailMessage
from typing import cast

from sheet_reader.intake.parameters import INTAKE

LONGEST = INTAKE.longest_mail_text
_QUOTE = re.compile(r"^\s*>|^-- ?$|^_{5,}\s*$|^-{3,}.*-{3,}\s*$|@sheet-reader\.invalid")
_INTRODUCES = re.compile(r"^(?=.*\d)(?=.*[:>]\s*$).{10,200}$")
"""A line such as “On 3 June 2026, Pat wrote:” right above a quotation."""


def text_of_mail(data: bytes) -> str:
    """What is written in a mail (bytes that are not tangled), on one line; "" where nothing is."""
    try:
        mail = cast(EmailMessage, email.message_from_bytes(data, policy=email.policy.default))
        return said_in(mail)
    except Exception:  # the parser does not document what hostile bytes make it raise
        return ""


def said_in(mail: EmailMessage) -> str:
    """As :func:`text_of_mail`; may raise anything on hostile mails."""
    body = mail.get_body(("plain", "html"))
    if body is None or body.get_content_disposition() == "attachment":
        return ""
    text = str(body.get_content())
    if body.get_content_subtype() == "html":
        text = re.sub(r"<[^>]{0,500}>", " ", text)
    return written(text)


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
