"""Printing through the command line."""

import json
import shutil
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result

from sheet_reader.cli.main import cli
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.pdf import rasterise
from sheet_reader.study.reader import read_study
from sheet_reader.vision.find import find_sheets
from sheet_reader.vision.findings import NoSheet
from sheet_reader.wording import words

BEANS = Path(__file__).parents[2] / "samples" / "bean_tips"


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["print", str(BEANS), *(str(word) for word in words)])


def test_a_sheet_and_its_geometry_lie_side_by_side(tmp_path: Path) -> None:
    result = run("--site", "2043", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    pdf, geometry = tmp_path / "bean-tips-2043.pdf", tmp_path / "bean-tips-2043.geometry.json"
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert json.loads(geometry.read_text(encoding="utf-8"))["page"]["width_mm"] == 210
    assert str(pdf) in result.stdout


def test_a_site_off_the_list_names_the_nearest(tmp_path: Path) -> None:
    result = run("--site", "2034", "--out", tmp_path)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert "2043" in result.stderr
    assert not list(tmp_path.iterdir())


def test_only_one_kind_of_sheet_at_a_time(tmp_path: Path) -> None:
    result = run("--blank", "--all-sites", "--out", tmp_path)
    assert result.exit_code == 2
    assert "choose one" in result.stderr


@pytest.mark.parametrize("place", ["blocked", "blocked/deeper"])
def test_a_place_that_is_no_folder(tmp_path: Path, place: str) -> None:
    (tmp_path / "blocked").write_text("a file")
    result = run("--blank", "--out", tmp_path / place)
    assert result.exit_code in (2, 3)
    assert "Traceback" not in result.output
    assert result.stderr.strip()


def bookmarks(path: Path) -> list[tuple[str, int]]:
    """Title and page (from 1) of every bookmark."""
    document = pdfium.PdfDocument(path)
    found = [(mark.get_title(), mark.get_dest().get_index() + 1) for mark in document.get_toc()]
    document.close()
    return found


def words_on(path: Path, page: int) -> str:
    document = pdfium.PdfDocument(path)
    text = str(document[page - 1].get_textpage().get_text_bounded())
    document.close()
    return text


def test_all_sites_are_one_file_in_the_order_of_the_list(tmp_path: Path) -> None:
    result = run("--all-sites", "--copies", 3, "--out", tmp_path)
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "bean-tips-all-sites.geometry.json",
        "bean-tips-all-sites.pdf",
    ]
    marks = bookmarks(tmp_path / "bean-tips-all-sites.pdf")
    sites = read_study(BEANS).sites
    expected = [(f"{site.number} {site.label}", 1 + 3 * i) for i, site in enumerate(sites)]
    assert marks == expected
    assert f"({3 * len(sites)} pages, A4)" in result.stdout


def test_each_copy_is_the_sheet_itself(tmp_path: Path) -> None:
    run("--all-sites", "--copies", 2, "--out", tmp_path)
    run("--site", "0174", "--out", tmp_path)
    stack = (tmp_path / "bean-tips-all-sites.pdf").read_bytes()
    single = rasterise((tmp_path / "bean-tips-0174.pdf").read_bytes(), 1, 5.0)
    for page in (3, 4):
        assert np.abs(rasterise(stack, page, 5.0).astype(int) - single).max() < 40


def test_separate_files(tmp_path: Path) -> None:
    result = run("--all-sites", "--separate", "--out", tmp_path)
    assert result.exit_code == 0
    names = {path.name for path in tmp_path.glob("*.pdf")}
    assert names == {f"bean-tips-{site.number}.pdf" for site in read_study(BEANS).sites}
    assert run("--separate", "--out", tmp_path).exit_code == 2


def test_a_sheet_for_every_visit_with_a_reminder(tmp_path: Path) -> None:
    result = run("--site", "2043", "--weeks", "--out", tmp_path)
    assert result.exit_code == 0
    # 20 April to 30 August 2026 are 133 days: a visit every seven days makes nineteen
    assert "(19 pages, A4)" in result.stdout
    pdf = tmp_path / "bean-tips-2043-weeks.pdf"
    assert "Visit 1: 20 Apr" in words_on(pdf, 1)
    assert "Visit 3: 4 May" in words_on(pdf, 3)
    assert "Visit 19: 24 Aug" in words_on(pdf, 19)
    run("--site", "2043", "--out", tmp_path)
    assert "Visit 1" not in words_on(tmp_path / "bean-tips-2043.pdf", 1)


def test_a_new_layout_is_told_when_sheets_were_printed_before(tmp_path: Path) -> None:
    study = tmp_path / "beans"
    shutil.copytree(BEANS, study)
    first = CliRunner().invoke(cli, ["print", str(study)])
    again = CliRunner().invoke(cli, ["print", str(study)])
    assert "new layout" not in first.stdout
    assert "new layout" not in again.stdout
    file = study / "study.toml"
    text = file.read_text(encoding="utf-8").replace("Bean plants", "Broad beans")
    file.write_text(text, encoding="utf-8")
    changed = CliRunner().invoke(cli, ["print", str(study)])
    assert "This is a new layout" in changed.stdout
    assert "sheets printed before stay readable" in changed.stdout
    assert "new layout" not in CliRunner().invoke(cli, ["print", str(study)]).stdout


