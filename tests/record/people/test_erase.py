from __future__ import annotations

import contextlib
import io
import sqlite3
import unicodedata
from collections.abc import Callable
from email.message import EmailMessage
from pathlib import Path

import decided
import numpy as np
import pytest
import stand_in
from PIL import Image, PngImagePlugin
from stand_in import says

from sheet_reader.errors import UsageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.field_pictures import field_images
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.history.answers import Accept, Value
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people.erase import erase, named
from sheet_reader.record.people.people import person_meant
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]
OWNER_TAG, GPS_TAG = 0xA430, 0x8825


def bytes_of(folder: Path) -> bytes:
    kept = [p for p in folder.rglob("*") if p.is_file() and "inbox" not in p.parts]
    return b"\n".join(p.read_bytes() + str(p).encode() for p in kept)


def tagged_jpeg() -> bytes:
    exif = Image.Exif()
    exif[0x013B] = "Pat Doe"
    exif.get_ifd(GPS_TAG)[1] = "N"
    exif.get_ifd(GPS_TAG)[2] = (48.0, 51.0, 29.0)
    stream = io.BytesIO()
    Image.new("L", (64, 48), 255).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def test_erase_removes_the_person_and_keeps_the_counts(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}), "pat doe 20 May.png")
    post(says({"site": "1010"}), "other.png")
    (study.folder / "inbox" / "Pat Doe.jpg").write_bytes(tagged_jpeg())
    read_batch(study, reader=_no_sheet, jobs=0)
    assert b"Pat Doe" in bytes_of(study.folder)
    with Record.open(study) as record:
        before = [(v.site, v.visit_date, v.values, v.statuses) for v in record.visits()]
    done = erase(study, "Pat Doe", bare_picture)
    assert (done.photos, done.origins) == (2, 2)
    assert any("site list" in line for line in done.elsewhere)
    assert any("pat doe 20 May.png" in line for line in done.elsewhere)
    held = bytes_of(study.folder)
    assert b"pat doe" not in held.lower()
    assert b"other.png" in held
    assert verify(study).problems == ()
    with Record.open(study) as record:
        assert [(v.site, v.visit_date, v.values, v.statuses) for v in record.visits()] == before
        assert record.photos()[0].name == "photo-0001"
        assert field_images(record, decided.pending(record)[0].reading_id).context_png
    again = read_batch(study, reader=stand_in.read, jobs=0)
    assert (again.arrived, again.known) == (0, 3)
    assert b"pat doe" not in bytes_of(study.folder).lower()


