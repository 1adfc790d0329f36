"""From nothing to printed sheets: the commands of a study's first ten minutes."""

from __future__ import annotations

import errno
import shlex
from itertools import combinations
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result
from number_pairs import hamming, is_swap

from sheet_reader import atomic
from sheet_reader.cli.main import cli
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.study.reader import read_study

OPTIONS = (
    "--title", "Snails on walls", "--count", "Snails: 60", "--count", "Slugs",
    "--first", "2026-04-20", "--last", "2026-08-30",
)  # fmt: skip


def run(*words: object, answers: str = "") -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], input=answers)


def numbers_in(folder: Path) -> list[str]:
    return [site.number for site in read_study(folder).sites]


def test_options_alone_make_a_study_without_a_question(tmp_path: Path) -> None:
    result = run("new", tmp_path / "walls", *OPTIONS, "--sites", 50, "--paper", "letter")
    assert result.exit_code == 0, result.output
    study = read_study(tmp_path / "walls")
    assert (study.title, study.paper) == ("Snails on walls", "Letter")
    assert [(c.label, c.highest, c.boxes) for c in study.counts] == [
        ("Snails", 60, 2), ("Slugs", 999, 3),
    ]  # fmt: skip
    assert [plot.label for plot in study.plots] == ["Plot 1"]
    assert "[" not in result.stdout
    assert "Snails, from 0 to 60" in result.stdout
    assert "Slugs, from 0 to 999" in result.stdout
    assert (tmp_path / "walls" / "inbox").is_dir()
    assert f"sheet-reader print {tmp_path / 'walls'} --all-sites" in result.stdout
    for a, b in combinations(numbers_in(tmp_path / "walls"), 2):
        assert hamming(a, b) >= 3
        assert not is_swap(a, b)


def test_a_wrong_answer_is_asked_again_with_the_reason(tmp_path: Path) -> None:
    answers = [
        "", "Snails", "fr", "es", "", "Snails: 60", "snails", "Slugs", "", "Wall: limed", "Wall",
        "Hedge", "", "never", "14", "2026-13-01", "2026-04-20", "2026-04-01", "2026-08-30", "A5",
        "A4", "snails@example.org", "0", "3", "",
    ]  # fmt: skip
    result = run("new", tmp_path / "walls", answers="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    for reason in (
        "the title must not be empty", "the name of a count must not be empty",
        "two counts are called “snails”", "two plots are called “Wall”",
        "“never” is not a whole number from 1 to 366", "'2026-13-01' is not a date",
        "2026-04-01 lies before the first day", "“A5” is not A4 or Letter",
        "“fr” is none of en, de, es", "“0” is not a whole number from 1 to 2000",
    ):  # fmt: skip
        assert result.stdout.count(reason) == 1, reason
    study = read_study(tmp_path / "walls")
    assert [c.label for c in study.counts] == ["Snails", "Slugs"]
    assert [(p.label, p.treatment) for p in study.plots] == [("Wall", "limed"), ("Hedge", "")]
    assert (study.visits.interval_days, study.words.day) == (14, "día")
    assert len(study.sites) == 3


def test_what_was_understood_can_be_changed_before_anything_is_written(tmp_path: Path) -> None:
    counts = ["Owlet moths: lots", "A:-4", "1.5", "Gnats; 60", "Owlet moths", ""]
    answers = [
        "Moths", "", *counts, "", "7", "2026-04-20", "2026-08-30", "A4", "moths@example.org", "3",
        "3", "Owlet moths: 80", "", "9", "5", "", "2026-05-01", "2026-06-30", "",
    ]  # fmt: skip
    result = run("new", tmp_path / "moths", answers="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    for refused in (
        "“lots” is no highest value", "“-4” is no highest value", "“1.5” looks like a number",
        "“Gnats; 60” looks like a number", "“9” is not a whole number from 1 to 8",
    ):  # fmt: skip
        assert result.stdout.count(refused) == 1, refused
    assert "     Owlet moths, from 0 to 999" in result.stdout
    study = read_study(tmp_path / "moths")
    assert [(c.label, c.highest) for c in study.counts] == [("Owlet moths", 80)]
    assert str(study.season.first) == "2026-05-01"


def test_stopped_at_the_last_question_nothing_is_written(tmp_path: Path) -> None:
    answers = ["Moths", "", "Moths", "", "", "", "2026-04-20", "2026-08-30", "", "", "3"]
    result = run("new", tmp_path / "moths", answers="\n".join(answers) + "\n")
    assert result.exit_code == 2
    assert "nothing was written" in result.stderr
    assert not (tmp_path / "moths").exists()


LONG = "pond-dipping-photos-2026@example.org"
TOO_LONG = "w" * 40 + "@" + "w" * 35


