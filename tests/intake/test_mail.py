from __future__ import annotations

import base64
import io
import mailbox
import time
import zipfile
from email.message import EmailMessage
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from thorough import examples

from sheet_reader.intake.arrivals import arrivals
from sheet_reader.intake.files import DEFAULT, Arrival, Bounds, NoPicture
from sheet_reader.intake.gather import gather
from sheet_reader.intake.mail import from_mail


def png(level: int = 255, size: tuple[int, int] = (500, 400)) -> bytes:
    stream = io.BytesIO()
    Image.new("L", size, level).save(stream, "PNG")
    return stream.getvalue()


def letter(*, sender: str = "Pat Doe <pat@example.org>", text: str = "Hello") -> EmailMessage:
    message = EmailMessage()
    message["From"] = sender
    message["To"] = "counts@example.org"
    message["Date"] = "Wed, 20 May 2026 18:30:00 +0200"
    message["Subject"] = "Sheet für Mühle"
    message.set_content(text)
    return message


def attach(message: EmailMessage, data: bytes, name: str, kind: str = "image/png") -> EmailMessage:
    main, sub = kind.split("/")
    message.add_attachment(data, maintype=main, subtype=sub, filename=name)
    return message


def zipped(members: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def sorted_out(data: bytes, bounds: Bounds = DEFAULT) -> tuple[list[Arrival], list[NoPicture]]:
    items = list(from_mail(data, "m.eml", bounds))
    return (
        [i for i in items if isinstance(i, Arrival)],
        [i for i in items if isinstance(i, NoPicture)],
    )


def test_attachments_with_where_they_came_from() -> None:
    message = attach(
        attach(letter(), png(1), "über.png"), png(2), "b.bin", "application/octet-stream"
    )
    found, bad = sorted_out(bytes(message))
    assert bad == []
    assert [(a.name, a.data, a.suffix) for a in found] == [
        ("über.png", png(1), ".png"),
        ("b.bin", png(2), ".png"),
    ]
    origin = found[0].origin
    assert (origin.way, origin.container, origin.sender) == (
        "mail",
        "m.eml",
        "Pat Doe <pat@example.org>",
    )
    assert (origin.subject, origin.sent_at) == ("Sheet für Mühle", "2026-05-20T18:30:00+02:00")
    assert origin.file_name == "über.png"


def test_pictures_in_the_text_and_in_forwarded_mail() -> None:
    inner = attach(letter(sender="kim@example.org"), png(3), "c.png")
    outer = letter()
    shown = base64.b64encode(png(4)).decode()
    outer.add_alternative(f'<img src="data:image/png;base64,{shown}">', subtype="html")
    outer.add_attachment(inner)
    found, _ = sorted_out(bytes(outer))
    assert sorted(a.data for a in found) == sorted([png(3), png(4)])
    assert {a.origin.sender for a in found} == {"Pat Doe <pat@example.org>"}


def test_inline_pictures_count_and_logos_do_not() -> None:
    message = letter()
    message.add_alternative("<img src='cid:a'><img src='cid:b'>", subtype="html")
    html = message.get_payload()[1]
    html.add_related(png(5), "image", "png", cid="<a>")
    html.add_related(png(6, (120, 40)), "image", "png", cid="<b>")
    found, bad = sorted_out(bytes(message))
    assert [a.data for a in found] == [png(5)]
    assert bad == []


def test_what_only_claims_to_be_a_picture_is_told() -> None:
    message = attach(letter(), b"hello", "x.jpg", "image/jpeg")
    attach(message, b"BEGIN:VCARD", "pat.vcf", "text/vcard")
    found, bad = sorted_out(bytes(message))
    assert found == []
    assert [b.name for b in bad] == ["x.jpg"]


def test_zip_attachment_within_bounds() -> None:
    data = zipped({"a.png": png(7), "__MACOSX/a.png": b"x", "notes.txt": b"hi"})
    found, bad = sorted_out(bytes(attach(letter(), data, "week 1.zip", "application/zip")))
    assert [(a.name, a.origin.container) for a in found] == [("a.png", "week 1.zip")]
    assert bad == []


@pytest.mark.parametrize(
    ("members", "bounds", "said"),
    [
        ({"inner.zip": zipped({"a": b"x"})}, DEFAULT, "inside an archive"),
        ({"bomb.png": b"\0" * 30_000_000}, DEFAULT, "far more"),
        ({"a.png": png(1), "b.png": png(2)}, Bounds(zip_members=1), "first 1"),
        ({"a.png": png(1)}, Bounds(zip_bytes=100), "more than is allowed"),
        ({f"{n}": b"" for n in range(20_001)}, DEFAULT, "more than 20,000 files"),
    ],
)
def test_zips_out_of_bounds(members: dict[str, bytes], bounds: Bounds, said: str) -> None:
    message = attach(letter(), zipped(members), "z.zip", "application/zip")
    _, bad = sorted_out(bytes(message), bounds)
    assert any(said in b.reason for b in bad)


def test_path_tricks_in_names_are_only_names(tmp_path: Path) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("../../../escaped.png", png(1))
        archive.writestr("/etc/absolute.png", png(2))
        archive.writestr("a\nb\x1b[31m.png", png(3))
    (tmp_path / "box").mkdir()
    (tmp_path / "box" / "z.zip").write_bytes(stream.getvalue())
    found = list(arrivals(gather([tmp_path / "box"])))
    assert [a.name for a in found] == ["escaped.png", "absolute.png", "a b [31m.png"]
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["box", "z.zip"]


def test_a_zip_that_lies_about_its_sizes() -> None:
    data = bytearray(zipped({"a.png": b"\0" * 30_000_000}))
    at = data.rfind(b"PK\x01\x02")
    data[at + 24 : at + 28] = (10).to_bytes(4, "little")
    message = attach(letter(), bytes(data), "z.zip", "application/zip")
    found, bad = sorted_out(bytes(message))
    assert found == []
    assert len(bad) == 1


def test_mailboxes_of_every_kind_give_the_same(tmp_path: Path) -> None:
    letters = [attach(letter(), png(level), f"p{level}.png") for level in (10, 20, 30)]
    (tmp_path / "eml").mkdir()
    box = mailbox.mbox(tmp_path / "all.mbox")
    folder = mailbox.Maildir(tmp_path / "Mail")
    for number, message in enumerate(letters):
        (tmp_path / "eml" / f"{number}.eml").write_bytes(bytes(message))
        box.add(message)
        folder.add(message)
    box.close()
    for name in ("eml", "all.mbox", "Mail"):
        found = list(arrivals(gather([tmp_path / name])))
        assert sorted(a.data for a in found if isinstance(a, Arrival)) == sorted(
            [png(10), png(20), png(30)]
        )
        assert all(isinstance(a, Arrival) and a.origin.way == "mail" for a in found)
    assert np.all([len(list(arrivals([tmp_path / "all.mbox"]))) == 3])


def test_a_mail_without_picture_is_told(tmp_path: Path) -> None:
    (tmp_path / "m.eml").write_bytes(bytes(letter()))
    (item,) = arrivals([tmp_path / "m.eml"])
    assert isinstance(item, NoPicture)
    assert item.reason == "there is no picture in it"


@pytest.mark.parametrize(
    "data",
    [
        b"From: \xff\xfe\nSubject: =?utf-8?b?!!!?=\nDate: never\nContent-Type: image/png\n\nxx",
        b"From: a\nTo: b\nSubject: " + b"x" * 10_000 + b"\nContent-Type: multipart/mixed\n\n--",
        b"From: a\nTo: b\nSubject: c\nContent-Transfer-Encoding: base64\n"
        b'Content-Type: image/png; name="=?x?q?' + b"\xff" * 2000 + b"\n\n%%%%",
        b"From: a\nTo: b\nSubject: c\n"
        + b"".join(
            b'Content-Type: multipart/mixed; boundary="%d"\n\n--%d\n' % (n, n) for n in range(2000)
        ),
    ],
)
def test_malformed_mail_gives_lines_not_errors(data: bytes) -> None:
    for item in from_mail(data, "m.eml", DEFAULT):
        assert isinstance(item, NoPicture)
        assert "\n" not in item.reason


HEAD = b"From: a\nTo: b\nSubject: c\n"
LONG = {
    "parameters": HEAD + b"Content-Type: image/png; " + b'a="x";' * 500_000 + b"\n\nxx",
    "quotes": HEAD + b'Content-Disposition: attachment; filename="' + b'";"' * 500_000 + b"\n\nx",
    "pieces": HEAD + b"".join(b"filename*%d=x;" % n for n in range(200_000)) + b"\n\nxx",
    "separators": HEAD + b'Content-Type: multipart/mixed; boundary="x"\n\n' + b"--x\n\n" * 500_000,
    "nesting": HEAD
    + b"".join(
        b'Content-Type: multipart/mixed; boundary="%d"\n\n--%d\n' % (n, n) for n in range(800)
    )
    + b"x\n" * 300_000,
    "words": b"From: a\nTo: b\nSubject: " + b"=?utf-8?q?a?= " * 500_000 + b"\n\nxx",
    "data": HEAD + b"Content-Type: text/html\n\n" + b"data:image/png;base64," * 500_000,
}


@pytest.mark.parametrize("kind", LONG)
def test_mail_made_to_keep_a_program_busy(kind: str) -> None:
    began = time.process_time()  # other programs don't count
    items = list(from_mail(LONG[kind], "m.eml", DEFAULT))
    assert all(isinstance(i, NoPicture) for i in items)
    assert time.process_time() - began < 5.0, "far more than any honest mail takes"


@settings(max_examples=examples(50), deadline=None)
@given(st.data())
def test_a_mail_with_bytes_changed_gives_items_not_errors(data: st.DataObject) -> None:
    raw = bytearray(bytes(attach(letter(), png(9), "a.png")))
    for _ in range(data.draw(st.integers(1, 12))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    for item in from_mail(bytes(raw), "m.eml", DEFAULT):
        assert isinstance(item, Arrival | NoPicture)
