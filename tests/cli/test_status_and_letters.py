"""``status`` and ``letters`` on a record: files, what is drafted once, answers, privacy."""

from __future__ import annotations

import email
import email.policy
import errno
from collections.abc import Callable
from datetime import date
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from sheet_reader import atomic
from sheet_reader.errors import UnavailableError


def reply_to(mail: EmailMessage, body: str) -> bytes:
    """An answer as a mail program would save it."""
    answer = EmailMessage()
    answer["Received"] = "from mail.example.org"
    answer["From"] = "Pat 3 <garden3@example.org>"
    answer["In-Reply-To"] = str(mail["Message-ID"])
    answer["Subject"] = "Re: Bean tips"
    answer.set_content(body)
    return answer.as_bytes()


def mails(folder: Path) -> list[EmailMessage]:
    return [
        email.message_from_bytes(path.read_bytes(), policy=email.policy.default)  # type: ignore[misc]
        for path in sorted(folder.glob("*.eml"))
    ]


@pytest.fixture
def desk(bean_desk: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: date(2026, 4, 23))
    return bean_desk


def test_drafts_on_a_record(desk: Any, no_sheet: Callable[[str], bytes]) -> None:
    desk.put("a.png", visit_date="2026-04-20", pinched__plants=None, advice="Use more light.")
    desk.put_bytes("b.png", no_sheet("a corner is outside the picture"))
    desk.done("read")
    said = desk.done("letters")
    assert "none is sent" in said
    folder = desk.folder / "letters"
    found = {str(mail["To"]): mail for mail in mails(folder)}
    assert len(found) == len(list(folder.iterdir()))
    mine = next(m for to, m in found.items() if any("Bean plants" in p.get_content()
                for p in m.walk() if p.get_content_type() == "text/plain"))  # fmt: skip
    kinds = [part.get_content_type() for part in mine.walk()]
    assert kinds == [
        "multipart/alternative", "text/plain", "multipart/related", "text/html", "image/jpeg",
    ]  # fmt: skip
    html = mine.get_body(("html",))
    assert html is not None
    assert "cid:picture-1" in html.get_content()
    assert "Use more light." in html.get_content()
    assert mine["X-Unsent"] == "1"
    assert mine["From"] is None
    assert {path.stat().st_mode & 0o077 for path in folder.iterdir()} == {0}
    assert desk.done("letters").splitlines()[-1] == "Nothing new."
    assert len(mails(folder)) == len(found)
    desk.done("letters", "--again")
    assert len(mails(folder)) == 2 * len(found)
    desk.done("verify")


