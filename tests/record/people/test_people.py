"""Every place that can hold a person is known, and erased."""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import get_args

import cv2
import made_up
import numpy as np
import pytest
from photographed_page import SAMPLE, kept, photographed, seen_page
from PIL import Image
from sqlalchemy import LargeBinary, String
from stand_in import says
from thorough import every

from sheet_reader.intake.pictures import open_picture
from sheet_reader.reading.field_pictures import _around
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.reading.written_areas import AROUND_MM, SPARED_MM, bare_picture
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.people import people
from sheet_reader.record.people.erase import erase, remove_erased
from sheet_reader.record.store import schema
from sheet_reader.record.store.claims import Leases
from sheet_reader.record.store.record_file import copy_record
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.layout import lay_out
from sheet_reader.sheet.page import AreaKind
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

Post = Callable[..., BatchSummary]
SETS = (set(people.REPLACED), people.ROWS_GO, people.BY_PHOTO, people.HARMLESS)


def test_every_column_that_can_hold_a_person_is_thought_of() -> None:
    texts = {
        f"{table.name}.{column.name}"
        for table in schema.metadata.tables.values()
        for column in table.columns
        if isinstance(column.type, String | LargeBinary)
    }
    assert set.union(*map(set, SETS)) == texts
    assert sum(map(len, SETS)) == len(texts), "a column stands in two sets"


def test_every_area_that_can_hold_a_person_is_thought_of() -> None:
    sets = (people.BLANKED_AREAS, people.TOLD_AREAS, people.HARMLESS_AREAS)
    assert sorted(kind for kinds in sets for kind in kinds) == sorted(get_args(AreaKind))


@pytest.mark.parametrize("sample", ["bean_tips", "rock_pools"])
def test_crops_of_fields_never_reach_who_counted(sample: str) -> None:
    for page in lay_out(read_study(SAMPLE.parent / sample)).pages:
        for area in (a for a in page.areas if a.kind in people.BLANKED_AREAS):
            x, y, w, h = area.box_mm
            for field in {cell.field for cell in page.cells}:
                boxes = [c.box_mm for c in page.cells if c.field == field]
                (left, top, right, bottom), _ = _around(boxes)
                assert left >= x + w or right <= x or top >= y + h or bottom <= y, field


def test_a_name_in_any_column_is_gone(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}), "a.png")
    with Record.open(study) as record:
        made_up.decide_all(record) if hasattr(made_up, "decide_all") else None
    file = study.folder / "record.sqlite"
    personal = [*people.REPLACED, *(c for c in people.ROWS_GO if c.split(".")[1] in
                ("author", "text", "sender", "subject", "file_name", "container", "by", "holder")),
                "photos.name"]  # fmt: skip
    with closing(sqlite3.connect(file)) as raw:
        for table in {name.split(".")[0] for name in personal}:
            for (trigger,) in raw.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
            ).fetchall():
                if trigger.endswith("_insert") and "keep" in trigger:
                    raw.execute(f"DROP TRIGGER {trigger}")
            if raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0:
                fill = [
                    (c.name, 1 if not isinstance(c.type, String) else "x")
                    for c in schema.metadata.tables[table].columns
                    if not c.nullable
                ]
                names = ", ".join(f'"{name}"' for name, _ in fill)
                marks = ", ".join("?" for _ in fill)
                raw.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", [v for _, v in fill])
        guards = raw.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%keep%'"
        ).fetchall()
        for name, _ in guards:
            raw.execute(f"DROP TRIGGER {name}")
        for place in personal:
            table, column = place.split(".")
            raw.execute(f'UPDATE {table} SET "{column}" = ?', (f"of Pat Doe, {place}",))
        for _, sql in guards:
            raw.execute(sql)
        raw.commit()
    assert file.read_bytes().count(b"Pat Doe") + _in_log(file) >= len(personal)
    erase(study, "pat doe", bare_picture)
    assert b"Pat Doe" not in file.read_bytes()
    assert not _in_log(file)


def _in_log(file: Path) -> int:
    log = file.with_name(f"{file.name}-wal")
    return log.read_bytes().count(b"Pat Doe") if log.exists() else 0


def test_who_looks_at_a_question_is_forgotten(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}), "a.png")
    with Record.open(study) as record:
        assert Leases(record, "Pat Doe").hold(["1/sun.eggs"])
        erase(study, "Pat Doe", bare_picture)
        assert Leases(record, "Kim").others() == {}


def test_two_forgotten_people_stay_two(study: Study, post: Post) -> None:
    post(says(flagged={"sun.eggs": "3"}), "a.png")
    row = ("INSERT INTO blind_answers (page_instance_id, field, reading_id, said, by, at, program, "
           "decisions_before) VALUES (1, 'sun.eggs', 1, '3', '{}', '', '', 0)")  # fmt: skip
    with Record.open(study) as record, record.writing() as connection:
        for name in ("Pat Doe", "PAT DOE", "Kim Roe"):
            connection.exec_driver_sql(row.format(name))
    erase(study, "Pat Doe", bare_picture)
    erase(study, "Kim Roe", bare_picture)
    with Record.open(study) as record, record.reading() as connection:
        names = connection.exec_driver_sql("SELECT by FROM blind_answers ORDER BY id").scalars()
        assert list(names) == [people.NOBODY, f"{people.NOBODY} 2", f"{people.NOBODY} 3"]
    assert verify(study).problems == ()


