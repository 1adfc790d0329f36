"""``update`` on a record: both files, their numbers, her own words, looks, privacy, refusals."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import made_up
import numpy as np
import pypdfium2 as pdfium
import pytest

from sheet_reader.record.people.remarks import Remark, add_to_visit
from sheet_reader.record.store.store import Record
from sheet_reader.results.facts import facts_of
from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.frame import frame_of
from sheet_reader.results.update.outline import outline_of
from sheet_reader.study.reader import read_study

SAMPLES = Path(__file__).parents[2] / "samples"
FIRST = date(2026, 4, 20)
SITES, VISITS = 8, 5
LAST = FIRST + timedelta(days=7 * (VISITS - 1))
NAME = "Wilhelmina"
Values = dict[tuple[str, int], dict[str, int]]


class Parts(HTMLParser):
    """What a page would fetch or run, and its text."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.outside: list[str] = []
        self.text = ""
        self.feed(page.decode("utf-8"))
        self.text = " ".join(self.text.replace("\u00a0", " ").split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "link", "img", "iframe", "object", "embed", "image", "base"):
            self.outside.append(tag)
        for name, value in attrs:
            inside = (value or "").startswith("#")
            if name.startswith("on") or (name in ("src", "href", "xlink:href") and not inside):
                self.outside.append(f"{tag} {name}={value}")

    def handle_data(self, data: str) -> None:
        self.text += f" {data}"


def drawn() -> Values:
    """The season: blackfly and minutes of both halves by site and week, chosen by lot."""
    chance = np.random.default_rng(16)
    study = read_study(SAMPLES / "bean_tips")
    return {
        (site.number, week): {
            "pinched.minutes": 10,
            "unpinched.minutes": 12,
            "pinched.blackfly": int(chance.poisson(4 + place)),
            "unpinched.blackfly": int(chance.poisson(9 + 2 * place)),
        }
        for place, site in enumerate(study.sites[:SITES])
        for week in range(VISITS)
    }


def keep(record: Record, season: Values, site: str, week: int) -> None:
    """One sheet into the record; all other counts are 2."""
    study = record.study
    day = (FIRST + timedelta(days=7 * week)).isoformat()
    said: dict[str, made_up.Said] = {"visit_date": (day, "accepted", 0.99999)}
    for spec in study.fields:
        if spec.kind.name == "count":
            value = season[site, week].get(spec.name, 6 if spec.count == "ladybirds" else 2)
            said[spec.name] = (str(value), "accepted", 0.99999)
    task = made_up.take_in(record, f"{NAME}_{site}_{week}.jpg")
    made_up.read_in(record, task, [made_up.page(study, said, sheet=site)])


def study_folder(folder: Path) -> Path:
    """A bean study whose site list and remarks name a person."""
    shutil.copytree(SAMPLES / "bean_tips", folder)
    listed = folder / "sites.csv"
    text = listed.read_text(encoding="utf-8")
    text = text.replace("Orchard corner,orchard@", f"Beds of {NAME},{NAME} Oakes orchard@")
    listed.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = study_folder(tmp_path_factory.mktemp("season") / "beans")
    season = drawn()
    with Record.open(read_study(folder)) as record:
        for site, week in season:
            keep(record, season, site, week)
        with record.writing() as connection:
            said = Remark("person", "m", NAME, f"{NAME} counted, write to {NAME}@example.org")
            add_to_visit(connection, ("2043", FIRST.isoformat()), said)
    return folder


@pytest.fixture
def desk(full: Path, bean_desk: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: LAST)
    shutil.rmtree(bean_desk.folder)
    shutil.copytree(full, bean_desk.folder)
    return bean_desk


def page_of(desk: Any, end: str = "") -> Parts:
    path = desk.folder / "updates" / f"bean-tips-update-{LAST}{end}.html"
    return Parts(path.read_bytes())


def ratios(season: Values) -> dict[str, float]:
    """The ratio of densities of each site by its definition."""
    found = {}
    for site in dict.fromkeys(site for site, _ in season):
        sums = {
            name: sum(season[site, week][name] for week in range(VISITS))
            for name in season[site, 0]
        }
        pinched = sums["pinched.blackfly"] / sums["pinched.minutes"]
        found[site] = pinched / (sums["unpinched.blackfly"] / sums["unpinched.minutes"])
    return found


def test_both_files_are_written_and_need_nothing_from_outside(desk: Any) -> None:
    said = desk.done("update")
    page = page_of(desk)
    assert page.outside == []
    assert "An update with 40 visits from 8 sites; nothing is sent." in said
    assert "In all: 40 visits from 8 sites" in page.text
    assert "at a typical site" in page.text
    assert "Your site" not in page.text
    pdf = desk.folder / "updates" / f"bean-tips-update-{LAST}.pdf"
    assert str(pdf) in said
    with pdfium.PdfDocument(pdf) as document:
        text = document[0].get_textpage().get_text_range()
    assert "40 visits from 8 sites" in " ".join(text.replace("\u00a0", " ").split())


def test_the_numbers_are_those_of_the_counts_in_the_record(desk: Any) -> None:
    study = read_study(desk.folder)
    with Record.open(study, for_reading=True) as record:
        counts = frame_of(study, facts_of(record), LAST)
    found = compare(counts, outline_of(study), reading_errors=False)
    by_hand = ratios(drawn())
    shown = dict(zip(found.sites["site"], found.sites["ratio"], strict=True))
    assert shown == pytest.approx(by_hand)
    assert found.statement.ratio
    middle = float(np.exp(np.mean(np.log([*by_hand.values()]))))
    assert found.statement.ratio == pytest.approx(middle, rel=0.1)
    fewer = round(100 * (1 - found.statement.ratio))
    desk.done("update")
    assert f"About {fewer} % fewer Blackfly colonies per min in “Pinched half”" in (
        page_of(desk).text
    )


