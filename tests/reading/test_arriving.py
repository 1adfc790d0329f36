"""From what arrives to the record: provenance, the same picture by two ways, names."""

from __future__ import annotations

import contextlib
import io
import sqlite3
import zipfile
from email.message import EmailMessage
from pathlib import Path

import decided
import stand_in
from stand_in import says

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.record.store.store import Record
from sheet_reader.study.study import Study
from sheet_reader.wording import words


def read(study: Study) -> BatchSummary:
    return read_batch(study, reader=stand_in.read, jobs=0)


def mail(data: bytes, name: str = "image0.png") -> bytes:
    message = EmailMessage()
    message["From"] = "Pat Doe <pat@example.org>"
    message["Date"] = "Wed, 20 May 2026 18:30:00 +0200"
    message["Subject"] = "Mill, week 3"
    message.set_content("Hello")
    message.add_attachment(data, "image", "png", filename=name)
    return bytes(message)


def origins(study: Study) -> list[tuple[str, ...]]:
    with contextlib.closing(sqlite3.connect(study.folder / "record.sqlite")) as raw:
        return raw.execute(
            "SELECT way, file_name, container, sender, sent_at, subject FROM origins ORDER BY id"
        ).fetchall()


def test_the_same_picture_by_three_ways_counts_once(study: Study) -> None:
    inbox = study.folder / "inbox"
    data = stand_in.photo(says())
    (inbox / "a.png").write_bytes(data)
    (inbox / "b.eml").write_bytes(mail(data))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("week3/c.png", data)
    (inbox / "c.zip").write_bytes(stream.getvalue())
    summary = read(study)
    assert (summary.arrived, summary.known, summary.read) == (1, 2, 1)
    read(study)
    assert origins(study) == [
        ("folder", "a.png", "", "", "", ""),
        (
            "mail",
            "image0.png",
            "b.eml",
            "Pat Doe <pat@example.org>",
            "2026-05-20T18:30:00+02:00",
            "Mill, week 3",
        ),
        ("folder", "c.png", "c.zip", "", "", ""),
    ]


def test_photos_of_one_name_are_told_apart(study: Study) -> None:
    for number in range(3):
        data = mail(stand_in.photo(says({"sun.eggs": str(number)}), seed=number))
        (study.folder / "inbox" / f"{number}.eml").write_bytes(data)
    read(study)
    with Record.open(study) as record:
        assert [p.name for p in record.photos()] == [
            "image0.png",
            "image0 (2).png",
            "image0 (3).png",
        ]
        (item,) = decided.pending(record)
    assert "photo-0001 reads 0, photo-0002 reads 1, photo-0003 reads 2" in words(item.reasons)


def test_nothing_that_leaves_the_record_holds_an_address(study: Study) -> None:
    data = mail(stand_in.photo(says(flagged={"sun.eggs": "3"})), "from pat@example.org.png")
    (study.folder / "inbox" / "pat@example.org.eml").write_bytes(data)
    read(study)
    (study.folder / "inbox" / "pat@example.org.jpg").write_bytes(b"no picture")
    summary = read(study)
    with Record.open(study) as record:
        leaves = [
            *record.readings(),
            *record.visits(),
            *decided.pending(record),
            *record.photos(),
            *record.history("1004", "2026-05-20"),
            record.summary(),
            summary,
        ]
    assert len(leaves) > 10
    assert "@" not in repr(leaves)
    assert "Pat" not in repr(leaves)


def test_originals_are_kept_unchanged(study: Study, tmp_path: Path) -> None:
    data = stand_in.photo(says())
    (tmp_path / "a.png").write_bytes(data)
    read_batch(study, [tmp_path / "a.png"], reader=stand_in.read, jobs=0)
    with Record.open(study) as record:
        path = record.photo_path(record.photos()[0].photo_id)
    assert path.read_bytes() == data
    assert path.is_relative_to(study.folder / "originals")
    assert path.suffix == ".png"
