"""Every layout ever printed is kept as its study file, and can be made again from it."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from sheet_reader.demo.samples import copy_sample, sample_folder
from sheet_reader.record.originals.backup import backup
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import keep_layout, kept_layouts, layout_files, whole_book
from sheet_reader.sheet.page import BLANK
from sheet_reader.study.former import by_present_rules
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study


@pytest.fixture
def beans(tmp_path: Path) -> Study:
    copy_sample("bean_tips", tmp_path / "beans")
    return read_study(tmp_path / "beans")


def edited(study: Study, old: str, new: str) -> Study:
    file = study.folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    return read_study(study.folder)


def test_a_changed_layout_is_made_again_as_it_was(beans: Study) -> None:
    before = LayoutBook(beans)
    keep_layout(beans)
    now = whole_book(edited(beans, "Bean plants", "Broad beans"))
    assert now.version != before.version
    assert before.version in now.versions
    for sheet in (BLANK, "2043"):
        assert now.layout(sheet, before.version) == before.layout(sheet)
        page = before.layout(sheet).pages[0]
        assert now.lookup(page.code) == page
        assert (now.template(page, 4.0) == before.template(page, 4.0)).all()


def test_one_text_a_layout_the_latest(beans: Study) -> None:
    keep_layout(beans)
    keep_layout(edited(beans, 'title = "Bean tips"', 'title = "Bean tops"'))
    (kept,) = layout_files(beans.folder)
    assert "Bean tops" in kept.read_text(encoding="utf-8")
    keep_layout(edited(beans, "Bean plants", "Broad beans"))
    assert len(layout_files(beans.folder)) == 2


def test_a_site_that_joined_later_has_sheets_of_no_former_number_of_boxes(beans: Study) -> None:
    keep_layout(beans)
    book = whole_book(edited(beans, "Bean plants", "Broad beans"))
    version = LayoutBook(beans).version
    longer = replace(book.study, sites=(*book.study.sites, replace(beans.sites[0], number="20439")))
    former = kept_layouts(longer).studies[0]
    assert former.site("20439") is None
    assert former.site("2043") is not None
    assert version in whole_book(longer).versions


@pytest.mark.parametrize("damage", ["edited", "cut", "another study"])
def test_a_text_that_was_edited_is_told_and_left_alone(beans: Study, damage: str) -> None:
    keep_layout(beans)
    (kept,) = layout_files(beans.folder)
    text = kept.read_text(encoding="utf-8")
    bad = {
        "edited": text.replace("Bean plants", "Beans"),
        "cut": text[:90],
        "another study": text.replace('key = "bean-tips"', 'key = "peas"'),
    }[damage]
    kept.write_text(bad, encoding="utf-8")
    now = edited(beans, "Bean plants", "Broad beans")
    found = kept_layouts(now)
    assert found.studies == ()
    assert kept.name in found.problems[0]
    assert "changed since it was kept" in found.problems[0]
    with Record.open(now):
        pass
    assert any(kept.name in line for line in verify(now).problems)
    keep_layout(now)
    assert kept.read_text(encoding="utf-8") == bad


def test_an_edited_text_is_kept_anew_while_the_study_still_has_that_layout(beans: Study) -> None:
    keep_layout(beans)
    (kept,) = layout_files(beans.folder)
    text = kept.read_text(encoding="utf-8")
    kept.write_text("key = 1", encoding="utf-8")
    keep_layout(beans)
    assert kept.read_text(encoding="utf-8") == text


def test_layouts_are_part_of_the_backup(beans: Study, tmp_path: Path) -> None:
    keep_layout(beans)
    with Record.open(beans):
        pass
    backup(beans, tmp_path / "b.tar")
    restore(tmp_path / "b.tar", tmp_path / "back")
    (kept,) = layout_files(beans.folder)
    back = tmp_path / "back" / "layouts" / kept.name
    assert back.read_bytes() == kept.read_bytes()
    assert back.stat().st_mode & 0o077 == 0


def test_a_folder_that_cannot_be_written_and_the_samples_stay_as_they_are(beans: Study) -> None:
    sample = read_study(sample_folder("bean_tips"))
    keep_layout(sample)
    assert layout_files(sample.folder) == []
    if os.geteuid():
        beans.folder.chmod(0o500)
        keep_layout(beans)
        beans.folder.chmod(0o700)
        assert layout_files(beans.folder) == []


def test_former_fields_under_the_rules_of_today(beans: Study) -> None:
    counts = tuple(
        replace(c, name="stems", highest=7) if c.name == "plants" else replace(c, highest=33)
        for c in beans.counts
    )
    now = replace(beans, counts=counts, allowed_error=0.01, sums=())
    seen = {spec.name: spec.highest for spec in by_present_rules(beans, now).fields}
    assert seen["pinched.plants"] == 60
    assert seen["pinched.ladybirds"] == 33
    named = by_present_rules(
        beans, now, {s.name: s.name.replace("plants", "stems") for s in beans.fields}
    )
    assert {s.name: s.highest for s in named.fields}["pinched.plants"] == 7
    assert by_present_rules(beans, now).allowed_error == 0.01