def test_her_own_paragraphs_stay(desk: Any) -> None:
    desk.done("update")
    own = desk.folder / "updates" / "own_words.md"
    assert "Write your own paragraphs" not in page_of(desk).text
    own.write_text("# From me\n\nThe <b>beans</b> are up.\n<!-- not this -->\n", "utf-8")
    desk.done("update")
    assert "The <b>beans</b> are up." in page_of(desk).text
    assert "not this" not in page_of(desk).text
    assert own.read_text("utf-8").startswith("# From me")


def test_a_site_gets_its_own_numbers_besides(desk: Any) -> None:
    desk.done("update", "--for", "2043")
    own = page_of(desk, "-site-2043").text
    assert "Your site: Millrace allotments" in own
    first = drawn()["2043", 0]["pinched.blackfly"]
    assert f"20 Apr Pinched half {first} 2 2 2" in own
    assert own.count("Your site: ") == 1


def test_nobody_is_named(desk: Any) -> None:
    said = desk.done("update", "--for", "0174")
    for path in (desk.folder / "updates").iterdir():
        data = path.read_bytes()
        if path.suffix == ".pdf":
            with pdfium.PdfDocument(data) as document:
                data = "".join(p.get_textpage().get_text_range() for p in document).encode()
        for word in (NAME, "Oakes", "example.org", ".jpg", "photo-0"):
            assert word.encode() not in data, (path.name, word)
    assert "Your site: site 0174" in page_of(desk, "-site-0174").text
    assert "note: site 0174: the label has a word of a contact; the number stands" in said


def test_what_is_new_is_what_the_last_update_had_not(desk: Any) -> None:
    desk.done("update", "--until", FIRST + timedelta(days=13))
    study, season = read_study(desk.folder), drawn()
    late = study.sites[SITES].number
    season[late, 0] = season["2043", 0]
    with Record.open(study) as record:
        keep(record, season, late, 0)
    desk.done("update")
    text = page_of(desk).text
    assert "Update 2," in text
    assert "Since the last update (3 May 2026): 25 visits from 9 sites" in text
    assert "In all: 41 visits" in text
    desk.done("update")
    assert "Since the last update (3 May 2026): 25 visits from 9 sites" in page_of(desk).text
    made = (desk.folder / "updates" / "updates.csv").read_text("utf-8").splitlines()
    assert [line[:10] for line in made] == ["until,made", "2026-05-03", str(LAST)]


def test_more_updates_than_planned_widen_the_ranges(desk: Any) -> None:
    study = desk.folder / "study.toml"
    study.write_text(study.read_text("utf-8").replace("[update]", "[update]\nplanned = 2"), "utf-8")
    (desk.folder / "updates").mkdir()
    days = [LAST - timedelta(days=back) for back in (14, 7)]
    lines = ["until,made_at", *(f"{day},{day}T12:00:00.000+00:00" for day in days)]
    (desk.folder / "updates" / "updates.csv").write_text("\n".join(lines), "utf-8")
    desk.done("update")
    assert "wide enough for 3 looks" in page_of(desk).text


def test_too_few_sites_get_no_figure_and_are_told(
    bean_desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheet_reader.study.days.today", lambda *_: LAST)
    desk = bean_desk
    assert "this study has no record yet" in desk.run("update").stderr
    season = drawn()
    with Record.open(read_study(desk.folder)) as record:
        assert "no counts have come in yet" in desk.run("update").stderr
        for site in list(dict.fromkeys(site for site, _ in season))[:3]:
            keep(record, season, site, 0)
    said = desk.done("update")
    assert "3 sites with counts from both plots on one day and a find; fewer than 6" in said
    assert "No statement yet: so far 3 sites" in page_of(desk).text
    result = desk.run("update", "--until", "2026-04-19")
    assert "no counts up to 2026-04-19: the first visit is of 2026-04-20" in result.stderr


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("--for", "9999"), "there is no site 9999 on the site list"),
        (("--until", "2030-01-01"), "2030-01-01 lies in the future"),
        (("--until", "soon"), "does not match the format"),
    ],
)
def test_what_can_not_be_made_is_told(desk: Any, args: tuple[str, ...], told: str) -> None:
    result = desk.run("update", *args)
    assert result.exit_code == 2
    assert told in result.stderr
    assert not (desk.folder / "updates").exists()


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("updates.csv", "until,made_at\nyesterday,now\n", "updates.csv line 2"),
        ("own_words.md", "x" * 60_000, "too long for an update"),
    ],
)
def test_spoilt_files_of_hers_are_named(desk: Any, name: str, text: str, told: str) -> None:
    (desk.folder / "updates").mkdir()
    (desk.folder / "updates" / name).write_text(text, "utf-8")
    result = desk.run("update")
    assert result.exit_code == 2
    assert told in result.stderr
    assert [path.name for path in (desk.folder / "updates").iterdir()] == [name]


def test_words_and_folder_of_her_own(desk: Any, tmp_path: Path) -> None:
    with (desk.folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[words.update]\nheading_in = "Was angekommen ist"\n')
    said = desk.done("update", "--out", tmp_path / "elsewhere")
    (page,) = (tmp_path / "elsewhere").glob("*.html")
    assert str(page) in said
    assert "Was angekommen ist" in page.read_text("utf-8")
