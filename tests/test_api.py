"""The door for Python programs."""

import re
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import FrozenInstanceError, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import stand_in
from PIL import Image
from threadpoolctl import threadpool_info, threadpool_limits

import sheet_reader
from sheet_reader.demo.samples import copy_sample
from sheet_reader.errors import ClosedError, RecordError, StudyError, UsageError
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import photo as photo_reading
from sheet_reader.reading import worker
from sheet_reader.reasons import in_words
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.photo import Photo
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.study import Study
from sheet_reader.vision.findings import NoSheet
from sheet_reader.wording import words

README = Path(__file__).parents[1] / "README.md"
SITE = "0174"
TODAY = date(2026, 6, 1)


def run(code: str, folder: Path | None = None) -> str:
    """What a fresh Python without any of our settings prints."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        capture_output=True,
        text=True,
        cwd=folder,
        env={"PATH": "", "PYTHONPATH": str(README.parent)},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def ponds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Study:
    """A small study whose photos spell out what a reader makes of them."""
    monkeypatch.setattr(photo_reading, "default_reader", lambda: stand_in.read)
    monkeypatch.setattr(worker, "default_reader", lambda: stand_in.read)
    return stand_in.a_study(tmp_path)


def put(study: Study, name: str, said: object, seed: int = 0) -> Path:
    path = study.folder / "inbox" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(stand_in.photo(said, seed=seed))
    return path


# The import


def test_all_names_what_can_be_imported_and_nothing_else() -> None:
    from sheet_reader import api

    assert sheet_reader.__all__ == sorted(sheet_reader.__all__)
    assert {*sheet_reader.__all__} == {*api.__all__, "__version__"}
    for name in api.__all__:
        assert getattr(sheet_reader, name) is getattr(api, name)
    assert {*sheet_reader.__all__} <= {*dir(sheet_reader)}


def test_a_misspelt_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="raed_photo"):
        sheet_reader.raed_photo  # noqa: B018


def test_the_import_loads_no_other_library_and_changes_nothing() -> None:
    code = (
        "import os, sys; before = dict(os.environ); import sheet_reader; sheet_reader.__version__;"
        "assert dict(os.environ) == before;"
        "ours = [m for m in sys.modules if m.startswith('sheet_reader.')];"
        "others = {m.split('.')[0] for m in sys.modules} - sys.stdlib_module_names;"
        "print(ours, sorted(m for m in others if m in "
        "('numpy', 'cv2', 'scipy', 'pandas', 'sqlalchemy', 'PIL', 'click', 'threadpoolctl')))"
    )
    assert run(code).strip() == "[] []"


def test_using_it_sets_no_thread_variable() -> None:
    code = (
        "import os; from sheet_reader import *; open_study, read_photo, read_batch, open_record;"
        "print([name for name in os.environ if 'THREAD' in name])"  # OpenCV sets others
    )
    assert run(code).strip() == "[]"


# Studies and sheets


def test_a_study_is_opened_by_folder_or_file_as_text_or_path(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path)
    by_text = sheet_reader.open_study(str(tmp_path))
    assert by_text == sheet_reader.open_study(tmp_path / "study.toml")
    assert by_text.site(SITE) is not None


def test_the_mistakes_of_a_study_are_all_in_the_error(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path)
    file = tmp_path / "study.toml"
    file.write_text(file.read_text("utf-8").replace("boxes = 2", "boxes = -2"), "utf-8")
    with pytest.raises(StudyError) as caught:
        sheet_reader.open_study(tmp_path)
    assert len(caught.value.mistakes) > 1
    assert isinstance(caught.value, sheet_reader.SheetReaderError)


def test_sheets_are_printed_for_the_sites_asked_for(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path)
    study = sheet_reader.open_study(tmp_path)
    (blank,) = sheet_reader.print_sheets(study)
    assert blank == tmp_path / "sheets" / "bean-tips-blank.pdf"
    names = [path.name for path in sheet_reader.print_sheets(study, [SITE, "2043"])]
    assert names == ["bean-tips-0174.pdf", "bean-tips-2043.pdf"]
    (one,) = sheet_reader.print_sheets(study, SITE, folder=str(tmp_path / "out"))
    assert one.read_bytes().startswith(b"%PDF-")
    assert one.parent == tmp_path / "out"


def test_a_site_off_the_list_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path)
    study = sheet_reader.open_study(tmp_path)
    with pytest.raises(UsageError, match=r"2034.*nearest"):
        sheet_reader.print_sheets(study, ["2043", "2034"])
    assert not (tmp_path / "sheets").exists()


# One photo


def test_a_photo_gives_a_page_and_touches_no_record(ponds: Study) -> None:
    said = stand_in.says({"shade.eggs": None, "site": "0174"}, flagged={"sun.snails": "12"})
    photo = put(ponds, "a.png", said)
    before = sorted(ponds.folder.rglob("*"))
    reading = sheet_reader.read_photo(str(photo), ponds, today=TODAY)
    assert sorted(ponds.folder.rglob("*")) == before
    assert reading.reasons == ()
    (page,) = reading.pages
    assert (page.site, page.visit_date, page.page, page.pdf_page) == (
        "0174", date(2026, 5, 20), 1, 1,
    )  # fmt: skip
    fields = {f.name: f for f in page.fields}
    assert (fields["shade.snails"].value, fields["shade.snails"].status) == ("7", "accepted")
    assert (fields["shade.eggs"].value, fields["shade.eggs"].status) == (None, "empty")
    assert (fields["sun.snails"].value, fields["sun.snails"].status) == ("12", "flagged")
    assert fields["sun.snails"].reason == "unclear"
    assert 0 < fields["sun.snails"].confidence < 1
    with pytest.raises(FrozenInstanceError):
        page.site = "1004"  # type: ignore[misc]


def test_a_doubtful_site_or_date_is_none(ponds: Study) -> None:
    photo = put(ponds, "a.png", stand_in.says(flagged={"site": "1004", "date": "2026-05-20"}))
    (page,) = sheet_reader.read_photo(photo, ponds, today=TODAY).pages
    assert (page.site, page.visit_date) == (None, None)


def test_several_frames_give_several_pages_and_a_reason_for_what_has_none(ponds: Study) -> None:
    frames = [
        Image.open(put(ponds, f"{n}.png", said))
        for n, said in enumerate(
            [stand_in.says(), "a cat", stand_in.says({"site": "1010"}, page=2)]
        )
    ]
    several = ponds.folder / "several.tif"
    frames[0].save(several, save_all=True, append_images=frames[1:])
    reading = sheet_reader.read_photo(several, ponds, today=TODAY)
    assert [(p.site, p.page, p.pdf_page) for p in reading.pages] == [("1004", 1, 1), ("1010", 2, 3)]
    assert reading.reasons == ("page 2: a cat",)


@pytest.mark.parametrize(
    ("content", "reason"),
    [(b"", "empty"), (b"hello", "not a picture"), (b"\xff\xd8\xff\xe0 cut", "cut off")],
)
def test_what_is_no_picture_is_a_reason(ponds: Study, content: bytes, reason: str) -> None:
    photo = ponds.folder / "odd.jpg"
    photo.write_bytes(content)
    reading = sheet_reader.read_photo(photo, ponds)
    assert reading.pages == ()
    assert reason in reading.reasons[0]


def test_a_file_beyond_the_bounds_is_not_even_opened(ponds: Study) -> None:
    photo = ponds.folder / "big.jpg"
    with photo.open("wb") as file:
        file.truncate(100_000_001)
    (reason,) = sheet_reader.read_photo(photo, ponds).reasons
    assert "more than the 100 MB allowed" in reason


def test_heic_is_opened_where_its_package_is_there(
    ponds: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    heif = pytest.importorskip("pillow_heif")
    photo = ponds.folder / "a.heic"
    heif.from_pillow(Image.new("RGB", (640, 480), "white")).save(photo)
    monkeypatch.setattr(photo_reading, "default_reader", lambda: _tell_size)
    assert sheet_reader.read_photo(photo, ponds).reasons == ("480 by 640",)


def _tell_size(picture: OpenedPicture, *_: object) -> list[NoSheet]:
    return [NoSheet(in_words("{} by {}".format(*picture.gray.shape))[0])]


@pytest.mark.parametrize("name", ["nothing.jpg", "."])
def test_a_photo_that_is_not_there_is_an_error(ponds: Study, name: str) -> None:
    with pytest.raises(UsageError, match="no such photo"):
        sheet_reader.read_photo(ponds.folder / name, ponds)


def test_threads_are_limited_inside_and_as_before_outside(
    ponds: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    def blas_threads() -> set[int]:
        return {int(lib["num_threads"]) for lib in threadpool_info() if lib["user_api"] == "blas"}

    seen = []

    def reader(*_: object) -> list[NoSheet]:
        seen.append(blas_threads())
        return []

    monkeypatch.setattr(photo_reading, "default_reader", lambda: reader)
    photo = put(ponds, "a.png", stand_in.says())
    with threadpool_limits(limits=2, user_api="blas"):
        assert blas_threads() == {2}
        sheet_reader.read_photo(photo, ponds)
        assert seen == [{1}]
        assert blas_threads() == {2}


def test_threads_of_the_caller_read_one_after_the_other(
    ponds: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    inside = 0

    def reader(*_: object) -> list[NoSheet]:
        nonlocal inside
        inside += 1
        for _turn in range(20):
            time.sleep(0)
            assert inside == 1
        inside -= 1
        return []

    monkeypatch.setattr(photo_reading, "default_reader", lambda: reader)
    photo = put(ponds, "a.png", stand_in.says())
    with ThreadPoolExecutor(4) as pool:
        readings = list(pool.map(lambda _: sheet_reader.read_photo(photo, ponds), range(8)))
    assert [r.reasons for r in readings] == [(words((photo_reading.NOTHING.reason,)),)] * 8


# Batches and the record


def test_a_batch_reads_the_inbox_and_tells_what_failed(ponds: Study) -> None:
    put(ponds, "a.png", stand_in.says())
    put(ponds, "b.png", "a cat")
    steps: list[tuple[int, int]] = []
    batch = sheet_reader.read_batch(
        ponds, today=TODAY, on_progress=lambda done, total, _: steps.append((done, total))
    )
    assert (batch.read, batch.failed, batch.accepted) == (1, 1, 7)
    assert batch.lines == ("b.png (photo-0002): a cat",)
    assert steps == [(1, 2), (2, 2)]
    assert sheet_reader.read_batch(ponds, today=TODAY).known == 2


def test_a_batch_takes_one_path_or_several(ponds: Study) -> None:
    paths = [put(ponds, f"{n}.png", stand_in.says(), seed=n) for n in range(3)]
    assert sheet_reader.read_batch(ponds, str(paths[0]), today=TODAY).arrived == 1
    assert sheet_reader.read_batch(ponds, paths[1:], today=TODAY).arrived == 2


def test_a_batch_accepts_from_the_threshold_that_the_audits_earned(
    ponds: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Record] = []

    def reader_of(record: Record) -> object:
        asked.append(record)
        return stand_in.read

    monkeypatch.setattr(worker, "default_reader", lambda: None)
    monkeypatch.setattr("sheet_reader.reading.batch.reader_of", reader_of)
    put(ponds, "a.png", stand_in.says())
    assert sheet_reader.read_batch(ponds, today=TODAY).read == 1
    assert len(asked) == 1


def test_other_processes_read_the_same(ponds: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sheet_reader.reading.batch.reader_of", lambda _record: stand_in.read)
    for n in range(3):
        put(ponds, f"{n}.png", stand_in.says({"date": f"2026-05-2{n}"}), seed=n)
    batch = sheet_reader.read_batch(ponds, jobs=2, today=TODAY)
    assert (batch.read, batch.failed, batch.lines) == (3, 0, ())


def test_a_broken_installation_is_an_error(ponds: Study) -> None:
    for n in range(3):
        put(ponds, f"{n}.png", stand_in.says(act="raise"), seed=n)
    with pytest.raises(sheet_reader.SheetReaderError, match="install the program anew"):
        sheet_reader.read_batch(ponds, today=TODAY)


def test_calls_that_cannot_be_meant_are_refused(ponds: Study) -> None:
    with pytest.raises(UsageError, match="0 or more"):
        sheet_reader.read_batch(ponds, jobs=-1)
    with pytest.raises(UsageError, match="no such photo"):
        sheet_reader.read_batch(ponds, ponds.folder / "nowhere")
    with pytest.raises(UsageError, match="mailbox"):
        sheet_reader.read_batch(ponds, mailbox="imaps://host")
    assert not list(ponds.folder.iterdir()), "and nothing was made"


def test_wrong_types_end_in_one_clear_line(ponds: Study) -> None:
    api: Any = sheet_reader
    put(ponds, "a.png", stand_in.says())
    api.read_batch(ponds, today=TODAY)
    photo = ponds.folder / "inbox" / "a.png"
    before = sorted(ponds.folder.rglob("*"))
    with api.open_record(ponds) as record:
        for call in (
            lambda: api.open_study(5), lambda: api.open_study(None), lambda: api.open_study("a\0b"),
            lambda: api.open_study(b"ponds"), lambda: api.print_sheets("ponds"),
            lambda: api.print_sheets(ponds, 174), lambda: api.print_sheets(ponds, [174]),
            lambda: api.print_sheets(ponds, None), lambda: api.print_sheets(ponds, folder=3),
            lambda: api.read_photo(None, ponds), lambda: api.read_photo(photo, "ponds"),
            lambda: api.read_photo(photo, ponds, today="2026-06-01"),
            lambda: api.read_photo("a\0b", ponds), lambda: api.read_batch("ponds"),
            lambda: api.read_batch(ponds, 3), lambda: api.read_batch(ponds, [None]),
            lambda: api.read_batch(ponds, jobs="2"), lambda: api.read_batch(ponds, jobs=True),
            lambda: api.read_batch(ponds, jobs=1.5), lambda: api.read_batch(ponds, mailbox=3),
            lambda: api.read_batch(ponds, today="2026-06-01"), lambda: api.open_record("ponds"),
            lambda: api.compare(ponds), lambda: api.compare(record, 3),
            lambda: api.compare(record, until="2026-06-01"),
            lambda: api.read_batch(ponds, on_progress=3),
            lambda: api.read_batch(ponds, today=datetime(2026, 6, 1)),
        ):  # fmt: skip
            with pytest.raises(UsageError) as caught:
                call()
            assert "is meant, not " in str(caught.value)
            assert len(str(caught.value).splitlines()) == 1
    assert sorted(ponds.folder.rglob("*")) == before


def test_a_closed_record_refuses_every_call(ponds: Study) -> None:
    put(ponds, "a.png", stand_in.says())
    sheet_reader.read_batch(ponds, today=TODAY)
    record = sheet_reader.open_record(ponds)
    record.close()
    calls: tuple[Callable[[], object], ...] = (
        record.rows, record.counts, record.readings, record.__enter__,
        lambda: sheet_reader.compare(record, "newts"),
    )  # fmt: skip
    for call in calls:
        with pytest.raises(ClosedError, match="closed"):
            call()
    record.close()


def test_further_photos_of_a_study_draw_no_layout_anew(
    ponds: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[Study] = []

    def counted(study: Study) -> LayoutBook:
        made.append(study)
        return LayoutBook(study)

    monkeypatch.setattr(photo_reading, "whole_book", counted)
    photo = put(ponds, "a.png", stand_in.says())
    for _ in range(3):
        assert sheet_reader.read_photo(photo, ponds, today=TODAY).pages
    sheet_reader.read_photo(photo, replace(ponds), today=TODAY)
    assert len(made) == 1
    other = replace(ponds, sites=ponds.sites[:1])
    sheet_reader.read_photo(photo, other, today=TODAY)
    assert made[1:] == [other], "another site list is another book"
    sheet_reader.print_sheets(ponds)
    kept = ponds.folder / "layouts"
    kept.mkdir(exist_ok=True)
    (kept / "AAAA-0123456789abcdef.toml").write_text("")
    sheet_reader.read_photo(photo, ponds, today=TODAY)
    assert len(made) == 3, "so is a layout that was kept since"


def test_looking_at_a_study_without_a_record_makes_none(ponds: Study) -> None:
    with pytest.raises(UsageError, match="no record yet"):
        sheet_reader.open_record(ponds)
    assert not list(ponds.folder.iterdir())


def test_a_lost_record_is_told(ponds: Study) -> None:
    put(ponds, "a.png", stand_in.says())
    sheet_reader.read_batch(ponds, today=TODAY)
    for file in ponds.folder.glob("record.sqlite*"):
        file.unlink()
    with pytest.raises(RecordError, match="the record is gone"):
        sheet_reader.open_record(ponds)


def test_each_call_sees_the_record_as_it_is_then(ponds: Study) -> None:
    put(ponds, "a.png", stand_in.says())
    sheet_reader.read_batch(ponds, today=TODAY)
    with sheet_reader.open_record(ponds) as record:
        assert (len(record.rows()), len(record.counts()), len(record.readings())) == (1, 4, 7)
        put(ponds, "b.png", stand_in.says({"site": "1010"}))
        sheet_reader.read_batch(ponds, today=TODAY)
        assert (len(record.rows()), len(record.counts()), len(record.readings())) == (2, 8, 14)


# The README and the types


def python_lines() -> str:
    """The lines of the README's section "From Python"."""
    section = README.read_text("utf-8").split("\n## From Python\n")[1].split("\n## ")[0]
    return section.split("```python\n")[1].split("```")[0]