def test_a_long_address_fits_and_a_longer_one_is_told_when_it_is_typed(tmp_path: Path) -> None:
    answers = ["Ponds", "", "Newts", "", "", "", "2026-04-20", "2026-08-30", "A4", TOO_LONG, LONG,
               "3", ""]  # fmt: skip
    result = run("new", tmp_path / "ponds", answers="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    assert result.stdout.count("of its 76 characters") == 1
    assert read_study(tmp_path / "ponds").send_to == LONG
    refused = run("new", tmp_path / "more", *OPTIONS, "--send-to", TOO_LONG)
    assert refused.exit_code == 2
    assert not (tmp_path / "more").exists()


def test_what_does_not_fit_its_paper_is_told_before_anything_is_written(tmp_path: Path) -> None:
    wide = "W" * 59
    result = run("new", tmp_path / "walls", *OPTIONS, "--title", wide)
    assert result.exit_code == 2
    options = [word if word != "Snails on walls" else wide for word in OPTIONS]
    result = run("new", tmp_path / "walls", *options)
    assert result.exit_code == 2
    assert "title: is too long for the head of the sheet" in result.stderr
    assert not (tmp_path / "walls").exists()


@pytest.mark.parametrize(
    ("language", "labels"),
    [("de", ("Ortsnummer", "Datum des Besuchs", "Fläche 1")),
     ("es", ("Número del sitio", "Fecha de la visita", "Parcela 1"))],
)  # fmt: skip
def test_the_labels_that_new_writes_are_in_the_sheets_language(
    tmp_path: Path, language: str, labels: tuple[str, ...]
) -> None:
    run("new", tmp_path / "walls", *OPTIONS, "--words", language)
    study = read_study(tmp_path / "walls")
    assert (*(h.label for h in study.header), study.plots[0].label) == labels


def test_answers_that_end_too_early_leave_nothing(tmp_path: Path) -> None:
    result = run("new", tmp_path / "walls", answers="Snails\nSnails\n")
    assert result.exit_code == 2
    assert "nothing was written" in result.stderr
    assert not (tmp_path / "walls").exists()


@pytest.mark.parametrize("there", ["study.toml", "photo.jpg"])
def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("mine")
    result = run("new", tmp_path, *OPTIONS)
    assert result.exit_code == 2
    assert ("a study already" in result.stderr) == (there == "study.toml")
    assert [path.name for path in tmp_path.iterdir()] == [there]


def test_a_mistake_in_an_option_is_one_line_and_leaves_nothing(tmp_path: Path) -> None:
    result = run("new", tmp_path / "walls", *OPTIONS, "--count", "Gnats: 12345678")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert not (tmp_path / "walls").exists()


def test_more_sites_keep_those_before_and_their_distance(tmp_path: Path) -> None:
    folder = tmp_path / "walls"
    run("new", folder, *OPTIONS, "--sites", 4)
    before = (folder / "sites.csv").read_text("utf-8")
    (tmp_path / "names.txt").write_text("Old kiln\nFish steps\n", "utf-8")
    result = run("sites", folder, "--add", 3, "--labels", tmp_path / "names.txt")
    assert result.exit_code == 0, result.output
    after = (folder / "sites.csv").read_text("utf-8")
    assert after.startswith(before)
    assert [site.label for site in read_study(folder).sites[4:]] == ["Old kiln", "Fish steps", ""]
    assert "7 sites now; any two numbers differ in 3 digits or more." in result.stdout
    for a, b in combinations(numbers_in(folder), 2):
        assert hamming(a, b) >= 3
        assert not is_swap(a, b)
    listed = run("sites", folder).stdout.splitlines()
    assert [line.split("  ")[0] for line in listed[:-1]] == numbers_in(folder)


def test_a_number_whose_sheets_were_read_is_not_given_to_another_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "walls"
    run("new", folder, *OPTIONS, "--sites", 4)
    first, *others = (folder / "sites.csv").read_text("utf-8").splitlines()
    (folder / "sites.csv").write_text("\n".join((first, *others[:3])) + "\n", "utf-8")
    gone = others[3].split(",")[0]
    run("sites", folder, "--add", 1)
    assert numbers_in(folder)[-1] == gone, "the number is free as long as no sheet was read"
    (folder / "sites.csv").write_text("\n".join((first, *others[:3])) + "\n", "utf-8")
    monkeypatch.setattr("sheet_reader.cli.sites._read_before", lambda _: {gone})
    run("sites", folder, "--add", 1)
    assert numbers_in(folder)[-1] != gone


def test_names_go_to_the_sites_that_have_none(tmp_path: Path) -> None:
    folder, names = tmp_path / "walls", tmp_path / "names.txt"
    run("new", folder, *OPTIONS, "--sites", 3)
    first, second, third = numbers_in(folder)
    list_ = folder / "sites.csv"
    list_.write_bytes(list_.read_bytes().replace(b"\n", b"\r\n"))
    one = run("sites", folder, "--name", f"{second}=Kiln, the old one")
    assert one.exit_code == 0, one.output
    assert [site.label for site in read_study(folder).sites] == ["", "Kiln, the old one", ""]
    names.write_text("Fish steps\nMill\n", "utf-8")
    both = run("sites", folder, "--labels", names)
    assert both.exit_code == 0, both.output
    assert f"{first}  Fish steps\n{third}  Mill\n2 sites named" in both.stdout
    assert numbers_in(folder) == [first, second, third], "no site was added"
    assert list_.read_bytes().count(b"\r\n") == list_.read_bytes().count(b"\n") == 4
    before = list_.read_bytes()
    for words in (
        ("--labels", names), ("--name", f"{first}="), ("--name", "Mill"), ("--name", "9999=Mill"),
        ("--name", f"{first}=a", "--name", f"{first}=b"),
    ):  # fmt: skip
        refused = run("sites", folder, *words)
        assert refused.exit_code == 2, words
        assert len(refused.stderr.splitlines()) == 1
    assert list_.read_bytes() == before
    again = run("sites", folder, "--name", f"{first}=Weir")
    assert f"{first}  Weir (was Fish steps)" in again.stdout


def test_more_names_than_sites_name_none(tmp_path: Path) -> None:
    run("new", tmp_path / "walls", *OPTIONS, "--sites", 2)
    (tmp_path / "names.txt").write_text("A\nB\nC\n", "utf-8")
    result = run("sites", tmp_path / "walls", "--labels", tmp_path / "names.txt")
    assert result.exit_code == 2
    assert "3 names for 2 sites without one" in result.stderr
    assert not any(site.label for site in read_study(tmp_path / "walls").sites)


def test_the_list_is_not_touched_where_the_supply_is_used_up(tmp_path: Path) -> None:
    folder = tmp_path / "walls"
    run("new", folder, *OPTIONS, "--sites", 4)
    before = (folder / "sites.csv").read_bytes()
    result = run("sites", folder, "--add", 2000)
    assert result.exit_code == 2
    assert "only" in result.stderr
    assert (folder / "sites.csv").read_bytes() == before


README = Path(__file__).parents[2] / "README.md"
GARDEN_ANSWERS = (
    "Do pinched beans carry fewer blackfly?", "en", "Blackfly colonies: 400", "Egg clusters: 60",
    "Small larvae: 90", "Large larvae: 90", "Bean plants: 60", "",
    "Pinched half: tips pinched out", "Other half: tips left alone", "", "7", "2026-04-20",
    "2026-08-30", "A4", "beans@example.org", "10", "",
)  # fmt: skip


def commands_of(section: str) -> list[list[str]]:
    """The sheet-reader commands of a section's first block of code in the README, as words."""
    text = README.read_text(encoding="utf-8").partition(f"## {section}\n")[2]
    block = text.partition("```sh\n")[2].partition("```")[0]
    return [shlex.split(line, comments=True) for line in block.splitlines() if line.strip()]


def test_from_nothing_to_a_sheet_for_ten_sites_by_the_readme_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    commands = commands_of("Start a study")
    assert [words[:2] for words in commands] == [
        ["sheet-reader", "new"], ["sheet-reader", "print"], ["sheet-reader", "print"],
    ]  # fmt: skip
    answers = "\n".join(GARDEN_ANSWERS) + "\n"
    for words in commands:
        result = run(*words[1:], answers=answers if words[1] == "new" else "")
        assert result.exit_code == 0, result.output
        assert result.stderr == ""
    folder = tmp_path / commands[0][2]
    study = read_study(folder)
    assert (len(study.plots), len(study.counts), len(study.sites)) == (2, 5, 10)
    sheets = list((folder / "sheets").glob("*-all-sites.pdf"))
    document = pdfium.PdfDocument(sheets[0])
    assert len(document) == 10 * len(LayoutBook(study).layout().pages)
    text = document[0].get_textpage().get_text_bounded()
    document.close()
    assert all(count.label in text for count in study.counts)


def test_the_readmes_options_make_the_study_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = README.read_text(encoding="utf-8").partition("All answers can be given as options")[2]
    block = text.partition("```sh\n")[2].partition("```")[0].replace("\\\n", " ")
    for line in block.splitlines():
        result = run(*shlex.split(line, comments=True)[1:])
        assert result.exit_code == 0, result.output
    assert len(read_study(tmp_path / "beans").sites) == 12


def test_answers_that_make_no_sheet_write_nothing_and_do_not_block_the_next_try(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "walls"
    result = run("new", folder, *OPTIONS, "--count", "虫")
    assert result.exit_code == 2, result.output
    assert "nothing was written" in result.stderr
    assert result.stderr.count("\n") == 1
    assert not folder.exists()
    assert run("new", folder, *OPTIONS).exit_code == 0


@pytest.mark.parametrize("name", ["study.toml", "sites.csv"])
def test_a_full_disk_leaves_a_folder_that_can_be_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    folder, whole = tmp_path / "walls", atomic._write_through

    def full(path: Path, content: bytes) -> None:
        if (b"number,label" in content) == (name == "sites.csv"):
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        whole(path, content)

    with monkeypatch.context() as disk:
        disk.setattr(atomic, "_write_through", full)
        assert run("new", folder, *OPTIONS).exit_code == 3
    assert not list(folder.iterdir())
    assert run("new", folder, *OPTIONS).exit_code == 0


def test_what_a_killed_new_left_does_not_block_the_next_try(tmp_path: Path) -> None:
    folder = tmp_path / "walls"
    folder.mkdir()
    (folder / ".new-123-abc").write_text("half")
    assert run("new", folder, *OPTIONS).exit_code == 0
