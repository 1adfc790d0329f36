"""The study file: what is read, and that every mistake is told with its place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import examples

from sheet_reader.errors import SheetReaderError, StorageError, StudyError
from sheet_reader.study.days import Season
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Comments, SumRule, Visits

DATA = Path(__file__).parent / "data"
Write = Callable[..., Path]


def mistakes(folder: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    assert caught.value.exit_code == 2
    assert len(caught.value.lines()) == len(caught.value.mistakes) + 1
    return [str(mistake) for mistake in caught.value.mistakes]


def test_sound_study(write: Write) -> None:
    study = read_study(write())
    assert study.key == "snails"
    assert study.season == Season(date(2026, 4, 1), date(2026, 9, 30))
    assert study.visits == Visits(7, 2)
    assert study.comments is None
    assert study.allowed_error == 0.002
    assert [f.name for f in study.fields] == [
        "site", "visit_date", "north.large", "north.small", "north.total",
        "south.large", "south.small", "south.total",
    ]  # fmt: skip
    assert study.sums == (
        SumRule("north.total", ("north.large", "north.small")),
        SumRule("south.total", ("south.large", "south.small")),
    )
    site = study.site("5724")
    assert site is not None
    assert site.label == "Old wall"
    assert study.site("5725") is None


def test_file_or_folder(write: Write) -> None:
    folder = write()
    assert read_study(folder) == read_study(folder / "study.toml")


def test_five_mistakes_come_all_at_once(write: Write) -> None:
    folder = write()
    (folder / "study.toml").write_bytes((DATA / "five_mistakes.toml").read_bytes())
    golden = (DATA / "five_mistakes.txt").read_text(encoding="utf-8").splitlines()
    assert mistakes(folder) == golden


COMMENTS = '[comments]\nlabel = "Notes"\nheight_mm = 30\n'


def test_optional_tables(write: Write) -> None:
    more = COMMENTS + "[visits]\ninterval_days = 14\ntolerance_days = 3\n"
    changes = ('paper = "A4"', 'paper = "Letter"\nallowed_error = 0.02\ninstructions = ["Look."]')
    study = read_study(write(changes, more=more))
    assert study.comments == Comments("Notes", 30.0)
    assert study.visits == Visits(14, 3)
    assert (study.paper, study.allowed_error) == ("Letter", 0.02)
    assert study.instructions == ("Look.",)


def test_sums_may_span_plots_with_full_names(write: Write) -> None:
    more = '[[sums]]\ntotal = "south.small"\nparts = ["north.small", "north.large"]\n'
    study = read_study(write(more=more))
    assert study.sums[-1] == SumRule("south.small", ("north.small", "north.large"))


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('key = "snails"\n', "", "key: is missing"),
        ('key = "snails"', 'key = "a-name-of-17-sign"', "key: is 17 characters long; the most is"),
        ('key = "snails"', 'key = "snails--2"', "key: “snails--2” must be lower case"),
        ('title = "Snails"', 'title = "  "', "title: must not be empty"),
        ('title = "Snails"', 'title = "a\\u0007b"', "title: must be one line without control"),
        ('title = "Snails"', "title = 7", "title: must be text in quotes, not 7"),
        ('title = "Snails"', f'title = "{"x" * 10_000}"', "title: is 10000 characters long"),
        ('paper = "A4"', 'paper = "letter"', "did you mean “Letter”?"),
        ("first = 2026-04-01", 'first = "2026-04-01"', "season.first: must be a day such as"),
        ("first = 2026-04-01", "first = 2026-04-01T00:00:00", "season.first: must be a day such a"),
        ("first = 2026-04-01", "first = 1926-04-01", "season.first: the year must lie from 2000"),
        ("last = 2026-09-30", "lst = 2026-09-30", "season.lst: unknown key – did you mean “last”?"),
        ('kind = "site"', 'kind = "sight"', "the first header field, “Site number”, kind: “sight”"),
        ("boxes = 4", "boxes = 9", "the first header field, “Site number”, boxes: must lie from 2"),
        ("boxes = 4", "boxes = true", "the first header field, “Site number”, boxes: must be a wh"),
        ('kind = "date"', 'kind = "date"\nboxes = 8',
         "the second header field, “Visit date”, boxes: must lie from 6 to 6"),
        ('kind = "date"', 'kind = "site"\nboxes = 4', "header: no field has kind = “date”"),
        ('kind = "date"', 'kind = "site"\nboxes = 4',
         "the second header field, “Visit date”, kind: only one field may"),
        ('name = "visit_date"', 'name = "status"', "the second header field, “Visit date”, name: "),
        ('name = "north"', 'name = "North"', "the first plot, “North half”, name: “North” must st"),
        ('name = "south"', 'name = "north"', "the second plot, “South half”, name: “north” is alr"),
        ('name = "small"', 'name = "large"', "the second count, “Small snails”, name: “large” is "),
        ("boxes = 2", "boxes = 0", "the first count, “Large snails”, boxes: must lie from 1 to 6,"),
        ("boxes = 2", 'boxs = 2', "the first count, “Large snails”, boxs: unknown key – did you m"),
        ("lowest = 0", "lowest = -1", "the first count, “Large snails”, lowest: must lie from 0 t"),
        ("lowest = 0", f"lowest = {10**40}", "the first count, “Large snails”, lowest: must lie f"),
        ("highest = 99", "highest = 100", "the first count, “Large snails”, highest: 100 does not"),
        ("highest = 99", "highest = 9.5", "the first count, “Large snails”, highest: must be a wh"),
        ("lowest = 0\nhighest = 99", "lowest = 7\nhighest = 6",
         "the first count, “Large snails”, highest: 6 is less tha"),
        ('total = "total"', 'total = "totals"', "the first sum, total: “totals” is no field – did"),
        ('["large", "small"]', '["large", "smal"]', "the first sum, parts, entry 2: “smal” is no "),
        ('["large", "small"]', '["large", "large"]', "the first sum, parts, entry 2: “large” is t"),
        ('["large", "small"]', '["total"]', "the first sum, parts, entry 1: a total can't be a pa"),
        ('["large", "small"]', "[]", "the first sum, parts: must name at least one field"),
        ('["large", "small"]', '"large"', "the first sum, parts: must be a list of texts"),
        ('sites = "sites.csv"', 'sites = "rooster.csv"', "rooster.csv: the file is not there"),
        ('sites = "sites.csv"', 'sites = "../sites.csv"', "sites: must be the name of a file"),
        ("[season]", "allowed_error = 0.5\n[season]", "allowed_error: must lie between 0 and 0."),
        ("[season]", "allowed_error = nan\n[season]", "allowed_error: must lie from 0 to 0.5"),
        ("[season]", "allowed_error = '1'\n[season]", "allowed_error: must be a number"),
        ("[season]", "instructions = [1]\n[season]", "instructions, entry 1: must be text in q"),
        ("[season]", "visits = 7\n[season]", "visits: must be a table, written [visits]"),
        ("[season]", "comments = {height_mm = 500}\n[season]", "comments.height_mm: must lie from"),
        ("[season]", "visits = {tolerance_days = 4}\n[season]", "visits.tolerance_days: 4 must be"),
        ("[[plots]]", "[[plot]]", "plot: unknown key – did you mean “plots”?"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_with_its_place(
    write: Write, old: str, new: str, expected: str
) -> None:
    found = mistakes(write((old, new)))
    assert any(expected in line for line in found), found
    assert all(len(line) < 400 and line.isprintable() for line in found)


def test_what_has_an_obvious_default_needs_no_line(write: Write) -> None:
    changes = [('paper = "A4"\n', ""), ("boxes = 2\nlowest = 0\n", ""), ("boxes = 3\n", "")]
    study = read_study(write(*changes))
    assert study == read_study(write())
    assert [(c.boxes, c.lowest) for c in study.counts] == [(2, 0), (2, 0), (3, 0)]
    often = read_study(write(more="[visits]\ninterval_days = 3\n"))
    assert often.visits == Visits(3, 1)


def test_what_the_sheet_asks_for_besides_counts(write: Write) -> None:
    plain = read_study(write())
    assert (plain.send_to, plain.own_digits) == ("", False)
    assert [c.tally for c in plain.counts] == [None] * 3
    top = 'send_to = "snails@example.org"\nown_digits = true\n[season]'
    untallied = ('name = "large"', 'name = "large"\ntally = false')
    study = read_study(write(("[season]", top), untallied))
    assert (study.send_to, study.own_digits) == ("snails@example.org", True)
    assert [c.tally for c in study.counts] == [False, None, None]
    assert "own_digits: must be true or false without quotes, not 1" in mistakes(
        write(("[season]", "own_digits = 1\n[season]"))
    )


def test_header_written_as_one_table(write: Write) -> None:
    folder = write()
    text = (folder / "study.toml").read_text(encoding="utf-8")
    start, end = text.index("[[header]]"), text.index("[[plots]]")
    (folder / "study.toml").write_text(text[:start] + "[header]\n" + text[end:], encoding="utf-8")
    line = text[:start].count("\n") + 1
    wanted = f"header: must be a list of tables, each written [[header]] (line {line})"
    assert wanted in mistakes(folder)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"key = ", "line 1: after = the value is missing"),
        (b"not a table", "line 1: “not a table” is no setting; a line is: name = value"),
        (b"key = 'a'\nkey = 'b'", "line 2: “key” is there twice"),
        (b"\xff\xfe", "line 1: is not UTF-8"),
        (b"a = 1\nkey = '\xe9'", "line 2: is not UTF-8"),
        (b"\x00" * 10, "line 1: “\N{REPLACEMENT CHARACTER}"),
        (b"a = " + b"[" * 40_000, "study.toml: is not TOML"),
        (b"a = " + b"9" * 9_000, "study.toml: is not TOML"),
        (b"#" * 600_000, "study.toml: is larger than 500 kB"),
        (b"", "key: is missing"),
    ],
)
def test_what_is_no_study_file_gives_a_clean_line(
    tmp_path: Path, data: bytes, expected: str
) -> None:
    (tmp_path / "study.toml").write_bytes(data)
    found = mistakes(tmp_path)
    assert found[0].startswith(expected)
    assert all(len(line) < 250 and line.isprintable() for line in found)


def test_byte_order_mark_and_windows_line_ends_are_fine(write: Write) -> None:
    folder = write()
    plain = read_study(folder)
    data = (folder / "study.toml").read_bytes().replace(b"\n", b"\r\n")
    (folder / "study.toml").write_bytes(b"\xef\xbb\xbf" + data)
    assert read_study(folder) == plain


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="no study file"):
        read_study(tmp_path)
    with pytest.raises(StorageError, match="no study file"):
        read_study(tmp_path / "nowhere" / "study.toml")


@settings(max_examples=examples(150), deadline=None)
@given(
    value=st.recursive(
        st.one_of(
            st.text(max_size=20).map(repr),
            st.integers().map(str),
            st.floats().map(str),
            st.booleans().map(lambda b: str(b).lower()),
            st.dates().map(str),
        ),
        lambda inner: st.lists(inner, max_size=3).map(lambda items: "[" + ", ".join(items) + "]"),
        max_leaves=5,
    ),
    key=st.sampled_from(
        ("key", "title", "paper", "sites", "instructions", "season", "header", "plots", "counts",
         "sums", "comments", "visits", "allowed_error", "other")
    ),
)  # fmt: skip
def test_hostile_values_never_end_in_another_exception(
    tmp_path_factory: pytest.TempPathFactory, value: str, key: str
) -> None:
    folder = tmp_path_factory.mktemp("hostile")
    text = f"{key} = {value}\n".encode("utf-8", "replace")
    (folder / "study.toml").write_bytes(text)
    with pytest.raises(SheetReaderError) as caught:
        read_study(folder)
    assert isinstance(caught.value, StudyError)
    assert all(str(m).isprintable() for m in caught.value.mistakes)


def test_the_site_list_may_have_another_name(write: Write) -> None:
    folder = write(('sites = "sites.csv"', 'sites = "roster.csv"'))
    (folder / "sites.csv").rename(folder / "roster.csv")
    assert len(read_study(folder).sites) == 1


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("title = “Bean tips”", "has curly quotes; write straight ones"),
        ("title = „Bohnen“", "has curly quotes; write straight ones"),
        (
            "first = 01.06.2026",
            "“01.06.2026” is no day; write year-month-day without quotes: 2026-06-01, if",
        ),
        ("first = 6/1/2026", "“6/1/2026” is no day; write year-month-day without quotes, such as"),
        ("first = 2026-6-1", "is no day; write year-month-day without quotes: 2026-06-01"),
        ("first = 2026-06-31", "is no day; write year-month-day"),
        ("title = Bean tips", "a text stands in straight quotes"),
        ("highest = 007", "a number has no zeros in front"),
        ("height_mm = 1,5", "a number has a point, not a comma"),
        ("own_digits = True", "true and false are written in small letters"),
        ('key: "a"', "a line is: name = value (with =, not :)"),
        ("[counts]]", "write [[counts]], with nothing else on the line"),
        ("[[season]", "write [season], with nothing else on the line"),
        ('title = "Bean tips', "the quote that begins here does not end on this line"),
        ("time searched = 5", "“time searched” is no name of a setting"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_toml_is_told_in_plain_words(write: Write, line: str, meant: str) -> None:
    folder = write()
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(f"# a remark with “quotes”\n{line}\n{text}", encoding="utf-8")
    (found,) = mistakes(folder)
    assert found.startswith("line 2: ")
    assert meant in found


def test_two_tables_in_single_brackets(write: Write) -> None:
    folder = write()
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace("[[counts]]", "[counts]")
    file.write_text(text, encoding="utf-8")
    second = [n for n, line in enumerate(text.splitlines(), 1) if line == "[counts]"][1]
    assert mistakes(folder) == [
        f"line {second}: each of the counts begins with [[counts]], in two brackets"
    ]


def test_a_setting_under_the_last_table_is_told_where_it_belongs(write: Write) -> None:
    folder = write()
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8").rstrip() + '\n\n[review]\nsend_to = "a@example.org"\n'
    file.write_text(text, encoding="utf-8")
    line = len(text.splitlines())
    assert mistakes(folder) == [
        "review.send_to: stands before the first line in brackets, at the top of the file "
        f"(line {line})"
    ]


def test_a_misspelt_key_is_one_mistake(write: Write) -> None:
    folder = write()
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    for name in ("highest", "label", "first", "title", "kind"):
        file.write_text(text.replace(f"{name} =", f"{name[:-1]} =", 1), encoding="utf-8")
        (found,) = mistakes(folder)
        assert f"did you mean “{name}”?" in found