def test_the_lines_of_the_readme_run(tmp_path: Path) -> None:
    folder = tmp_path / "bean_tips"
    photo = bean_photo(folder)
    said = run(python_lines(), tmp_path)
    assert "bean-tips-0174.pdf" in said
    assert "fewer than two sites" in said
    (sheet,) = photo.truth.sheets
    assert f"{sheet.site} {sheet.visit_date}" in said
    study = sheet_reader.open_study(folder)
    (page,) = sheet_reader.read_photo(folder / "inbox" / "photo_01.jpg", study).pages
    assert [f.name for f in page.fields] == [f.name for f in study.fields]
    with sheet_reader.open_record(study) as record:
        counts = record.counts()
    written = {f.field: int(f.value) for f in sheet.fields if "." in f.field and f.value}
    read = counts.dropna(subset="value")
    found = dict(zip(read["plot"] + "." + read["count"], read["value"], strict=True))
    assert len(found) > 10
    assert found == {name: written[name] for name in found}
    assert read["site"].unique().tolist() == [SITE]


def bean_photo(folder: Path) -> Photo:
    """A study of a season that is over, with one easy photo in its inbox."""
    copy_sample("bean_tips", folder)
    file = folder / "study.toml"
    file.write_text(file.read_text("utf-8").replace("2026-", "2025-"), "utf-8")
    study = sheet_reader.open_study(folder)
    day = study.season.first + timedelta(days=28)
    visit = random_visit(study, np.random.default_rng([0, 5]), SITE, day)
    request = Request(visit, 1, on_blank=True)
    photo = photo_of(LayoutBook(study), ProceduralHands(), "easy", 0, request)
    (folder / "inbox").mkdir()
    (folder / "inbox" / "photo_01.jpg").write_bytes(photo.data)
    return photo


