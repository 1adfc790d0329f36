"""What a person sees when study.toml or the site list is edited in the middle of a season."""

import csv
from pathlib import Path
from typing import Any

import pytest

PLANTS = "pinched.plants"


def edit(desk: Any, old: str, new: str, file: str = "study.toml") -> None:
    path = desk.folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def without_site(desk: Any, site: str = "2043") -> None:
    path = desk.folder / "sites.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(s for s in lines if not s.startswith(site)), encoding="utf-8")


def rows(desk: Any) -> list[dict[str, str]]:
    with (desk.folder / "results" / "rows.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def fill(desk: Any) -> None:
    desk.put("a.png", flagged={PLANTS: ("14", 0.7, "unsure")})
    desk.done("read")
    desk.done("export")


@pytest.fixture
def desk(bean_desk: Any, filled: Any) -> Any:
    """One visit with one open question, exported."""
    return filled(bean_desk, fill)


@pytest.mark.parametrize(
    "command",
    [
        ("read",),
        ("review",),
        ("export",),
        ("audit",),
        ("history", "--site", "2043", "--visit", "2026-05-20"),
    ],
)
def test_a_changed_key_stops_every_command_that_would_lose_rows(
    desk: Any, command: tuple[str, ...]
) -> None:
    before = (desk.folder / "results" / "rows.csv").read_bytes()
    edit(desk, 'key = "bean-tips"', 'key = "beans"')
    result = desk.run(*command)
    assert result.exit_code == 2
    assert "“bean-tips”" in result.stderr
    assert "key = “beans”" in result.stderr
    (line,) = [s for s in result.stderr.splitlines() if not s.startswith("note: ")]
    assert line.startswith("sheet-reader: ")
    assert (desk.folder / "results" / "rows.csv").read_bytes() == before


def test_verify_and_backup_go_on_under_a_changed_key(desk: Any, tmp_path: Path) -> None:
    edit(desk, 'key = "bean-tips"', 'key = "beans"')
    assert "“bean-tips”" in desk.done("verify")
    desk.done("backup", tmp_path / "copy.tar")


def test_a_site_off_the_list_is_sound_and_exported(desk: Any) -> None:
    without_site(desk)
    text = desk.done("verify")
    assert "all sound" in text
    assert "note: 1 visit is of a site that is not on the site list now (2043)" in text
    assert "(2043)" in desk.done("export")
    assert [row["site"] for row in rows(desk)] == ["2043"]


def test_an_answer_with_a_site_off_the_list_is_explained(bean_desk: Any) -> None:
    bean_desk.put("a.png", sheet="BLANK", flagged={"site": ("2043", 0.9, "unsure")})
    bean_desk.done("read")
    without_site(bean_desk)
    text = bean_desk.done("review", typed="2043\ns\n")
    assert "Site 2043 is not on the site list" in text
    assert "put its line back first" in text


@pytest.mark.parametrize("command", ["read", "review", "export"])
def test_a_renamed_count_is_told_with_what_it_holds(desk: Any, command: str) -> None:
    edit(desk, 'name = "plants"', 'name = "stems"')
    text = desk.done(command)
    assert "pinched.plants, unpinched.plants" in text
    assert "1 value and 1 question" in text
    assert "rename them back" in text
    assert "Nothing waits for you." in text


def test_a_column_that_went_away_stays_in_readings_and_history(desk: Any) -> None:
    edit(desk, 'name = "plants"', 'name = "stems"')
    assert "rows.csv leaves them out" in desk.done("export")
    assert PLANTS not in rows(desk)[0]
    with (desk.folder / "results" / "readings.csv").open(encoding="utf-8", newline="") as file:
        found = {line["field"]: line for line in csv.DictReader(file)}
    assert found["unpinched.plants"]["value"] == "14"
    assert "no such field now" in found[PLANTS]["reason"]
    assert "unpinched.plants" in desk.done("history", "--site", "2043", "--visit", "2026-05-20")


def test_a_lowered_allowed_error_raises_its_questions_in_review(bean_desk: Any) -> None:
    bean_desk.put("a.png")  # its fields are read with a confidence of 0.9995
    bean_desk.done("read")
    edit(bean_desk, "allowed_error = 0.002", "allowed_error = 0.00001")
    text = bean_desk.done("review", typed="s\n")
    assert "values; they stay in the tables, marked, until you answer in review" in text
    assert "not certain enough for allowed_error" in text
    assert "1 of 1" in text
    edit(bean_desk, "allowed_error = 0.00001", "allowed_error = 0.002")
    assert "Nothing waits for you." in bean_desk.done("review")


@pytest.fixture
def unfinished(desk: Any) -> Any:
    """A read that was killed has left a photo behind, whose file is gone from the inbox."""
    from sheet_reader.intake.arrivals import arrivals
    from sheet_reader.intake.gather import gather
    from sheet_reader.reading.incoming import take_in
    from sheet_reader.reading.tally import BatchTally
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.reader import read_study

    desk.put("late.png", visit_date="2026-05-27")
    with Record.open(read_study(desk.folder)) as record:
        take_in(record, arrivals(gather([desk.folder / "inbox" / "late.png"])), BatchTally())
    for file in (desk.folder / "inbox").iterdir():
        file.unlink()
    (desk.folder / "inbox").rmdir()
    return desk


@pytest.mark.parametrize(
    "command",
    [
        ("review",),
        ("export",),
        ("verify",),
        ("audit", "--sample", "1"),
        ("history", "--site", "2043", "--visit", "2026-05-20"),
    ],
)
def test_photos_not_read_yet_are_told_by_every_command(
    unfinished: Any, command: tuple[str, ...]
) -> None:
    text = unfinished.done(*command, typed="s\n")
    line = f"1 photo is not read yet; to go on:  sheet-reader read {unfinished.folder}"
    assert line in text


def test_read_goes_on_with_them_though_there_is_no_inbox(unfinished: Any) -> None:
    text = unfinished.done("read")
    assert "1 page read" in text
    assert "not read yet" not in text
    unfinished.done("export")
    assert [row["visit_date"] for row in rows(unfinished)] == ["2026-05-20", "2026-05-27"]


def test_an_export_that_lacks_a_column_it_had_says_so(desk: Any) -> None:
    edit(desk, 'name = "plants"', 'name = "stems"')
    assert "lacks the columns pinched.plants, unpinched.plants" in desk.done("export")
    assert "lacks the column" not in desk.done("export")


def test_a_renamed_count_is_asked_about_once_and_can_be_taken_back(desk: Any) -> None:
    edit(desk, 'name = "plants"', 'name = "stems"')
    line = "is not in study.toml now, stems (“Bean plants”) is new. The same thing?"
    assert line in desk.done("review", typed="\n")
    text = desk.done("review", typed="y\ns\n")
    assert line in text
    assert "--undo plants" in text
    assert line not in desk.done("review", typed="s\n")
    desk.done("export")
    (row,) = rows(desk)
    assert row["unpinched.stems"] == "14"
    assert "count plants (“Bean plants”) is stems (“Bean plants”) (said by" in desk.done("names")
    assert "the same thing?" in desk.done("names", "--undo", "plants")
    assert "is stems (“Bean plants”)" in desk.done("names", "--same", "plants", "stems")
    refused = desk.run("names", "--same", "plants", "ladybirds")
    assert refused.exit_code == 2