def test_no_letter_without_its_place_on_record(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.put("a.png", visit_date="2026-04-20", pinched__plants=None)
    desk.done("read")
    folder = desk.folder / "letters"

    def busy(*_: object) -> None:
        raise UnavailableError("another program keeps the record busy")

    with monkeypatch.context() as record:
        record.setattr("sheet_reader.record.people.remarks.note_drafts", busy)
        assert desk.run("letters").exit_code == 75
    assert not list(folder.iterdir())

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(atomic, "_write_through", full)
        assert desk.run("letters").exit_code == 3
    assert not list(folder.iterdir())
    with monkeypatch.context() as disk:
        disk.setattr(Path, "replace", full)
        result = desk.run("letters")
        assert result.exit_code == 3
        assert "letters --again" in result.stderr
    assert "Nothing new." in desk.done("letters")
    desk.done("letters", "--again")
    assert len(list(folder.glob("*.eml"))) >= 1


def test_an_answer_is_kept_as_a_remark_and_can_be_erased(desk: Any, tmp_path: Path) -> None:
    desk.put("a.png", visit_date="2026-04-20", pinched__plants=None)
    desk.done("read")
    desk.done("letters")
    (mine,) = [m for m in mails(desk.folder / "letters") if "picture-1" in m.as_string()]
    reply = tmp_path / "reply.eml"
    reply.write_bytes(reply_to(mine, "There were none, so 0.\n"))
    assert "kept with site 2043 on 2026-04-20" in desk.done("letters", "--answers", reply)
    assert "0 new answers, 1 known already" in desk.done("letters", "--answers", reply)
    desk.done("export")
    rows = (desk.folder / "results" / "rows.csv").read_text(encoding="utf-8")
    assert "by mail: it is in the record" in rows
    assert "There were none" not in rows
    here = ("history", "--site", "2043", "--visit", "2026-04-20")
    assert "by mail: There were none, so 0." in desk.done(*here)
    desk.done("verify")
    desk.done("erase", "--contact", "garden3@example.org", "--yes")
    desk.done("export")
    assert "by mail" not in (desk.folder / "results" / "rows.csv").read_text(encoding="utf-8")
    assert "none, so" not in desk.done(*here)


def test_an_answer_goes_to_what_its_letter_asks_and_names_nobody_in_the_tables(desk: Any) -> None:
    desk.put("a.png", visit_date="2026-04-20", pinched__plants=None)
    desk.put("b.png", visit_date="2026-04-22")
    desk.done("read")
    desk.done("letters")
    (mine,) = [m for m in mails(desk.folder / "letters") if "picture-1" in m.as_string()]
    reply = EmailMessage()
    reply["From"] = "Aunt Trish <trish@example.org>"
    reply["In-Reply-To"] = str(mine["Message-ID"])
    reply.set_content("Dear Kim,\nnone, so 0.\nBest wishes, Trish\n")
    (desk.folder / "inbox" / "reply.eml").write_bytes(reply.as_bytes())
    said = desk.done("read")
    assert said.count("kept with") == 1
    assert "an answer is kept with site 2043 on 2026-04-20" in said
    assert "2026-04-22" not in said, "it was thanked for, not asked about"
    assert "not taken in" not in said
    assert "no picture" not in said
    again = desk.done("read")
    assert "not taken in" not in again
    assert "reply" not in again
    desk.done("export")
    for table in (desk.folder / "results").iterdir():
        text = table.read_text(encoding="utf-8")
        assert not any(word in text for word in ("Trish", "Kim", "none, so 0"))


def test_an_answer_in_the_inbox_is_kept_and_its_pictures_are_no_photos(desk: Any) -> None:
    desk.put("a.png", visit_date="2026-04-20", pinched__plants=None)
    desk.done("read")
    desk.done("letters")
    (mine,) = [m for m in mails(desk.folder / "letters") if "picture-1" in m.as_string()]
    (picture,) = [p.get_content() for p in mine.walk() if p.get_content_type() == "image/jpeg"]
    reply = EmailMessage()
    reply["From"] = "Pat 3 <garden3@example.org>"
    reply["Date"] = "Thu, 23 Apr 2026 10:00:00 +0000"
    reply["References"] = str(mine["Message-ID"])
    reply["Subject"] = "Re: Bean tips"
    reply.set_content("There were none.\n")
    reply.add_attachment(picture, "image", "jpeg", filename="picture-1.jpg")
    (desk.folder / "inbox" / "reply.eml").write_bytes(reply.as_bytes())
    said = desk.done("read")
    assert "an answer is kept with site 2043 on 2026-04-20" in said
    assert "answer is kept" not in desk.done("read")
    desk.done("export", "--format", "csv,excel")
    rows = (desk.folder / "results" / "rows.csv").read_text(encoding="utf-8")
    assert "by mail: it is in the record" in rows
    assert (desk.folder / "results" / "bean-tips.xlsx").is_file()
    assert "photo-0002" not in desk.done("status")
    assert "is not one of 'csv'" in desk.run("export", "--format", "csv,pdf").output


def test_templates_are_put_there_once(desk: Any) -> None:
    desk.done("letters", "--templates")
    own = desk.folder / "letter_templates" / "letter.txt"
    own.write_text("Dear all, {{ questions[0].text }}\n", encoding="utf-8")
    assert "left as they are" in desk.done("letters", "--templates")
    desk.done("letters")
    (first, *_) = mails(desk.folder / "letters")
    body = first.get_body(("plain",))
    assert body is not None
    assert body.get_content().startswith("Dear all, No sheet has come")


def test_status_on_a_record(desk: Any, tmp_path: Path) -> None:
    desk.put("a.png", visit_date="2026-04-20")
    desk.done("read")
    text = desk.done(
        "status", "--picture", tmp_path / "s.svg", "--csv", tmp_path / "s.csv",
        "--json", tmp_path / "s.json",
    )  # fmt: skip
    assert "in (1)" in text
    assert (tmp_path / "s.svg").stat().st_size > 1000
    assert "2043" in (tmp_path / "s.csv").read_text(encoding="utf-8")
    assert desk.run("status", "--picture", tmp_path / "s.pdf").exit_code == 2