TYPED = """
from datetime import date
from pathlib import Path
from typing import Literal, assert_type
import pandas as pd
import sheet_reader
from sheet_reader import BatchSummary, PhotoReading, Study, open_record, open_study
study = open_study("bean_tips")
assert_type(study, Study)
assert_type(sheet_reader.print_sheets(study, ["0174"]), list[Path])
photo = sheet_reader.read_photo(Path("a.jpg"), study)
assert_type(photo, PhotoReading)
assert_type(photo.pages[0].visit_date, date | None)
assert_type(photo.pages[0].fields[0].value, str | None)
assert_type(photo.pages[0].fields[0].status, Literal["accepted", "flagged", "empty"])
assert_type(sheet_reader.read_batch(study), BatchSummary)
with open_record(study) as record:
    assert_type(record.rows(), pd.DataFrame)
    assert_type(record.readings(), pd.DataFrame)
    assert_type(record.counts(), pd.DataFrame)
    assert_type(sheet_reader.compare(record, "blackfly").sites, pd.DataFrame)
"""
MISTAKEN = """
sheet_reader.raed_photo("a.jpg", study)  # attr-defined
sheet_reader.read_photo(3, study)  # arg-type
study.titel  # attr-defined
"""


@pytest.mark.slow
def test_users_programs_are_checked_against_its_types(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    mypy = pytest.importorskip("mypy.api")
    monkeypatch.setenv("MYPYPATH", str(README.parent))
    program = tmp_path / "program.py"
    program.write_text(TYPED + MISTAKEN, "utf-8")
    arguments = ["--strict", "--config-file=", "--follow-imports=silent", "--no-pretty"]
    kept = getattr(request.config, "cache", None)  # what mypy knows of the package, for next time
    known = kept.mkdir("mypy") if kept else tmp_path
    said, trouble, _ = mypy.run([*arguments, f"--cache-dir={known}", str(program)])
    assert trouble == ""
    lines = program.read_text("utf-8").splitlines()
    expected = {(n, s.split("# ")[1]) for n, s in enumerate(lines, start=1) if "  # " in s}
    found = re.findall(r"^.*program\.py:(\d+): error: .*\[([a-z-]+)\]$", said, re.MULTILINE)
    assert {(int(line), code) for line, code in found} == expected, said
    assert said.count("error:") == len(expected), said
