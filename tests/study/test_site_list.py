"""The site list: every mistake with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sheet_reader.errors import StudyError
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Site

HEAD = "number,label,contact\n"
GOOD = "5724,Old wall,wall@example.org\n"
Write = Callable[..., Path]


def mistakes(folder: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    return [str(mistake) for mistake in caught.value.mistakes]


@pytest.mark.parametrize(
    ("sites", "expected"),
    [
        (HEAD + "5727,Wall,w@example.org\n", "sites.csv line 2 number: 5727 does not end in its "
         "check digit; 572 would become 5724"),
        (HEAD + GOOD + "\n" + GOOD, "sites.csv line 4: site 5724 is already on line 2"),
        (HEAD + "572,Wall,w\n", "sites.csv line 2 number: 572 has 3 digits, but the sheet has 4 "
         "boxes for it (a spreadsheet may have dropped leading zeros)"),
        (HEAD + "57x4,Wall,w\n", "sites.csv line 2 number: “57x4” is not a number of digits only"),
        (HEAD + "٥٧٢٤,Wall,w\n", "sites.csv line 2 number: “٥٧٢٤” is not a number of digits only"),
        (HEAD + "5724,Wall\n", "sites.csv line 2: has 2 columns, not 3"),
        (HEAD + f"5724,{'x' * 10_000},w\n", "sites.csv line 2 label: is 10000 characters long"),
        (HEAD + "5724,a\x07b,w\n", "sites.csv line 2 label: must be one line without control"),
        (HEAD + '5724,"a\nb",w\n5727,c,w\n', "sites.csv line 4 number: 5727 does not end in its"),
        (HEAD + '5724,"a"b,w\n', "sites.csv: is not a well-formed CSV file"),
        (HEAD, "sites.csv: lists no site"),
        (HEAD + "\n\n", "sites.csv: lists no site"),
        (HEAD + " , ,\n  \n,,\n", "sites.csv: lists no site"),
        ("", "sites.csv: is empty; its first line must be number,label,contact"),
        ("number,label,contact,age\n", "sites.csv line 1: unknown column “age”"),
        ("nummer,label,contact\n", "sites.csv line 1: unknown column “nummer” – did you mean"),
        ("number,contact\n", "sites.csv line 1: the column “label” is missing"),
        ("number,label,contact,label\n", "sites.csv line 1: the column “label” is there twice"),
        (HEAD.encode() + b"5724,Caf\xe9,w\n", "sites.csv line 2: is not UTF-8; save the "),
        (HEAD.encode() + b"\x00\x00", "sites.csv: is not a text file"),
        (b"x" * 4_100_000, "sites.csv: is larger than 4 MB"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_with_its_line(
    write: Write, sites: str | bytes, expected: str
) -> None:
    found = mistakes(write(sites=sites))
    assert any(line.startswith(expected) for line in found), found
    assert all(len(line) < 300 and line.isprintable() for line in found)


def test_mistakes_of_file_and_sites_come_together(write: Write) -> None:
    found = mistakes(write(("highest = 99", "highest = 100"), sites=HEAD + "5727,Wall,w\n"))
    assert len(found) == 2


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_what_spreadsheets_save_is_read(
    write: Write, separator: str, mark: bytes, end: bytes
) -> None:
    text = (HEAD + GOOD).replace(",", separator).encode().replace(b"\n", end)
    study = read_study(write(sites=mark + text))
    assert study.sites == (Site("5724", "Old wall", "wall@example.org"),)


def test_columns_may_come_in_any_order_and_labels_hold_commas(write: Write) -> None:
    study = read_study(write(sites='Label,Contact,Number\n"Wall, old",w@example.org,5724\n'))
    assert study.sites == (Site("5724", "Wall, old", "w@example.org"),)


def test_leading_zeros_stay(write: Write) -> None:
    assert read_study(write(sites=HEAD + "0174,Orchard,o\n")).sites[0].number == "0174"


def test_sites_without_read_permission(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write()

    def refuse(path: Path) -> bytes:
        assert path.name == "sites.csv"
        raise PermissionError(13, "Permission denied")

    data = (folder / "study.toml").read_bytes()
    assert data
    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert mistakes(folder) == ["sites.csv: can't be read (Permission denied)"]


def test_the_contact_column_may_be_left_out(write: Write) -> None:
    study = read_study(write(sites="number,label\n5724,Old wall\n"))
    assert study.sites == (Site("5724", "Old wall", ""),)
