"""What of a mail's text is kept beside its photos."""

from __future__ import annotations

import email
from email.message import EmailMessage

import pytest

from sheet_reader.intake.files import DEFAULT
from sheet_reader.intake.mail import LONGEST_TEXT, from_mail, said_in, written

HTML = """<html><head><title>Mail</title><style>p { color: red }</style></head><body>
<p>It rained &amp; blew.</p><div>No ants.</div><blockquote>Hello Pat, 4 of 5</blockquote>
</body></html>"""


def mail(text: str = "", html: str = "") -> EmailMessage:
    message = EmailMessage()
    message["From"] = "Pat Doe <pat@example.org>"
    message["Subject"] = "Counts"
    if text:
        message.set_content(text)
    if html:
        message.add_alternative(html, subtype="html")
    return message


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("It was 0.\n\nPat\n", "It was 0. Pat"),
        ("It was 0.\n\nOn 3 June 2026, Bean tips wrote:\n> Hello,\n> 1. Garden\n", "It was 0."),
        ("It was 0.\n-- \nPat, 0123 456789\n", "It was 0."),
        ("It was 0.\n-----Original Message-----\nFrom: K\n", "It was 0."),
        ("> all quoted\n", ""),
        ("", ""),
    ],
)
def test_quoted_mail_and_signatures_are_left_out(body: str, said: str) -> None:
    assert written(body) == said
    assert said_in(mail(body)) == said


def test_plain_text_goes_before_html_and_html_is_read_where_there_is_no_other() -> None:
    assert said_in(mail("Plain.", HTML)) == "Plain."
    assert said_in(mail("", HTML)) == "It rained & blew. No ants."


def test_an_attached_text_is_not_what_was_written() -> None:
    message = mail("Here.")
    message.add_attachment("a list of plants", filename="plants.txt")
    assert said_in(message) == "Here."
    alone = mail()
    alone.add_attachment("a list of plants", filename="plants.txt")
    assert said_in(alone) == ""


@pytest.mark.parametrize("charset", ["utf-8", "iso-8859-1", "no-such-charset", ""])
def test_any_charset_gives_a_text(charset: str) -> None:
    raw = f"From: a@example.org\nContent-Type: text/plain; charset={charset}\n\nH\xe4gel".encode(
        "iso-8859-1"
    )
    said = said_in(email.message_from_bytes(raw))
    assert said.startswith("H")
    assert said.endswith("gel")


def test_a_hostile_text_is_cut_and_takes_no_time() -> None:
    for body in ("<style" * 200_000, "<" * 1_000_000, "\x07" * 9_000, "> " * 10):
        assert len(said_in(mail("", body))) <= LONGEST_TEXT
    assert len(said_in(mail("word " * 100_000))) <= LONGEST_TEXT


def test_each_photo_of_a_mail_knows_what_the_mail_says() -> None:
    message = mail("It rained.")
    for name in ("a.pdf", "b.pdf"):
        message.add_attachment(b"%PDF-1.7 " + name.encode(), "application", "pdf", filename=name)
    found = list(from_mail(message.as_bytes(), "m.eml", DEFAULT))
    assert [item.said for item in found] == ["It rained.", "It rained."]  # type: ignore[union-attr]