@pytest.fixture
def written(tmp_path: Path) -> Study:
    """A study with one photo of a sheet, its spaces for free writing dark."""
    (tmp_path / "inbox").mkdir()
    for name in ("study.toml", "sites.csv"):
        (tmp_path / name).write_bytes((SAMPLE / name).read_bytes())
    study = replace(read_study(tmp_path), folder=tmp_path)
    page = lay_out(study).pages[0]
    gray = np.full((1900, 1400), 250, np.uint8)
    for box in (*(a.box_mm for a in page.areas if a.kind in ("comments", "counted_by")),
                *(c.box_mm for c in page.cells)):  # fmt: skip
        cv2.fillPoly(gray, [on_photo(box).round().astype(np.int32)], 30)
    stream = io.BytesIO()
    Image.fromarray(gray).save(stream, "PNG")
    found = seen_page(study)
    with Record.open(study) as record:
        made_up.read_in(record, kept(record, stream.getvalue()), [found])
    return study


def on_photo(box: tuple[float, float, float, float], by: float = 0.0) -> np.ndarray:
    x, y, w, h = box[0] - by, box[1] - by, box[2] + 2 * by, box[3] + 2 * by
    return photographed(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]))


def shades(study: Study, box: tuple[float, float, float, float], by: float) -> np.ndarray:
    with Record.open(study) as record:
        picture = open_picture(record.photo_path(1), 0)
    assert picture is not None
    mask = np.zeros(picture.gray.shape, np.uint8)
    cv2.fillPoly(mask, [on_photo(box, by).round().astype(np.int32)], 1)
    return picture.gray[mask == 1]


def check_blanked(study: Study) -> None:
    page = lay_out(study).pages[0]
    (name,) = (a.box_mm for a in page.areas if a.kind == "counted_by")
    assert len(np.unique(shades(study, name, AROUND_MM - 1.2))) == 1
    for box in (*(a.box_mm for a in page.areas if a.kind == "comments"),
                *(c.box_mm for c in page.cells)):  # fmt: skip
        assert (shades(study, box, -SPARED_MM) == 30).all()
    verdict = verify(study)
    assert verdict.problems == ()
    assert not any("kept originals" in note for note in verdict.notes)
    files = [p for p in (study.folder / "originals").rglob("*") if p.is_file()]
    assert len(files) == 1


def test_who_counted_is_blanked_in_the_original(written: Study) -> None:
    done = erase(written, "Pat Doe", bare_picture, photos=[1])
    assert (done.photos, done.kept) == (1, ())
    check_blanked(written)


def test_a_photo_that_was_bare_is_blanked_once_its_sheet_is_known(
    written: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("sheet_reader.reading.written_areas._located", lambda *_: iter([None]))
        done = erase(written, "Pat Doe", bare_picture, photos=[1])
    (line,) = done.kept
    assert "photo-0001: it is not known where who counted stands in it" in line
    with Record.open(written) as record:
        remove_erased(record, bare_picture)
    check_blanked(written)


STEPS = ("_replace", "_remove_replaced", "making the picture", "forget_names")


@pytest.mark.parametrize("step", every(2, STEPS))
def test_a_killed_blanking_is_finished(
    written: Study, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def power_cut(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        if step != "making the picture":
            patch.setattr(f"sheet_reader.record.people.erase.{step}", power_cut)
        made_by = power_cut if step == "making the picture" else bare_picture
        with pytest.raises(KeyboardInterrupt):
            erase(written, "Pat Doe", made_by, photos=[1])
    assert not [p for p in verify(written).problems if "original" in p]
    with Record.open(written) as record:
        remove_erased(record, bare_picture)
    check_blanked(written)


def test_files_that_show_the_photo_or_name_the_person_are_listed(study: Study, post: Post) -> None:
    from reportlab.pdfgen.canvas import Canvas
    from xlsxwriter import Workbook

    post(says(), "pat doe.png")
    folder = study.folder
    (folder / "inbox" / "again.png").write_bytes((folder / "inbox" / "pat doe.png").read_bytes())
    (folder / "drawn").mkdir()
    (folder / "drawn" / "photo-0001.jpg").write_bytes(b"x")
    (folder / "drawn" / "photo-0012.jpg").write_bytes(b"x")
    (folder / ".notes.txt").write_text("Pat Doe", "utf-16")
    copy_record(folder / "record.sqlite", folder / "record.sqlite.old")
    with Workbook(str(folder / "rows.xlsx")) as book:
        book.add_worksheet().write(0, 0, "called Pat Doe")
    page = Canvas(str(folder / "update.pdf"))
    page.drawString(72, 72, "Thanks to Pat Doe")
    page.save()
    (folder / "rows.parquet").write_bytes(b"PAR1 and more")
    told = "\n".join(erase(study, "Pat Doe", bare_picture).elsewhere)
    for hers in (
        "such a photo as it came: inbox/again.png",
        "drawn/photo-0001.jpg",
        ".notes.txt",
        "record.sqlite.old may be a backup",
        "this person: rows.xlsx",
        "this person: update.pdf",
        "looked into, see for yourself: rows.parquet",
    ):
        assert hers in told
    assert "photo-0012" not in told
