"""New studies from answers; the usual paper by locale."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.errors import UsageError
from sheet_reader.study.new_study import (
    NewCount,
    NewPlot,
    NewStudy,
    count_from,
    key_of,
    language_from,
    must_differ,
    names_of,
    paper_for,
    paper_from,
    plot_from,
    study_text,
    whole_from,
)
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_list import labels_for, list_text, read_labels, with_sites
from sheet_reader.study.site_numbers import choose_numbers
from sheet_reader.study.table import IDENTIFIER

PLAIN = NewStudy(
    "Snails on walls", (NewCount("Snails", 60),), (NewPlot("Wall"),),
    date(2026, 4, 1), date(2026, 8, 1),
)  # fmt: skip
LINES = st.text(
    st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=20
)


@given(LINES, st.lists(LINES, min_size=1, max_size=6, unique_by=str.casefold), LINES)
@settings(deadline=None, max_examples=examples(60))
def test_whatever_the_labels_the_study_can_be_read(
    tmp_path_factory: pytest.TempPathFactory, title: str, labels: list[str], treatment: str
) -> None:
    folder = tmp_path_factory.mktemp("new")
    counts = tuple(NewCount(label, 7) for label in labels)
    new = NewStudy(
        title, counts, (NewPlot(labels[0], treatment),), PLAIN.first, PLAIN.last, 3, "Letter",
        treatment, "de",
    )  # fmt: skip
    (folder / "study.toml").write_text(study_text(new, 4), "utf-8")
    (folder / "sites.csv").write_text(list_text(choose_numbers(2).numbers, labels_for(2, ())))
    study = read_study(folder)
    assert (study.title, study.paper, study.visits.interval_days) == (title, "Letter", 3)
    assert [count.label for count in study.counts] == labels
    assert (study.plots[0].label, study.plots[0].treatment) == (labels[0], treatment)
    assert study.send_to == treatment
    assert (study.season.first, study.season.last) == (PLAIN.first, PLAIN.last)


def test_what_is_written_as_a_remark_works_once_the_sign_is_taken_away(tmp_path: Path) -> None:
    new = NewStudy(
        "Ladybirds", (NewCount("Larvae"), NewCount("Beetles"), NewCount("All ladybirds")),
        PLAIN.plots, PLAIN.first, PLAIN.last,
    )  # fmt: skip
    text = study_text(new, 4)
    settings_in = [line for line in text.splitlines() if line.startswith("# ") and " = " in line]
    wanted = ("send_to", "words", "instructions", "total", "parts")
    chosen = [line for line in settings_in if line[2:].split(" =")[0] in wanted]
    assert len(chosen) == len(wanted)
    for line in (*chosen, "# [[sums]]"):
        text = text.replace(line, line[2:])
    (tmp_path / "study.toml").write_text(text, "utf-8")
    (tmp_path / "sites.csv").write_text(list_text(choose_numbers(1).numbers, ("",)))
    study = read_study(tmp_path)
    assert study.words.day == "Tag"
    assert study.sums[0].parts == ("wall.larvae", "wall.beetles")
    assert study.instructions
    assert study.send_to == "counts@example.org"


def test_counts_and_plots_as_typed() -> None:
    assert count_from(" Blackfly  colonies: 400") == NewCount("Blackfly colonies", 400)
    assert count_from("Instar 3") == NewCount("Instar 3", 999)
    assert count_from("Larvae: small: 90") == NewCount("Larvae: small", 90)
    assert plot_from("Half: tips pinched out") == NewPlot("Half", "tips pinched out")
    assert plot_from("Plot 1") == NewPlot("Plot 1")


@pytest.mark.parametrize(
    ("parse", "text", "words"),
    [
        (count_from, "", "must not be empty"),
        (count_from, ": 40", "must not be empty"),
        (count_from, "Gnats: 1000000", "at most 6 digits"),
        (count_from, "Gnats: many", "“many” is no highest value"),
        (count_from, "Gnats:", "“” is no highest value"),
        (count_from, "Gnats: 1,000", "“1,000” is no highest value"),
        (count_from, "Gnats: 0", "must be 1 or more"),
        (count_from, "Gnats = 60", "looks like a number"),
        (count_from, "Gnats -4", "looks like a number"),
        (count_from, "60", "looks like a number"),
        (count_from, "a" * 61, "the most is 60"),
        (plot_from, "a\x07b", "control character"),
        (paper_from, "A5", "A4 or Letter"),
        (language_from, "xx", "en, de, es"),
        (whole_from(1, 9), "ten", "from 1 to 9"),
        (whole_from(1, 9), "10", "from 1 to 9"),
        (whole_from(1, 9), "٣", "from 1 to 9"),
    ],
)
def test_what_cannot_be_is_refused_in_words(parse: object, text: str, words: str) -> None:
    assert callable(parse)
    with pytest.raises(UsageError, match=words):
        parse(text)


def test_two_labels_alike_are_refused() -> None:
    with pytest.raises(UsageError, match="two counts are called"):
        must_differ("counts", [NewCount("Snails"), NewCount("snails")])


@given(st.lists(st.text(max_size=50), max_size=12), st.sampled_from(["plot", "count"]))
def test_names_are_sound_and_differ(labels: list[str], kind: str) -> None:
    names = names_of(labels, kind)
    assert len(set(names)) == len(labels)
    assert all(IDENTIFIER.match(name) for name in names)


def test_names_and_keys_resemble_the_words() -> None:
    labels = ["Egg clusters", "Eier (groß)", "2nd instar", "Чайки", "Egg-clusters"]
    assert names_of(labels, "count") == [
        "egg_clusters", "eier_gross", "count_2nd_instar", "count_4", "egg_clusters_2",
    ]  # fmt: skip
    assert key_of("Do beans with pinched tips carry fewer?") == "do-beans-with"
    assert key_of("Чайки") == "study"
    assert key_of("Donaudampfschifffahrtsgesellschaft") == "donaudampfschiff"


def test_site_names_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "names.txt"
    path.write_bytes("\ufeffGull Stacks\r\n\r\nLantern  Cove\r\n".encode())
    assert read_labels(path) == ("Gull Stacks", "Lantern Cove")
    path.write_bytes(b"Caf\xe9\n")
    with pytest.raises(UsageError, match="not UTF-8"):
        read_labels(path)
    with pytest.raises(UsageError, match="names 3 sites, but 2"):
        labels_for(2, ("a", "b", "c"))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("number,label\n1029,A\n", "number,label\n1029,A\n7390,\"B, C\"\n"),
        ("number,label\n1029,A", "number,label\n1029,A\n7390,\"B, C\"\n"),
        ("\ufeffLabel;Number\r\nA;1029\r\n", "\ufeffLabel;Number\r\nA;1029\r\nB, C;7390\r\n"),
        ("number\tcontact\tlabel\n", "number\tcontact\tlabel\n7390\t\tB, C\n"),
    ],
)
def test_added_lines_look_as_those_before(before: str, after: str) -> None:
    assert with_sites(before, ("7390",), ("B, C",)) == after


def test_the_text_is_toml_with_a_remark_on_what_may_be_set() -> None:
    text = study_text(PLAIN, 4)
    assert tomllib.loads(text)["counts"][0]["highest"] == 60
    assert max(len(line) for line in text.splitlines()) <= 110


@pytest.mark.parametrize(
    ("locale", "paper"),
    [
        ("en_US.UTF-8", "Letter"),
        ("es-MX", "Letter"),
        ("fr_CA", "Letter"),
        ("en_GB.UTF-8", "A4"),
        ("de_DE@euro", "A4"),
        ("zh_Hant_TW", "A4"),
        ("C", "A4"),
        ("", "A4"),
        ("en", "A4"),
        ("US", "A4"),
    ],
)
def test_paper_for(locale: str, paper: str) -> None:
    assert paper_for(locale) == paper
