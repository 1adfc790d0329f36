"""Names, labels, units and sites that change in mid-season: asked about before any value shows."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from sheet_reader import open_record, open_study
from sheet_reader.cli import terminal
from sheet_reader.errors import UnsaidError

SWAPS = {
    "names of plots": ('name = "pinched"', 'name = "unpinched"'),
    "labels of plots": ('label = "Pinched half"', 'label = "Other half"'),
    "treatments": ('"tips pinched out"', '"tips left alone"'),
    "names of counts": ('name = "blackfly"', 'name = "plants"'),
    "labels of counts": ('"Blackfly colonies"', '"Bean plants"'),
    "unit": ('unit = "min"', 'unit = "h"'),
    "labels of sites": ("Millrace allotments", "Orchard corner"),
}
COMMANDS = (
    ("status",),
    ("export",),
    ("update",),
    ("letters",),
    ("read",),
    ("review",),
    ("correct", "--site", "2043", "--visit", "2026-05-20", "--set", "helpers=3"),
    ("enter", "--set", "site=2043", "--set", "visit_date=2026-05-27", "--set", "helpers=3"),
    ("history", "--site", "2043", "--visit", "2026-05-20"),
    ("audit", "--sample", "1"),
    ("photos",),
    ("aside", "photo-0001"),
)


def swap(desk: Any, what: str) -> None:
    """Let two texts change places, in whichever file has them."""
    one, other = SWAPS[what]
    for file in ("study.toml", "sites.csv"):
        path = desk.folder / file
        text = path.read_text(encoding="utf-8")
        text = text.replace(one, "\0").replace(other, one).replace("\0", other)
        path.write_text(text, encoding="utf-8")


def rows(desk: Any) -> list[dict[str, str]]:
    with (desk.folder / "results" / "rows.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def files(folder: Path) -> dict[str, bytes]:
    """All but the record's own working files."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("record.sqlite")
    }


def fill(desk: Any) -> None:
    desk.put("a.png", pinched__blackfly="7", unpinched__blackfly="40")
    desk.put("b.png", sheet="0174")
    desk.done("read")
    desk.done("export")


@pytest.fixture
def desk(bean_desk: Any, filled: Any) -> Any:
    """A visit of each of two sites, exported."""
    return filled(bean_desk, fill)


@pytest.fixture
def at_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "somebody_answers", lambda: True)


@pytest.mark.parametrize("what", SWAPS)
def test_each_swap_stops_with_one_line_that_says_what_to_do(desk: Any, what: str) -> None:
    swap(desk, what)
    before = files(desk.folder)
    result = desk.run("export")
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert f"sheet-reader names {desk.folder}" in line
    assert ("sites.csv" if what == "labels of sites" else "study.toml") in line
    assert "Traceback" not in line
    assert files(desk.folder) == before


@pytest.mark.parametrize("command", COMMANDS, ids=[c[0] for c in COMMANDS])
def test_no_command_shows_or_writes_a_value_before_it_is_said(
    desk: Any, command: tuple[str, ...]
) -> None:
    swap(desk, "names of plots")
    before = files(desk.folder)
    result = desk.run(*command, typed="\n\n\n")
    assert result.exit_code == 2, result.output
    assert "stood on the sheets as pinched, and is unpinched now" in result.stderr
    assert result.stdout == ""
    assert files(desk.folder) == before


def test_from_python_too(desk: Any) -> None:
    swap(desk, "labels of counts")
    with pytest.raises(UnsaidError, match=r"stood on the sheets as (blackfly|plants)"):
        open_record(open_study(desk.folder))


def test_backup_verify_and_print_go_on(desk: Any, tmp_path: Path) -> None:
    swap(desk, "names of plots")
    assert "all sound" in desk.done("verify")
    desk.done("backup", tmp_path / "copy.tar")
    desk.done("print")


@pytest.mark.usefixtures("at_terminal")
def test_moved_names_are_asked_as_such_and_values_follow(desk: Any) -> None:
    swap(desk, "names of plots")
    text = desk.done("export", typed="\nmaybe\nn\n")
    assert text.count("n, w, d or s: ") == 3  # neither Enter nor a word decides
    assert "on the sheets:  “Pinched half (tips pinched out)”" in text
    assert "now:            “Other half (tips left alone)”" in text
    (line,) = (r for r in rows(desk) if r["site"] == "2043")
    assert (line["unpinched.blackfly"], line["pinched.blackfly"]) == ("7", "40")
    assert "sheets" not in desk.done("status")


@pytest.mark.usefixtures("at_terminal")
def test_words_that_were_wrong_on_the_paper_leave_values_where_they_are(desk: Any) -> None:
    before = rows(desk)
    swap(desk, "labels of plots")
    desk.done("export", typed="y\n")
    assert rows(desk) == before
    dictionary = (desk.folder / "results" / "dictionary.md").read_text(encoding="utf-8")
    assert "## words that changed" in dictionary
    assert (
        "- plot `pinched`: earlier sheets had `pinched` “Pinched half (tips pinched out)”, which "
        "is the same thing" in dictionary
    )


