"""Bad input: each gives one clear line, loses nothing, and the batch goes on.

Pictures of sheets are made from the printed pages; where the sheet is, is found by the real
vision room; one zero counts as written, every other box as empty.
"""

import io
import os
import shutil
import stat
import struct
import zlib
from datetime import date
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sheet_reader.cli.main import cli
from sheet_reader.decode.sheet import decode_sheet
from sheet_reader.demo.samples import copy_sample
from sheet_reader.digits.classes import CLASSES, EMPTY, BoxReadings
from sheet_reader.intake.files import OpenedPicture
from sheet_reader.reading import worker
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet

SAMPLES = Path(__file__).parents[2] / "samples"
PX_PER_MM = 6.0


def nearly_empty(
    picture: OpenedPicture, study: Study, book: LayoutBook, today: date, /, **_: Any
) -> list[Any]:
    found: list[Any] = []
    for finding in find_sheets(picture.gray, book):
        if isinstance(finding, NoSheet):
            found.append(finding)
            continue
        probabilities = np.full((len(finding.boxes), len(CLASSES)), 1e-9)
        probabilities[:-1, CLASSES.index(EMPTY)] = 1.0
        probabilities[-1, CLASSES.index("0")] = 1.0
        probabilities /= probabilities.sum(axis=1, keepdims=True)
        reading = decode_sheet(finding, BoxReadings(probabilities, CLASSES), study, today)
        found.append((finding, reading))
    return found


def sheet_picture(study: Study, sheet: str) -> bytes:
    """A printed page lying on a grey desk, as JPEG."""
    book = LayoutBook(study)
    page = book.template(book.layout(sheet).pages[0], PX_PER_MM)
    desk = cv2.copyMakeBorder(page, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=120)
    return jpeg(desk)


def jpeg(gray: np.ndarray) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(gray).save(stream, "JPEG", quality=90)
    return stream.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size: signature, IHDR and a little data (PNG specification, 11.2.2)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * 10_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.fixture(scope="module")
def bean() -> Study:
    return read_study(SAMPLES / "bean_tips")


@pytest.fixture(scope="module")
def bean_book(bean: Study) -> LayoutBook:
    return LayoutBook(bean)


@pytest.fixture(scope="module")
def good(bean: Study) -> bytes:
    return sheet_picture(bean, bean.sites[0].number)


@pytest.fixture
def inbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bean_book: LayoutBook) -> Path:
    folder = tmp_path / "beans"
    shutil.copytree(SAMPLES / "bean_tips", folder)
    (folder / "inbox").mkdir(exist_ok=True)
    monkeypatch.setattr(worker, "default_reader", lambda: nearly_empty)
    monkeypatch.setattr(worker, "whole_book", lambda _study: bean_book)  # made once, to save time
    return folder / "inbox"


def run(*words: Any) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words])


def read(inbox: Path) -> list[str]:
    result = run("read", inbox.parent, "--jobs", 0)
    assert result.exit_code == 0, result.output
    assert "Traceback" not in result.output
    return result.stdout.splitlines()


def assert_one_line_and_the_good_one(inbox: Path, good: bytes, name: str, reason: str) -> None:
    """``name`` gives one line with ``reason``, is not lost, and a good photo after it is read."""
    before = (inbox / name).read_bytes()
    (inbox / "zz_good.jpg").write_bytes(good)
    lines = read(inbox)
    own = [line for line in lines if line.startswith((f"{name}: ", f"{name} (photo-0001): "))]
    assert len(own) == 1, lines
    assert reason in own[0]
    assert any("1 page read" in line for line in lines), lines
    assert (inbox / name).read_bytes() == before


def test_not_a_picture(inbox: Path, good: bytes) -> None:
    (inbox / "notes.jpg").write_text("buy seed potatoes")
    assert_one_line_and_the_good_one(inbox, good, "notes.jpg", "not a picture")


