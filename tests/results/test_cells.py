"""Cells and files of comma-separated values."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheet_reader.results.cells import plain_number, render_csv, safe_cell


def test_quotes_as_in_rfc_4180() -> None:
    # RFC 4180, section 2, rule 7: "aaa","b""bb","ccc"
    assert b'aaa,"b""bb",ccc\r\n' in render_csv(["aaa", 'b"bb', "ccc"], [])
    assert next(csv.reader(['"aaa","b""bb","ccc"'])) == ["aaa", 'b"bb', "ccc"]


def test_lines_end_in_crlf_and_breaks_stay_in_their_cell() -> None:
    # RFC 4180, section 2, rules 1 and 6.
    text = render_csv(["a", "b"], [["x\r\ny", "1"]])
    assert text == b'a,b\r\n"x\r\ny",1\r\n'


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"])
def test_no_cell_starts_a_formula(start: str) -> None:
    # The list of the OWASP page "CSV Injection", with the full-width forms.
    assert safe_cell(f"{start}SUM(A1)").startswith("'")


@pytest.mark.parametrize("text", ["a;=1+1", "a|@x", "a\n=1", " =1", "a\t-1+1"])
def test_no_formula_after_what_another_spreadsheet_takes_for_a_separator(text: str) -> None:
    guarded = safe_cell(text)
    for sign in "=@-":
        place = guarded.find(sign)
        assert place == -1 or "'" in guarded[:place]


@pytest.mark.parametrize("text", ["0", "14", "2041", "0.25", "-3", "2026-05-20", "a-b", "", "x=1"])
def test_plain_cells_stay_as_they_are(text: str) -> None:
    assert safe_cell(text) == text


@given(st.lists(st.lists(st.text(), min_size=2, max_size=2), max_size=5))
def test_any_text_comes_back_from_the_csv_reader(rows: list[list[str]]) -> None:
    written = render_csv(["a", "b"], rows).decode("utf-8")
    back = list(csv.reader(io.StringIO(written, newline="")))
    clean = [
        [safe_cell(cell).encode("utf-8", "replace").decode("utf-8") for cell in row] for row in rows
    ]
    assert back == [["a", "b"], *clean]


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1"), (0.0, "0"), (0.5, "0.5"), (0.9999987, "0.999999"), (1e-9, "0")]
)
def test_probability(value: float, text: str) -> None:
    assert plain_number(value) == text