@pytest.mark.usefixtures("at_terminal")
def test_what_is_another_thing_stands_apart_and_is_told(desk: Any) -> None:
    path = desk.folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"Blackfly colonies"', '"Greenfly"'), encoding="utf-8")
    told = desk.done("export", typed="n\n")
    assert "blackfly “Blackfly colonies”" in told
    assert {r["pinched.blackfly"] for r in rows(desk)} == {""}
    dictionary = (desk.folder / "results" / "dictionary.md").read_text(encoding="utf-8")
    assert "which is another thing" in dictionary
    path.write_text(text, encoding="utf-8")
    desk.done("export")
    assert {r["pinched.blackfly"] for r in rows(desk)} == {"7", "0"}


@pytest.mark.usefixtures("at_terminal")
def test_to_stop_writes_nothing(desk: Any) -> None:
    swap(desk, "treatments")
    before = files(desk.folder)
    for typed in ("s\n", ""):
        result = desk.run("export", typed=typed)
        assert result.exit_code == 2
        assert files(desk.folder) == before


@pytest.mark.usefixtures("at_terminal")
def test_a_mended_typo_costs_one_key(desk: Any) -> None:
    path = desk.folder / "sites.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("Orchard corner", "Orchard Corner"), encoding="utf-8")
    told = desk.done("export", typed="y\n")
    assert "on the sheets:  “Orchard corner”" in told
    assert "in better words" not in desk.done("export")


@pytest.mark.usefixtures("at_terminal")
def test_a_translation_is_one_question(desk: Any) -> None:
    before = rows(desk)
    path = desk.folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    german = {
        "Helpers": "Helfer", "Pinched half": "Gekniffene Hälfte", "Other half": "Andere Hälfte",
        "tips pinched out": "ohne Spitzen", "tips left alone": "mit Spitzen",
        "Time searched": "Suchzeit", "Bean plants": "Pflanzen", "Blackfly colonies": "Blattläuse",
        "Ladybird egg clusters": "Gelege",
    }  # fmt: skip
    for english, word in german.items():
        text = text.replace(f'"{english}"', f'"{word}"')
    path.write_text(text, encoding="utf-8")
    told = desk.done("export", typed="y\n")
    assert "7 things that sheets were read of are called otherwise now" in told
    assert [list(r.values()) for r in rows(desk)] == [list(r.values()) for r in before]


@pytest.mark.usefixtures("at_terminal")
def test_a_site_can_only_be_called_otherwise(desk: Any) -> None:
    swap(desk, "labels of sites")
    result = desk.run("export", typed="n\n")
    assert result.exit_code == 2
    assert "a number means one place for the whole season" in result.stderr
    desk.done("export", typed="y\n")


def test_options_of_names_answer_without_a_terminal(desk: Any) -> None:
    swap(desk, "names of plots")
    text = desk.done("names", "--same", "pinched", "unpinched", "--same", "unpinched", "pinched")
    assert "plot pinched (“Pinched half (tips pinched out)”) is unpinched" in text
    desk.done("export")
    assert {r["unpinched.blackfly"] for r in rows(desk)} == {"7", "0"}
    desk.done("names", "--undo", "pinched", "--undo", "unpinched")
    assert desk.run("export").exit_code == 2
    desk.done("names", "--all-same")
    desk.done("export")
    assert {r["pinched.blackfly"] for r in rows(desk)} == {"7", "0"}


def test_new_words_do_not_stop_a_study_whose_values_are_all_new(bean_desk: Any) -> None:
    bean_desk.done("print")
    swap(bean_desk, "names of plots")
    bean_desk.put("a.png")
    bean_desk.done("read")
    bean_desk.done("export")


def test_labels_printed_before_the_first_read_are_asked_about(bean_desk: Any) -> None:
    bean_desk.done("print", "--all-sites")
    swap(bean_desk, "labels of sites")
    bean_desk.put("a.png")
    assert bean_desk.run("read").exit_code == 2
    line = bean_desk.run("export").stderr
    assert "site 2043 was “Millrace allotments” on the sheets, and is “Orchard corner” now" in line


def test_the_dictionaries_of_all_formats_tell_it(desk: Any) -> None:
    path = desk.folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"Blackfly colonies"', '"Blackfly groups"'), encoding="utf-8")
    desk.done("names", "--all-same", "--as", "Kim")
    desk.done("export", "--format", "csv,data-package,excel")
    place = desk.folder / "results"
    package = json.loads((place / "data-package" / "datapackage.json").read_text("utf-8"))
    fields = {f["name"]: f for f in package["resources"][0]["schema"]["fields"]}
    assert fields["pinched.blackfly"]["description"].endswith(
        "; on earlier sheets “Blackfly colonies”"
    )
    assert "on earlier sheets “Blackfly colonies”" in (place / "dictionary.csv").read_text("utf-8")
    assert not any(b"Kim" in data for data in files(place).values())


def test_a_renamed_count_is_said_as_before(desk: Any) -> None:
    path = desk.folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"blackfly"', '"aphids"'), encoding="utf-8")
    assert "--same blackfly aphids" in desk.done("export")
    desk.done("names", "--same", "blackfly", "aphids")
    desk.done("export")
    assert {r["pinched.aphids"] for r in rows(desk)} == {"7", "0"}
