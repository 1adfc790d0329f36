"""A photo that was refused is read by itself when the reason is gone, and named until then."""

from pathlib import Path
from typing import Any

import pytest

from sheet_reader.cli.told_of_read import still_unread
from sheet_reader.intake import pictures
from sheet_reader.reading import worker
from sheet_reader.reasons import Code, Reason, because, in_words
from sheet_reader.record.history import photos
from sheet_reader.record.history.photos import PhotoLine
from sheet_reader.sheet.page import SheetCode
from sheet_reader.vision.findings import NoSheet


@pytest.fixture
def asking_the_book(bean_desk: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The stand-in, but it asks the study's own book whether a sheet may be read.

    A sheet's layout is the one that the study printed when the fixture was made.
    """
    from sheet_reader.sheet.book import LayoutBook
    from sheet_reader.study.reader import read_study

    printed = LayoutBook(read_study(bean_desk.folder)).version
    plain = worker.default_reader()

    def reader(picture: Any, study: Any, book: Any, today: Any, **_: Any) -> Any:
        found = []
        for item in plain(picture, study, book, today):
            code = SheetCode(study.key, printed, item[1].code.sheet, 1)
            page = book.lookup(code)
            found.append(NoSheet(page) if isinstance(page, Reason) else item)
        return found

    monkeypatch.setattr(worker, "default_reader", lambda: reader)
    return bean_desk


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def site_line(folder: Path, number: str) -> str:
    lines = (folder / "sites.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    return next(line for line in lines if line.startswith(number))


def test_a_site_that_comes_back_to_the_list(asking_the_book: Any) -> None:
    desk = asking_the_book
    line = site_line(desk.folder, "2043")
    edit(desk.folder / "sites.csv", line, "")
    desk.put("a.png", sheet="2043")
    assert "site 2043 is printed on this sheet but is not on the site list" in desk.done("read")
    later = desk.done("read")
    assert "1 photo is not read, or not wholly" in later
    assert "a.png (photo-0001): site 2043 is printed" in later
    (desk.folder / "inbox" / "a.png").unlink()
    with (desk.folder / "sites.csv").open("a", encoding="utf-8") as sites:
        sites.write(line)
    text = desk.done("read")
    assert "1 from before looked at (1 read, 0 not readable)" in text
    assert "1 photo, 1 visit" in text
    assert "not read, or not wholly" not in text


def test_a_layout_that_is_used_again(asking_the_book: Any) -> None:
    desk = asking_the_book
    toml = desk.folder / "study.toml"
    before = toml.read_text(encoding="utf-8")
    edit(toml, 'unit = "', 'unit = "whole ')
    desk.put("a.png")
    assert "printed from another version" in desk.done("read")
    toml.write_text(before, encoding="utf-8")
    assert "1 photo, 1 visit" in desk.done("read")


def test_a_package_that_is_installed_later(bean_desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    path = bean_desk.put("a.png")
    data = path.read_bytes()
    heic = b"\0\0\0\x18ftypheic" + data  # a HEIC file by its first bytes, a PNG behind them
    path.write_bytes(heic)
    frames = pictures._frames

    def with_package(given: bytes, bounds: Any) -> Any:
        return frames(given[12:], bounds)

    installed = {"pillow-heif": ""}
    real = photos.version
    monkeypatch.setattr(photos, "version", lambda name: installed.get(name) or real("numpy"))
    monkeypatch.setattr(pictures, "_heif_ready", lambda: False)
    assert "need the package pillow-heif" in bean_desk.done("read")
    assert "need the package pillow-heif" in bean_desk.done("read")
    installed["pillow-heif"] = "1.0"
    monkeypatch.setattr(pictures, "_frames", with_package)
    assert "1 photo, 1 visit" in bean_desk.done("read")


def test_many_names_are_cut_short() -> None:
    covered = (because(Code.TEXT, text="covered").on_page(2),)
    photos = [PhotoLine(n, f"p{n}.png", "no sheet", covered) for n in range(1, 10)]
    photos += [PhotoLine(n, f"q{n}.png", "failed", in_words(f"reason {n}")) for n in range(10, 20)]
    photos.append(PhotoLine(20, "told.png", "failed", in_words("told just now")))
    photos.append(PhotoLine(21, "good.png", "read"))
    first, most, *others, last = still_unread(photos, {20})
    assert first == "From before, 19 photos are not read, or not wholly:"
    names = ", ".join(f"p{n}.png (photo-000{n})" for n in range(1, 6))
    assert most == f"  {names} and 4 more: covered"
    assert len(others) == 5
    assert last == "  and 5 more for other reasons"
    assert still_unread(photos[-2:], {20}) == []