def test_an_interrupted_erasing_is_finished(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    (study.folder / "inbox" / "Pat Doe.jpg").write_bytes(tagged_jpeg())
    read_batch(study, reader=_no_sheet, jobs=0)

    def power_cut(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.record.people.erase.remove_erased", power_cut)
        with pytest.raises(KeyboardInterrupt):
            erase(study, "Pat Doe", bare_picture)
    assert b"Pat Doe" in bytes_of(study.folder)
    read_batch(study, reader=_no_sheet, jobs=0)
    originals = [p.read_bytes() for p in (study.folder / "originals").rglob("*.*")]
    assert len(originals) == 1
    assert b"Pat Doe" not in originals[0]


def test_pages_of_a_pdf_keep_their_numbers(study: Study) -> None:
    pages = [Image.fromarray(np.full((60, 80), level, dtype=np.uint8)) for level in (0, 90, 200)]
    stream = io.BytesIO()
    pages[0].save(stream, "PDF", save_all=True, append_images=pages[1:])
    data = stream.getvalue()
    cut = data.replace(b"/MediaBox [ 0 0 80", b"/MediaBox [ 0 0 99999", 2)
    cut = cut.replace(b"/MediaBox [ 0 0 99999", b"/MediaBox [ 0 0 80", 1)
    (study.folder / "inbox" / "Pat Doe.pdf").write_bytes(cut)
    read_batch(study, reader=_no_sheet, jobs=0)

    def seen() -> list[int]:
        with Record.open(study) as record:
            path = record.photo_path(1)
        found = open_pictures(path)
        return [int(p.gray[4, 4]) if isinstance(p, OpenedPicture) else -1 for p in found]

    before = seen()
    assert before[1] == -1
    erase(study, "Pat Doe", bare_picture)
    after = seen()
    assert (after[0], after[2]) == (before[0], before[2])


def _no_sheet(*_: object) -> list[object]:
    return []


def test_erase_takes_whole_words_only(study: Study, post: Post) -> None:
    post(says(), "Joanne.png")
    with pytest.raises(UsageError, match="names “Ann”"):
        erase(study, "Ann", bare_picture)
    with pytest.raises(UsageError, match="too short"):
        erase(study, "J ", bare_picture)
    with Record.open(study) as record:
        assert record.photos()[0].name == "Joanne.png"


@pytest.mark.parametrize(
    ("contact", "text", "found"),
    [
        ("Pat Doe", "IMG_pat_doe.jpg", True),
        ("Pat Doe", "Patrick Doe", False),
        ("jo@example.org", "Jo <jo@example.org>", True),
        ("jo@example.org", "big.jo@example.org", False),
        ("jo@example.org", "jo@example.org.example.com", False),
        ("jo@example.org", "Write to JO@example.org.", True),
        ("Jürgen Groß", unicodedata.normalize("NFD", "jürgen_groß.jpg"), True),
        (unicodedata.normalize("NFD", "Jürgen Groß"), "JÜRGEN GROSS", True),
        ("Jürgen Groß", "juergen.gross@example.org", True),
        ("Juergen Gross", "Jürgen Groß", True),
        ("Jürgen Groß", "jurgen-gross.heic", True),
        ("Inés Núñez", "INES NUNEZ", True),
        ("Ines Nunez", unicodedata.normalize("NFD", "Inés Núñez"), True),
        ("Åse Bjørk", "Aase Bjoerk, Ase Bjork", True),
        ("Pat Doe", "\uff30at\u00a0Do\u00ade", True),
        ("Ann", unicodedata.normalize("NFD", "Änne"), False),
        ("Groß", "Grossmann", False),
    ],
)
def test_who_is_meant(contact: str, text: str, found: bool) -> None:
    assert (person_meant(contact).named_in(text)) is found


def pictures_with_tags() -> dict[str, bytes]:
    """One picture of each kind that names its owner in its tags, and where it was taken."""
    exif = Image.Exif()
    exif[0x013B] = "Pat Doe"  # Artist
    exif.get_ifd(GPS_TAG)[2] = (48.0, 51.0, 29.0)
    exif.get_ifd(0x8769)[OWNER_TAG] = "Pat Doe"
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Pat Doe</x:xmpmeta>"
    info = PngImagePlugin.PngInfo()
    info.add_itxt("Author", "Pat Doe", zip=True)
    late_exif = Image.Exif()
    late_exif[0x9C9D] = "Pat Doe\0".encode("utf-16-le")  # XPAuthor
    found = {}
    for name, kind, more in (
        ("a.jpg", "JPEG", {"exif": exif}),
        ("b.jpg", "JPEG", {"xmp": xmp}),
        ("c.jpg", "JPEG", {"exif": late_exif}),
        ("d.jpg", "JPEG", {"comment": b"Pat Doe"}),
        ("e.webp", "WEBP", {"exif": exif}),
        ("f.webp", "WEBP", {"xmp": xmp}),
        ("g.tif", "TIFF", {"tiffinfo": {315: "Pat Doe"}}),
        ("h.tif", "TIFF", {"tiffinfo": {700: xmp}}),
        ("i.tif", "TIFF", {"tiffinfo": {33723: b"\x1c\x02\x50\0\x07Pat Doe"}}),  # IPTC by-line
        ("j.png", "PNG", {"pnginfo": info}),
        ("k.png", "PNG", {"exif": exif}),
        ("l.pdf", "PDF", {"author": "Pat Doe"}),
    ):
        stream = io.BytesIO()
        gray = np.full((48, 64), len(found), dtype=np.uint8)
        Image.fromarray(gray).save(stream, kind, **more)
        found[name] = stream.getvalue()
    return found


@pytest.mark.parametrize("name", pictures_with_tags())
def test_tags_of_every_kind_of_picture_are_found_and_removed(study: Study, name: str) -> None:
    (study.folder / "inbox" / name).write_bytes(pictures_with_tags()[name])
    read_batch(study, reader=_no_sheet, jobs=0)
    (study.folder / "inbox" / name).unlink()
    done = erase(study, "Pat Doe", bare_picture)
    assert done.photos == 1
    (original,) = (p for p in (study.folder / "originals").rglob("*") if p.is_file())
    with Image.open(original) as picture:
        assert "Pat" not in repr(dict(picture.getexif())) + repr(picture.info)
        assert not picture.getexif().get_ifd(GPS_TAG)


def test_who_decided_is_erased_and_the_history_stays_guarded(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3", "shade.eggs": "4"}))
    with Record.open(study) as record:
        first, second = decided.pending(record)
        decided.decide(record, first.reading_id, Value("9"), by="Pat Doe")
        decided.decide(record, second.reading_id, Accept(), by="Kim")
        before = record.visits()
    assert erase(study, "Pat Doe", bare_picture).decisions == 1
    assert b"Pat Doe" not in bytes_of(study.folder)
    with Record.open(study) as record:
        assert record.visits() == before
        by = {e.by for e in record.history("1004", "2026-05-20") if not e.what.startswith("read")}
        assert by == {"forgotten person", "Kim"}
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        for change in ("UPDATE decisions SET value = 5", "DELETE FROM decisions"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                raw.execute(change)


def test_an_interruption_leaves_the_history_guarded(
    study: Study, post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    post(says(flagged={"sun.eggs": "3"}))
    with Record.open(study) as record:
        decided.decide(record, decided.pending(record)[0].reading_id, Value("9"), by="Pat Doe")

    def power_cut(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.record.people.people.update", power_cut)
        with pytest.raises(KeyboardInterrupt):
            erase(study, "Pat Doe", bare_picture)
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            raw.execute("UPDATE decisions SET value = 5")
        assert raw.execute("SELECT by FROM decisions").fetchall() == [("Pat Doe",)]


def a_letter(data: bytes) -> bytes:
    letter = EmailMessage()
    letter["From"] = "=?utf-8?q?Pat_D=6Fe?= <p1@example.org>"
    letter["To"] = "beans@example.org"
    letter["Subject"] = "Week 3"
    letter.set_content("Hello")
    letter.add_attachment(data, "image", "png", filename="image0.png")
    return bytes(letter)


def test_her_own_files_that_still_name_the_person_are_listed(study: Study) -> None:
    folder = study.folder
    data = stand_in.photo(says())
    (folder / "inbox" / "1.eml").write_bytes(a_letter(data))
    box = b"From x Wed May 20 18:30:00 2026\n" + a_letter(stand_in.photo(says(), seed=1)) + b"\n"
    (folder / "inbox" / "2.mbox").write_bytes(box)
    (folder / "inbox" / "3.jpg").write_bytes(tagged_jpeg())
    (folder / "inbox" / "kim.png").write_bytes(stand_in.photo(says({"site": "1010"}), seed=2))
    read_batch(study, reader=stand_in.read, jobs=0)
    (folder / "results").mkdir()
    (folder / "results" / "readings.csv").write_text("photo\npat doe garden.jpg\n")
    (folder / "results" / "rows.csv").write_text("site\n1004\n")
    (folder / "drawn").mkdir()
    (folder / "drawn" / "0001-pat_doe.jpg").write_bytes(b"x")
    (folder / "beans-2026-05.tar").write_bytes(b"x")
    (folder / "study.toml").write_text('instructions = ["Send it to Pat Doe"]')
    told = "\n".join(erase(study, "Pat Doe", bare_picture).elsewhere)
    for hers in ("1.eml", "2.mbox", "3.jpg", "results/readings.csv", "drawn/0001-pat_doe.jpg",
                 "beans-2026-05.tar", "study.toml", "for site 1004"):  # fmt: skip
        assert hers in told
    assert "rows.csv" not in told
    assert "kim.png" not in told


def test_what_is_meant_can_be_told_before(study: Study) -> None:
    (study.folder / "inbox" / "1.eml").write_bytes(a_letter(stand_in.photo(says())))
    (study.folder / "inbox" / "pat doe.png").write_bytes(stand_in.photo(says(), seed=1))
    (study.folder / "inbox" / "kim.png").write_bytes(stand_in.photo(says(), seed=2))
    read_batch(study, reader=stand_in.read, jobs=0)
    traces = named(study, "pat doe")
    assert (traces.at_sites, traces.others) == ((2,), 0)
    assert (len(traces.photos), traces.mails) == (2, 1)
    assert traces.senders == ("Pat Doe <p1@example.org>",)
    assert traces.names == ("image0.png (photo-0001)", "pat doe.png (photo-0003)")


@pytest.mark.parametrize("contact", ["jpg", ".PNG", "*.heic", "  pdf ", "2026", "12-34", "jo"])
def test_a_text_that_means_no_person_is_refused(study: Study, post: Post, contact: str) -> None:
    post(says(), "jo 2026 12-34.jpg")
    with pytest.raises(UsageError, match=r"too short|no person"):
        erase(study, contact, bare_picture)
    with Record.open(study) as record:
        assert record.photos()[0].name == "jo 2026 12-34.jpg"