def test_a_layout_that_was_not_kept_is_told_to_be_lost(tmp_path: Path) -> None:
    study = tmp_path / "beans"
    shutil.copytree(BEANS, study)
    CliRunner().invoke(cli, ["print", str(study)])
    shutil.rmtree(study / "layouts")
    file = study / "study.toml"
    text = file.read_text(encoding="utf-8").replace("Bean plants", "Broad beans")
    file.write_text(text, encoding="utf-8")
    changed = CliRunner().invoke(cli, ["print", str(study)])
    assert "can't be read: no study file of that layout is kept" in changed.stdout


def test_a_proof_is_true_to_size_and_no_sheet(tmp_path: Path) -> None:
    result = run("--proof", "--out", tmp_path)
    assert result.exit_code == 0
    picture = rasterise((tmp_path / "bean-tips-proof.pdf").read_bytes(), 1, 10.0)
    assert picture.shape == (2970, 2100)
    scale = np.flatnonzero(picture[703, 200:1300] < 128)  # below the rule only the ticks are black
    assert (scale[-1] - scale[0]) / 10 == pytest.approx(100, abs=0.5)
    text = (tmp_path / "bean-tips-proof.geometry.json").read_text(encoding="utf-8")
    assert {cell["field"] for cell in json.loads(text)["cells"]} == {"proof"}
    book = LayoutBook(read_study(BEANS))
    found = find_sheets(picture, book)
    assert [type(item) for item in found] == [NoSheet]
    assert "print check: contrast" in words([found[0].reason])  # type: ignore[union-attr]


def pages_of(path: Path) -> int:
    document = pdfium.PdfDocument(path)
    pages = len(document)
    document.close()
    return pages


def test_several_sites_are_one_file_that_names_them(tmp_path: Path) -> None:
    result = run("--site", "2043", "--site", "0174", "--site", "2043", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    pdf = tmp_path / "bean-tips-2043-0174.pdf"
    assert [name.split()[0] for name, _ in bookmarks(pdf)] == ["2043", "0174"]
    assert [path.name for path in tmp_path.glob("*.pdf")] == [pdf.name]
    run("--site", "2043", "--site", "0174", "--separate", "--out", tmp_path)
    assert (tmp_path / "bean-tips-2043.pdf").exists()
    assert (tmp_path / "bean-tips-0174.pdf").exists()


def test_many_sites_have_a_file_name_that_a_system_takes(tmp_path: Path) -> None:
    study = tmp_path / "beans"
    run_new = CliRunner().invoke(
        cli,
        ["new", str(study), "--title", "Beans", "--count", "Snails", "--first", "2026-05-01",
         "--last", "2026-06-01", "--sites", "60"],
    )  # fmt: skip
    assert run_new.exit_code == 0, run_new.output
    numbers = [site.number for site in read_study(study).sites]
    for some in (numbers[:40], numbers[:39]):
        words = [word for number in some for word in ("--site", number)]
        assert CliRunner().invoke(cli, ["print", str(study), *words]).exit_code == 0
    names = sorted(path.name for path in (study / "sheets").glob("*.pdf"))
    assert [name[:20] for name in names] == ["beans-39-sites-" + names[0][15:20],
                                             "beans-40-sites-" + names[1][15:20]]  # fmt: skip


def test_sheets_for_visits_have_a_file_of_their_own(tmp_path: Path) -> None:
    run("--all-sites", "--out", tmp_path)
    before = (tmp_path / "bean-tips-all-sites.pdf").read_bytes()
    result = run("--all-sites", "--weeks", "--out", tmp_path)
    assert "bean-tips-all-sites-weeks.pdf" in result.stdout
    assert (tmp_path / "bean-tips-all-sites.pdf").read_bytes() == before


def test_a_proof_in_copies(tmp_path: Path) -> None:
    result = run("--proof", "--copies", 2, "--out", tmp_path)
    assert "(2 pages, A4)" in result.stdout
    assert pages_of(tmp_path / "bean-tips-proof.pdf") == 2


def test_sites_without_a_name_are_told(tmp_path: Path) -> None:
    study = tmp_path / "beans"
    shutil.copytree(BEANS, study)
    named = CliRunner().invoke(cli, ["print", str(study), "--all-sites"])
    assert "without a name" not in named.output
    lines = (study / "sites.csv").read_text("utf-8").splitlines()
    cells = lines[1].split(",")
    lines[1] = ",".join([cells[0], "", *cells[2:]])
    (study / "sites.csv").write_text("\n".join(lines) + "\n", "utf-8")
    told = CliRunner().invoke(cli, ["print", str(study), "--all-sites"]).stdout
    assert f"note: 1 site printed without a name ({cells[0]}); to name" in told
    assert f"sheet-reader sites {study} --labels FILE" in told
