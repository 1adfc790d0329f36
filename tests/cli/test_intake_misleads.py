"""What arrives and is no photo of a filled-in sheet, and what is said about it."""

import re
import shlex
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from sheet_reader.cli import demo
from sheet_reader.cli.main import cli
from sheet_reader.errors import UsageError
from sheet_reader.intake.pictures import is_overlay, marked_as_overlay

SAMPLES = Path(__file__).parents[2] / "samples"


def run(*words: Any, typed: str | None = None) -> Any:
    return CliRunner().invoke(cli, [str(word) for word in words], input=typed)


def test_own_overlays_are_no_photos(bean_desk: Any) -> None:
    bean_desk.put("a.png")
    drawn = bean_desk.folder / "inbox" / "drawn"
    bean_desk.done("read", "--overlay", drawn)
    assert [p.name for p in drawn.iterdir()] == ["photo-0001.jpg"]
    text = bean_desk.done("read")
    assert "1 picture was drawn by sheet_reader and left out: photo-0001.jpg" in text
    assert "1 photo, 1 visit" in text


def test_an_overlay_stays_a_sound_picture(tmp_path: Path) -> None:
    plain = tmp_path / "plain.jpg"
    Image.fromarray(np.arange(2000, dtype=np.uint8).reshape(40, 50)).save(plain, "JPEG")
    data = marked_as_overlay(plain.read_bytes())
    assert is_overlay(data)
    assert not is_overlay(plain.read_bytes())
    marked = tmp_path / "marked.jpg"
    marked.write_bytes(data)
    with Image.open(marked) as one, Image.open(plain) as other:
        assert np.array_equal(np.asarray(one), np.asarray(other))


def test_unfilled_prints_are_no_visits(tmp_path: Path) -> None:
    """The study's own prints, read by the real reader."""
    study = tmp_path / "beans"
    shutil.copytree(SAMPLES / "bean_tips", study)
    for which in (["--site", "2043"], ["--blank"]):
        assert run("print", study, *which).exit_code == 0
    for path in (study / "sheets").glob("*.json"):
        path.unlink()
    text = run("read", study, study / "sheets", "--jobs", 0).stdout
    assert text.count("blank sheet, nothing written") == 2
    assert "2 new photos (0 read, 2 not readable: reasons above)" in text
    assert "2 photos, 0 visits. Nothing waits for you." in text


def test_a_sheet_with_nothing_but_a_date_is_a_visit(bean_desk: Any) -> None:
    nothing = dict.fromkeys(blank_fields(bean_desk))
    bean_desk.put("dated.png", **nothing)
    bean_desk.put("blank.png", **nothing | {"visit_date": None})
    text = bean_desk.done("read")
    assert "blank.png (photo-0001): blank sheet, nothing written" in text
    assert "2 photos, 1 visit" in text


def blank_fields(desk: Any) -> list[str]:
    from sheet_reader.study.reader import read_study

    fields = read_study(desk.folder).fields
    return [f.name.replace(".", "__") for f in fields if f.kind.name in ("count", "number")]


def test_the_demo_leaves_a_study_alone(tmp_path: Path) -> None:
    shutil.copytree(SAMPLES / "bean_tips", tmp_path / "beans")
    before = sorted(p.name for p in (tmp_path / "beans").iterdir())
    with pytest.raises(UsageError, match="holds a study already"):
        demo._photos(tmp_path / "beans", date(2026, 6, 15))
    assert sorted(p.name for p in (tmp_path / "beans").iterdir()) == before


def test_linked_photos_are_read_and_other_links_are_named(bean_desk: Any, tmp_path: Path) -> None:
    photo = bean_desk.put("a.png").rename(tmp_path / "elsewhere.png")
    (bean_desk.folder / "inbox" / "linked.png").symlink_to(photo)
    (bean_desk.folder / "inbox" / "album").symlink_to(tmp_path)
    text = bean_desk.done("read")
    assert "album: this is a link to a folder" in text
    assert "1 new photo, 1 not taken in (reasons above), 1 page read" in text


def test_hints_can_be_pasted_into_a_shell(bean_desk: Any, tmp_path: Path) -> None:
    folder = bean_desk.folder.rename(tmp_path / "my beans; 2026")
    bean_desk.folder = folder
    bean_desk.put("a.png", flagged={"pinched.plants": ("14", 0.7, "unsure")})
    wanted = {"read": "review", "export": "review", "review": "export"}
    for command, step in wanted.items():
        text = bean_desk.done(command, typed="\n")
        (line,) = [line for line in text.splitlines() if line.startswith("Next:")]
        assert shlex.split(line)[1:] == ["sheet-reader", step, str(folder)]


def test_a_photo_where_the_study_is_meant(bean_desk: Any) -> None:
    photo = bean_desk.put("my photo.png")
    photo.write_bytes(photo.read_bytes() + b"\0" * 600_000)
    result = run("read", photo)
    assert result.exit_code == 2
    assert "a folder that holds a study.toml" in result.stderr
    assert f"sheet-reader read STUDY '{photo}'" in result.stderr
    assert "500 kB" not in result.stderr
    assert "sheet-reader export STUDY, with" in run("export", photo).stderr


def test_each_thing_that_arrived_is_counted_once(bean_desk: Any, no_sheet: Any) -> None:
    first = bean_desk.put("known.png")
    bean_desk.put_bytes("old.png", no_sheet("a corner is outside"))
    bean_desk.done("read")
    bean_desk.put("new.png", visit_date="2026-05-27")
    bean_desk.put_bytes("desk.png", no_sheet("no sheet there"))
    for name in ("a.txt", "b.txt", "c.txt"):
        bean_desk.put_bytes(name, b"no picture")
    bean_desk.put_bytes("copy.png", first.read_bytes())
    text = bean_desk.done("read")
    line = next(line for line in text.splitlines() if "page read" in line)
    assert line.startswith(
        "2 new photos (1 read, 1 not readable: reasons above), 3 known already, "
        "3 not taken in (reasons above), 1 page read"
    )
    arrived = sum(int(re.search(rf"(\d+) {what}", line)[1]) for what in  # type: ignore[index]
                  ("new photos", "known already", "not taken in"))  # fmt: skip
    assert arrived == len(list((bean_desk.folder / "inbox").iterdir()))


def test_photos_of_an_earlier_run_are_told_apart(
    bean_desk: Any, no_sheet: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    bean_desk.put_bytes("old.png", no_sheet("a corner is outside"))
    bean_desk.done("read")
    bean_desk.put("new.png")
    monkeypatch.setattr("sheet_reader.reading.batch.model_version", lambda: "a better one")
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: date(2026, 6, 1))
    text = bean_desk.done("read")
    assert "1 new photo, 1 known already, 1 from before looked at (0 read, 1 not readable)" in text
