from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import stand_in
from PIL import Image
from stand_in import says

from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import open_pictures
from sheet_reader.intake.types import Picture
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.forget import _pattern, forget
from sheet_reader.record.model import BatchSummary
from sheet_reader.record.store import Record
from sheet_reader.record.verify import verify
from sheet_reader.study.model import Study

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


def test_forget_removes_the_person_and_keeps_the_counts(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}), "pat doe 20 May.png")
    post(says({"site": "1010"}), "other.png")
    (study.folder / "inbox" / "Pat Doe.jpg").write_bytes(tagged_jpeg())
    read_batch(study, reader=_no_sheet, jobs=0)
    assert b"Pat Doe" in bytes_of(study.folder)
    with Record.open(study) as record:
        before = [(v.site, v.visit_date, v.values, v.statuses) for v in record.visits()]
    done = forget(study, "Pat Doe")
    assert (done.photos, done.origins) == (2, 2)
    assert any("roster" in line for line in done.elsewhere)
    assert any("pat doe 20 May.png" in line for line in done.elsewhere)
    held = bytes_of(study.folder)
    assert b"pat doe" not in held.lower()
    assert b"other.png" in held
    assert verify(study).problems == ()
    with Record.open(study) as record:
        assert [(v.site, v.visit_date, v.values, v.statuses) for v in record.visits()] == before
        assert record.photos()[0].name == "photo 1"
        assert record.images(record.pending()[0].reading_id).context_png
    again = read_batch(study, reader=stand_in.read, jobs=0)
    assert (again.arrived, again.known) == (0, 3)
    assert b"pat doe" not in bytes_of(study.folder).lower()


def test_an_interrupted_forgetting_is_finished(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    (study.folder / "inbox" / "Pat Doe.jpg").write_bytes(tagged_jpeg())
    read_batch(study, reader=_no_sheet, jobs=0)

    def power_cut(_: Record) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.record.forget.remove_forgotten", power_cut)
        with pytest.raises(KeyboardInterrupt):
            forget(study, "Pat Doe")
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
        return [int(p.gray[4, 4]) if isinstance(p, Picture) else -1 for p in found]

    before = seen()
    assert before[1] == -1
    forget(study, "Pat Doe")
    after = seen()
    assert (after[0], after[2]) == (before[0], before[2])


def _no_sheet(*_: object) -> list[object]:
    return []


def test_forget_takes_whole_words_only(study: Study, post: Post) -> None:
    post(says(), "Joanne.png")
    with pytest.raises(UsageError, match="names “Ann”"):
        forget(study, "Ann")
    with pytest.raises(UsageError, match="too short"):
        forget(study, "J ")
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
    ],
)
def test_who_is_meant(contact: str, text: str, found: bool) -> None:
    assert bool(_pattern(contact).search(text)) is found
