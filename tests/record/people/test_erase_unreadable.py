"""Erasing the sender of a photo that can't be opened."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import stand_in
from PIL import Image
from stand_in import says

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import bare_picture
from sheet_reader.record.people.erase import erase
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study


def read(study: Study) -> BatchSummary:
    return read_batch(study, reader=stand_in.read, jobs=0)


def kept(study: Study) -> list[Path]:
    return [p for p in (study.folder / "originals").rglob("*") if p.is_file()]


def tagged(said: object) -> bytes:
    """A photo that shows ``said`` and names its owner."""
    exif = Image.Exif()
    exif[0x013B] = "Pat Doe"
    stream = io.BytesIO()
    Image.open(io.BytesIO(stand_in.photo(said))).save(stream, "PNG", exif=exif)
    return stream.getvalue()


def test_a_photo_that_cannot_be_opened_is_kept_and_said(study: Study) -> None:
    data = b"\0\0\0\x18ftypheic" + b"x" * 500
    (study.folder / "inbox" / "Pat Doe.heic").write_bytes(data)
    read(study)
    done = erase(study, "Pat Doe", bare_picture)
    assert [p.read_bytes() for p in kept(study)] == [data]
    assert done.photos == 1
    (line,) = done.kept
    assert "photo-0001" in line
    assert kept(study)[0].relative_to(study.folder).as_posix() in line
    with Record.open(study) as record:
        assert record.photos()[0].name == "photo-0001"
    read(study)
    assert [p.read_bytes() for p in kept(study)] == [data]


@pytest.mark.parametrize("damage", ["cut", "same size", "empty", "missing"])
def test_a_good_copy_comes_in_after_a_damaged_one_was_forgotten(study: Study, damage: str) -> None:
    data = tagged(says())
    inbox = study.folder / "inbox" / "Pat Doe.png"
    inbox.write_bytes(data)
    read(study)
    (original,) = kept(study)
    broken = {"cut": data[:60], "same size": b"\0" * len(data), "empty": b""}
    if damage == "missing":
        original.unlink()
    else:
        original.write_bytes(broken[damage])
    done = erase(study, "Pat Doe", bare_picture)
    assert any("photo-0001" in line for line in done.kept)
    assert damage == "empty" or all(p.stat().st_size for p in kept(study))
    read(study)
    read(study)
    (healed,) = kept(study)
    assert b"Pat Doe" not in healed.read_bytes()
    with Image.open(healed) as image, Image.open(io.BytesIO(data)) as first:
        assert image.tobytes() == first.tobytes()
    with Record.open(study) as record:
        assert [(p.name, p.status) for p in record.photos()] == [("photo-0001", "read")]
        assert len(record.visits()) == 1


def test_a_photo_is_made_bare_once_it_can_be_opened(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after a package for its kind was installed."""
    (study.folder / "inbox" / "Pat Doe.png").write_bytes(tagged(says()))
    read(study)
    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.reading.written_areas.open_pictures", lambda _: [])
        assert erase(study, "Pat Doe", bare_picture).kept
    assert b"Pat Doe" in kept(study)[0].read_bytes()
    read(study)
    assert [b"Pat Doe" in p.read_bytes() for p in kept(study)] == [False]


def test_a_damaged_original_is_healed_by_reading_its_photo_again(study: Study) -> None:
    data = stand_in.photo(says())
    (study.folder / "inbox" / "a.png").write_bytes(data)
    read(study)
    (original,) = kept(study)
    original.write_bytes(b"\0" * len(data))
    read(study)
    assert original.read_bytes() == data
