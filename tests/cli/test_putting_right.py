"""The commands that put the record right: correct, photos, aside, back, enter."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

Desk = Any
SITE, OTHER_SITE = "2043", "0174"
COUNTS = {
    f"{plot}.{name}": value
    for plot in ("pinched", "unpinched")
    for name, value in (
        ("minutes", "10"), ("plants", "14"), ("blackfly", "0"), ("egg_clusters", "3"),
        ("small_larvae", "4"), ("large_larvae", "5"), ("ladybirds", "12"),
    )
}  # fmt: skip

SHOWN = ["--site", SITE, "--visit", "2026-05-20"]


@pytest.fixture
def desk(bean_desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: date(2026, 6, 1))
    return bean_desk


def rows(desk: Desk) -> list[dict[str, str]]:
    desk.done("export")
    text = (desk.folder / "results" / "rows.csv").read_text("utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def one_line(desk: Desk, command: str, *args: str) -> str:
    """The one line in which a mistake of the call is told."""
    result = desk.run(command, *args)
    assert result.exit_code == 2, result.output
    lines = [line for line in result.stderr.splitlines() if not line.startswith("note:")]
    assert len(lines) == 1, lines
    return lines[0]


@pytest.mark.usefixtures("one_read")
def test_a_value_is_corrected_with_a_reason(desk: Desk) -> None:
    said = desk.done("correct", *SHOWN, "--set", "pinched.plants=12", "--set", "helpers=",
                     "--reason", "the volunteer rang", "--as", "Kim")  # fmt: skip
    assert "14 → 12" in said
    assert "2 → not recorded" in said
    [row] = rows(desk)
    assert (row["pinched.plants"], row["helpers"]) == ("12", "")
    history = desk.done("history", *SHOWN)
    assert "corrected 12 (was 14) by Kim: “the volunteer rang”" in history
    assert "read, accepted 14" in history


@pytest.mark.usefixtures("one_read")
def test_a_correction_by_questions(desk: Desk) -> None:
    shown = desk.done("correct", *SHOWN, typed="s\n")
    assert "Nothing was changed." in shown
    number = next(line.split()[0] for line in shown.splitlines() if "Helpers" in line
                  or "helpers" in line.lower())  # fmt: skip
    typed = f"99\n{number}\nmany\n5\n\nmisread\n"
    said = desk.done("correct", *SHOWN, "--as", "Kim", typed=typed)
    assert "type a number from 1 to" in said
    assert "type the number in digits" in said
    assert rows(desk)[0]["helpers"] == "5"
    assert "“misread”" in desk.done("history", *SHOWN)


@pytest.mark.usefixtures("one_read")
def test_a_sheet_gets_another_date_and_site(desk: Desk) -> None:
    desk.done("correct", "a.png", "--set", "date=2026-05-27", "--set", f"site={OTHER_SITE}")
    [row] = rows(desk)
    assert (row["site"], row["visit_date"]) == (OTHER_SITE, "2026-05-27")
    assert "counts for site 0174, 2026-05-27" in desk.done("history", *SHOWN)


def test_two_sheets_that_come_to_share_a_place_are_told(desk: Desk) -> None:
    desk.put("a.png")
    desk.put("b.png", visit_date="2026-05-27", pinched__plants="9", unpinched__plants="8")
    desk.done("read")
    said = desk.done("correct", "photo-0002", "--set", "date=2026-05-20")
    assert "has photo-0001 too" in said
    assert "sheet-reader review" in said
    assert "1 question waits for you." in said
    assert "1 question waits for you." in desk.done("export")
    assert len(rows(desk)) == 1


def test_a_site_typed_without_its_zeros_is_the_same_site(desk: Desk) -> None:
    desk.put("a.png", sheet=OTHER_SITE)
    desk.done("read")
    for typed in (OTHER_SITE, OTHER_SITE.lstrip("0")):
        place = ["--site", typed, "--visit", "2026-05-20"]
        desk.done("correct", *place, "--set", "helpers=4")
        assert "helpers" in desk.done("history", *place)
        assert "photo-0001" in desk.done("photos", "--site", typed)
    assert rows(desk)[0]["site"] == OTHER_SITE


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ([], "name one sheet"),
        (["--site", SITE], "name one sheet"),
        (["a.png", *SHOWN], "name one sheet"),
        (["--site", "9999", "--visit", "2026-05-20", "--set", "helpers=1"], "not on the site list"),
        ([*SHOWN, "--set", "helper=1"], "no field “helper” (there are helpers"),
        ([*SHOWN, "--set", "helpers"], "write it as field=value"),
        ([*SHOWN, "--set", "helpers=many"], "in digits"),
        ([*SHOWN, "--set", "helpers=99999"], "--unusual takes it"),
        ([*SHOWN, "--set", "helpers=1", "--set", "helpers=2"], "set twice"),
        ([*SHOWN, "--set", "site=2044"], "its check digit is wrong"),
        ([*SHOWN, "--set", "date=2026-02-30"], "no such date"),
        ([*SHOWN, "--set", "date=2026-12-24"], "outside the season"),
        ([*SHOWN, "--set", "date="], "a sheet has a site and a date"),
        (["b.png", "--set", "helpers=1"], "there is no photo “b.png”"),
        (["a.png", "--sheet", "3", "--set", "helpers=1"], "choose one with --sheet"),
        ([*SHOWN, "--sheet", "1", "--set", "helpers=1"], "--sheet goes with a photo"),
    ],
)
@pytest.mark.usefixtures("one_read")
def test_a_mistaken_correction_is_one_line_and_changes_nothing(
    desk: Desk, args: list[str], says: str
) -> None:
    before = rows(desk)
    assert says in one_line(desk, "correct", *args)
    assert rows(desk) == before


@pytest.mark.usefixtures("one_read")
def test_a_visit_date_that_does_not_exist_is_refused(desk: Desk) -> None:
    result = desk.run("correct", "--site", SITE, "--visit", "2026-02-30", "--set", "helpers=1")
    assert result.exit_code == 2
    assert "is not a date" in result.stderr


@pytest.mark.usefixtures("one_read")
def test_an_unusual_value_is_taken_when_meant(desk: Desk) -> None:
    desk.done("correct", *SHOWN, "--set", "helpers=99999", "--unusual")
    assert rows(desk)[0]["helpers"] == "99999"


def test_photos_lists_every_fate(desk: Desk, no_sheet: Callable[[str], bytes]) -> None:
    desk.put("a.png", flagged={"helpers": ("3", 0.5, "unclear")})
    desk.put("b_kim_roe.png", visit_date="2026-05-27")
    desk.put_bytes("cat.png", no_sheet("no sheet of the study"))
    desk.done("read")
    desk.done("aside", "b_kim_roe.png", "--reason", "a trial by Kim")
    desk.done("enter", *values(date="2026-05-13"))
    said = desk.done("photos")
    assert "a.png (photo-0001)" in said
    assert "site 2043 on 2026-05-20, 1 field waiting" in said
    assert "set aside" in said
    assert "a trial by Kim" in said
    assert "no sheet of the study" in said
    assert "4 photos: 1 read, 1 not readable, 1 typed in, 1 set aside." in said
    table = list(csv.DictReader(io.StringIO(desk.done("photos", "--csv"))))
    assert [line["fate"] for line in table] == ["read", "set aside", "not readable", "typed in"]
    assert [line["from"] for line in table] == ["folder", "folder", "folder", "typed"]
    assert not any("kim" in cell.lower() for line in table for cell in line.values())
    assert [line["photo"] for line in table if line["waiting"] == "1"] == ["photo-0001"]
    for filtered, names in [
        (["--fate", "not readable"], ["photo-0003"]),
        (["--waits"], ["photo-0001"]),
        (["--visit", "2026-05-13"], ["photo-0004"]),
        (["cat.png"], ["photo-0003"]),
    ]:
        found = csv.DictReader(io.StringIO(desk.done("photos", "--csv", *filtered)))
        assert [line["photo"] for line in found] == names


@pytest.mark.usefixtures("one_read")
def test_a_photo_is_shown_without_the_cameras_notes(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[bytes] = []

    def look(path: Path) -> int:
        shown.append(path.read_bytes())
        return 0

    monkeypatch.setattr("sheet_reader.cli.review.open_picture", look)
    desk.done("photos", "a.png", "--open", typed="\n")
    assert len(shown) == 1
    assert b"Exif" not in shown[0]
    assert "say which photo" in one_line(desk, "photos", "--open")


@pytest.mark.usefixtures("one_read")
def test_a_name_that_two_photos_bear_is_asked_back(desk: Desk) -> None:
    desk.put("a.png", visit_date="2026-05-27")
    desk.done("read")
    assert "2 photos are called “a.png”" in one_line(desk, "aside", "a.png")
    desk.done("aside", "photo-0002")
    assert [row["visit_date"] for row in rows(desk)] == ["2026-05-20"]


@pytest.mark.usefixtures("one_read")
def test_aside_and_back(desk: Desk) -> None:
    assert "counts nowhere" in desk.done("aside", "a.png")
    assert rows(desk) == []
    assert "set aside already" in one_line(desk, "aside", "a.png")
    assert "set aside" in one_line(desk, "correct", "a.png", "--set", "helpers=1")
    assert "counts again" in desk.done("back", "a.png")
    assert len(rows(desk)) == 1
    assert "neither set aside nor replaced" in one_line(desk, "back", "a.png")
    assert "no photo" in one_line(desk, "back", "z.png")
    desk.done("verify")


def values(date: str = "2026-05-20", site: str = SITE, **more: str) -> list[str]:
    given = {"site": site, "date": date, "helpers": "2", **COUNTS}
    given |= {name.replace("__", "."): value for name, value in more.items()}
    return [part for name, value in given.items() for part in ("--set", f"{name}={value}")]


def test_a_sheet_is_entered_by_options(desk: Desk) -> None:
    said = desk.done("enter", *values(pinched__blackfly="", site="174"), "--as", "Kim")
    assert "1 not recorded" in said
    [row] = rows(desk)
    assert (row["site"], row["pinched.plants"], row["pinched.blackfly"]) == (OTHER_SITE, "14", "")
    text = (desk.folder / "results" / "readings.csv").read_text("utf-8")
    statuses = {line["field"]: line["status"] for line in csv.DictReader(io.StringIO(text))}
    assert statuses["pinched.plants"] == "typed"
    assert statuses["pinched.blackfly"] == "empty"
    assert "typed in 14 by Kim" in desk.done(
        "history", "--site", OTHER_SITE, "--visit", "2026-05-20"
    )
    desk.done("verify")


def test_a_sheet_is_entered_by_questions(desk: Desk) -> None:
    order = ["9999", "2044", SITE, "20 05 26", "b", "", "2", *COUNTS.values()]
    said = desk.done("enter", typed="\n".join(order) + "\n")
    assert "not on the site list" in said
    assert "check digit is wrong" in said
    [row] = rows(desk)
    assert (row["site"], row["visit_date"], row["helpers"]) == (SITE, "2026-05-20", "2")
    assert row["unpinched.ladybirds"] == "12"


def test_an_empty_answer_is_not_recorded_and_zero_is_zero(desk: Desk) -> None:
    counts = ["0" if name == "pinched.blackfly" else "" for name in COUNTS]
    desk.done("enter", typed="\n".join([SITE, "20 05 26", "", *counts]) + "\n")
    [row] = rows(desk)
    assert (row["pinched.blackfly"], row["pinched.plants"], row["helpers"]) == ("0", "", "")


@pytest.mark.parametrize("typed", ["s\n", f"{SITE}\n20 05 26\ns\n", f"{SITE}\n", ""])
def test_entering_that_is_stopped_keeps_nothing(desk: Desk, typed: str) -> None:
    assert "Nothing was kept." in desk.done("enter", typed=typed)
    assert rows(desk) == []


@pytest.mark.usefixtures("one_read")
def test_entering_a_sheet_that_was_read_is_said_clearly(desk: Desk) -> None:
    told = one_line(desk, "enter", *values(helpers="3"))
    assert "in the record already, from photo-0001" in told
    assert "correct" in told
    assert rows(desk)[0]["helpers"] == "2"
    desk.done("enter", *values(helpers="3"), "--beside")
    [row] = rows(desk)
    assert (row["helpers"], row["doubted"]) == ("3", "helpers")
    asked = desk.done("enter", typed=f"{SITE}\n20 05 26\ns\n")
    assert "is in the record already" in asked


def test_a_photo_that_cannot_be_read_names_this_command_and_is_typed_in(
    desk: Desk, no_sheet: Callable[[str], bytes]
) -> None:
    desk.put_bytes("cat.png", no_sheet("too dark"))
    desk.done("read")
    desk.done("enter", "--photo", "cat.png", *values())
    assert "typed in" in desk.done("photos")
    assert rows(desk)[0]["pinched.plants"] == "14"
    assert "not read" not in desk.done("read")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--set", "helpers=2"], "needs its site"),
        (values(helpers="x"), "no value of a sheet typed in"),
        (values(helpers="-1"), "in digits"),
        (values(moths="1"), "no field “moths”"),
        (values(date="2025-05-20"), "outside the season"),
        (values(date="2026-05-32"), "no such date"),
        (values(date="2026-06-03"), "in the future"),
        ([*values(), "--photo", "cat.png"], "there is no photo “cat.png”"),
    ],
)
def test_a_mistaken_sheet_is_one_line_and_kept_nowhere(
    desk: Desk, args: list[str], says: str
) -> None:
    assert says in one_line(desk, "enter", *args)
    assert rows(desk) == []


def test_without_a_record_there_is_nothing_to_put_right(desk: Desk) -> None:
    for command, *args in (["correct", *SHOWN], ["photos"], ["aside", "a.png"], ["back", "a.png"]):
        assert "no record yet" in one_line(desk, command, *args)


@pytest.mark.usefixtures("one_read")
def test_comments_are_typed_up_and_exported_without_addresses(desk: Desk) -> None:
    desk.done("correct", *SHOWN, "--remark", "mown by kim@example.org on Monday", "--as", "Ada")
    assert rows(desk)[0]["remarks"] == "mown by … on Monday"
    desk.done("correct", *SHOWN, typed="c\nall eaten by slugs\n\n")
    assert rows(desk)[0]["remarks"] == "all eaten by slugs"
    desk.done("correct", *SHOWN, "--remark", "-")
    assert rows(desk)[0]["remarks"] == ""
    assert "at most" in one_line(desk, "correct", *SHOWN, "--remark", "x" * 3000)
    desk.done("verify")


@pytest.mark.usefixtures("one_read")
def test_backup_asks_before_it_replaces_an_earlier_one(desk: Desk) -> None:
    file = desk.folder.parent / "b.tar"
    desk.done("backup", file)
    before = file.read_bytes()
    desk.put("b.png", visit_date="2026-05-27")
    desk.done("read")
    assert desk.run("backup", file, typed="n\n").exit_code == 1
    assert desk.run("backup", file, typed="").exit_code == 1
    assert file.read_bytes() == before
    assert "Replace it?" in desk.done("backup", file, typed="y\n")
    assert file.read_bytes() != before
    assert "Replace" not in desk.done("backup", file, "--yes")


@pytest.mark.parametrize("left_out", [(), ("pinched.small_larvae",)])
def test_parts_above_their_total_are_told_once_and_not_asked_again(
    desk: Desk, left_out: tuple[str, ...]
) -> None:
    """Whether all parts are written or only some: one rule for typing, correcting and review."""
    counts = {name: "" if name in left_out else value for name, value in COUNTS.items()}
    counts |= {"pinched.egg_clusters": "5", "pinched.ladybirds": "3"}
    said = {"site": SITE, "date": "2026-05-20", "helpers": "2", **counts}
    sets = [part for name, value in said.items() for part in ("--set", f"{name}={value}")]
    assert "is 3," in one_line(desk, "enter", *sets)
    desk.done("enter", *sets, "--unusual")
    [row] = rows(desk)
    assert (row["pinched.ladybirds"], row["waiting"], row["doubted"]) == ("3", "0", "")
    correct = ["correct", *SHOWN, "--set", "pinched.ladybirds=2"]
    assert "is 2," in one_line(desk, *correct)
    desk.done(*correct, "--unusual")
    [row] = rows(desk)
    assert (row["pinched.ladybirds"], row["waiting"], row["doubted"]) == ("2", "0", "")