def test_a_truncated_jpeg(inbox: Path, good: bytes) -> None:
    (inbox / "half.jpg").write_bytes(good[: len(good) // 2])
    assert_one_line_and_the_good_one(inbox, good, "half.jpg", "cut off")


def test_an_empty_file(inbox: Path, good: bytes) -> None:
    (inbox / "empty.jpg").write_bytes(b"")
    assert_one_line_and_the_good_one(inbox, good, "empty.jpg", "0 bytes")


def test_a_picture_of_200_megapixels(inbox: Path, good: bytes) -> None:
    (inbox / "huge.png").write_bytes(png_header(20_000, 10_000))
    assert_one_line_and_the_good_one(inbox, good, "huge.png", "megapixel")


def test_a_picture_that_shows_no_sheet(inbox: Path, good: bytes) -> None:
    noise = np.random.default_rng(5).normal(150, 20, (900, 1200)).clip(0, 255).astype(np.uint8)
    (inbox / "desk.jpg").write_bytes(jpeg(cv2.GaussianBlur(noise, (9, 9), 0)))
    assert_one_line_and_the_good_one(inbox, good, "desk.jpg", "")


def test_a_sheet_of_another_study(inbox: Path, good: bytes) -> None:
    rocks = read_study(SAMPLES / "rock_pools")
    (inbox / "rocks.jpg").write_bytes(sheet_picture(rocks, "BLANK"))
    assert_one_line_and_the_good_one(inbox, good, "rocks.jpg", "another study")


def test_a_sheet_of_an_older_layout(inbox: Path, good: bytes, tmp_path: Path) -> None:
    older = tmp_path / "older"
    shutil.copytree(SAMPLES / "bean_tips", older)
    file = older / "study.toml"
    file.write_text(file.read_text().replace('label = "Bean plants"', 'label = "Plants"'))
    study = read_study(older)
    (inbox / "old.jpg").write_bytes(sheet_picture(study, study.sites[0].number))
    assert_one_line_and_the_good_one(inbox, good, "old.jpg", "another version")


def test_two_photos_of_one_sheet(inbox: Path, good: bytes) -> None:
    (inbox / "first.jpg").write_bytes(good)
    (inbox / "second.jpg").write_bytes(good + b"\0")
    text = "\n".join(read(inbox))
    assert "2 new photos, 2 pages read" in text
    run("export", inbox.parent)
    readings = (inbox.parent / "results" / "readings.csv").read_text(encoding="utf-8")
    assert "photo-0001" in readings
    assert "photo-0002" in readings


def test_the_same_photo_by_two_names_counts_once(inbox: Path, good: bytes) -> None:
    (inbox / "first.jpg").write_bytes(good)
    (inbox / "copy.jpg").write_bytes(good)
    assert "1 new photo, 1 known already" in "\n".join(read(inbox))


def test_a_study_with_five_mistakes_lists_all_five(inbox: Path) -> None:
    file = inbox.parent / "study.toml"
    text = file.read_text(encoding="utf-8")
    for right, wrong in (
        ('paper = "A4"', 'paper = "A3"'),
        ("allowed_error = 0.002", "allowed_error = 7"),
        ("last = 2026-08-30", "last = 2026-01-30"),
        ("interval_days = 7", "interval_days = 0"),
        ('"small_larvae", "large_larvae"]', '"small_larvae", "no_such_count"]'),
    ):
        assert right in text
        text = text.replace(right, wrong)
    file.write_text(text, encoding="utf-8")
    result = run("read", inbox.parent)
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert "study.toml: 5 mistakes" in lines[0]
    places = ("paper", "allowed_error", "season", "visits.interval_days", "the first sum")
    for path in places:
        assert any(line.strip().startswith(path) for line in lines[1:]), lines
    assert len(lines) == 6


def test_a_sites_with_a_wrong_check_digit(inbox: Path) -> None:
    sites = inbox.parent / "sites.csv"
    sites.write_text(sites.read_text().replace("2043,", "2044,"))
    result = run("review", inbox.parent)
    assert result.exit_code == 2
    assert "2044" in result.stderr
    assert "check digit" in result.stderr
    assert len(result.stderr.splitlines()) == 2


def test_no_such_study_photo_or_inbox(inbox: Path) -> None:
    for words in (
        ("read", inbox.parent / "nowhere"),
        ("read", inbox.parent, inbox / "nothing.jpg"),
    ):
        result = run(*words)
        assert result.exit_code == 2
        assert len(result.stderr.splitlines()) == 1
        assert "there is no such" in result.stderr
    inbox.rmdir()
    assert "there is no inbox yet" in run("read", inbox.parent).stderr


def test_an_empty_inbox_says_so(inbox: Path) -> None:
    assert "No photos here." in read(inbox)


@pytest.fixture
def locked(inbox: Path) -> Any:
    """A folder that nobody may write into."""
    folder = inbox.parent / "locked"
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    if os.access(folder, os.W_OK):
        folder.chmod(0o755)
        pytest.skip("this account may write anywhere (root), so permissions can't be tested")
    yield folder
    folder.chmod(0o755)


def test_export_into_a_folder_without_write_permission(inbox: Path, locked: Path) -> None:
    result = run("export", inbox.parent, "--out", locked)
    assert result.exit_code == 3
    assert "cannot write here: permission denied" in result.stderr
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["export", "read"])
def test_a_place_that_is_no_folder(inbox: Path, good: bytes, command: str) -> None:
    """The same for every account, root too."""
    blocked = inbox.parent / "blocked"
    blocked.write_text("a file")
    (inbox / "good.jpg").write_bytes(good)
    option = "--out" if command == "export" else "--overlay"
    more = ["--jobs", 0] if command == "read" else []
    result = run(command, inbox.parent, option, blocked / "deeper", *more)
    assert result.exit_code == 3, result.output
    assert "cannot write here" in result.stderr
    assert len(result.stderr.splitlines()) <= 2  # one may say that Tesseract is missing
    assert any("1 page read" in line or "Nothing new" in line for line in read(inbox))


def test_a_damaged_record_is_one_line(inbox: Path) -> None:
    (inbox.parent / "record.sqlite").write_bytes(b"this is no database" * 200)
    result = run("export", inbox.parent)
    assert result.exit_code == 4
    assert len(result.stderr.splitlines()) == 1


def test_without_tesseract_one_line_says_what_is_off(
    inbox: Path, good: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (inbox / "good.jpg").write_bytes(good)
    monkeypatch.setattr("shutil.which", lambda _name: None)
    result = run("read", inbox.parent, "--jobs", 0)
    assert result.exit_code == 0
    assert [line for line in result.stderr.splitlines() if "Tesseract" in line] == [
        "note: Tesseract is not installed, so a sheet whose machine code is spoilt is read by its "
        "printed code only where that is plain; all else works."
    ]
    assert "1 page read" in result.stdout


def test_a_share_of_errors_that_is_hardly_meant_is_told(tmp_path: Path) -> None:
    copy_sample("bean_tips", tmp_path / "beans")
    file = tmp_path / "beans" / "study.toml"
    text = file.read_text("utf-8")
    for share, told in (("0.01", False), ("0.05", True)):
        file.write_text(text.replace("allowed_error = 0.002", f"allowed_error = {share}"), "utf-8")
        result = CliRunner().invoke(cli, ["print", str(tmp_path / "beans")])
        assert result.exit_code == 0
        assert ("lets 1 of 20 accepted fields be wrong" in result.stderr) == told
