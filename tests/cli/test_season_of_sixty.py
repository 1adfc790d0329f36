"""A season of sixty photos: every cell of the tables and every sentence of the letters.

What stood on the sheets is made up here, with what went wrong on its way; the sentences are written
out by hand from the texts of the letters. A stand-in reads the photos.
"""

from __future__ import annotations

import csv
import email
import email.policy
import random
from dataclasses import dataclass, field
from datetime import date, timedelta
from email.message import EmailMessage
from typing import Any

import pytest

SITES = {
    "2043": "Millrace allotments", "0174": "Orchard corner", "1181": "Long Meadow plot 7",
    "2312": "Old tram yard", "3051": "School garden north", "3425": "Hillside terraces",
    "4096": "Canal bank beds", "4666": "Three Ponds garden", "5238": "Water tower field",
    "5802": "Brickworks patch", "6712": "Parsonage row", "7389": "Windmill lane",
}  # fmt: skip
WEEKS = 5
FIRST = date(2026, 5, 4)
LARVAE = ("egg_clusters", "small_larvae", "large_larvae")
COUNTS = ("minutes", "plants", "blackfly", *LARVAE, "ladybirds")
TIPS, WHOLE = "Pinched half", "Other half"
Values = dict[tuple[str, str], str | None]


@dataclass
class Sheet:
    """What stands on one sheet: by half and count, None where nothing does."""

    site: str
    day: date
    helpers: str
    values: Values

    @property
    def visit(self) -> tuple[str, str]:
        return self.site, self.day.isoformat()


@dataclass
class Season:
    """The study folder, what stands on the sheets, and how the halves are called now."""

    desk: Any
    sheets: dict[tuple[str, int], Sheet]
    called: dict[str, str] = field(default_factory=lambda: {TIPS: "pinched", WHOLE: "unpinched"})
    photos: int = 0
    cells: int = 0
    sentences: int = 0
    thanked: set[tuple[str, str]] = field(default_factory=set)
    letters: set[str] = field(default_factory=set)
    weeks: int = 0
    answers: int = 0

    def send(
        self, sheet: Sheet, /, *, flagged: tuple[str, ...] = (), unclear: str = "", **said: Any
    ) -> str:
        """A photo of a sheet; ``said`` is what the reader makes of it where that is otherwise, and
        ``flagged`` what it is not sure of. Gives the photo's name.
        """
        self.photos += 1
        name = f"photo-{self.photos:04d}"
        read: dict[str, Any] = {"helpers": sheet.helpers, "visit_date": sheet.day.isoformat()}
        read |= {f"{self.called[h]}.{c}": value for (h, c), value in sheet.values.items()}
        read |= {key.replace("__", "."): value for key, value in said.items()}
        doubts = {n: (read[n], 0.6, unclear or "the first box is unclear") for n in flagged}
        site = {"sheet": read.pop("sheet", sheet.site)}
        self.desk.put(f"{name}.png", **site, **(read | {"flagged": doubts}))
        return name

    def read(self, today: date, patch: pytest.MonkeyPatch) -> str:
        patch.setattr("sheet_reader.study.days.today", lambda *_: today)
        return str(self.desk.done("read"))

    def holds(self, weeks: int, *, doubted: dict[tuple[str, str], str] | None = None) -> None:
        """rows.csv has exactly the sheets of these weeks, each cell as it stands on paper."""
        self.desk.done("export")
        with (self.desk.folder / "results" / "rows.csv").open(encoding="utf-8") as file:
            rows = {(r["site"], r["visit_date"]): r for r in csv.DictReader(file)}
        came = [s for (_, week), s in self.sheets.items() if week < weeks]
        assert sorted(rows) == sorted(sheet.visit for sheet in came)
        for sheet in came:
            wanted = {"helpers": sheet.helpers, "site_name": SITES[sheet.site], "waiting": "0"}
            wanted["doubted"] = (doubted or {}).get(sheet.visit, "")
            wanted["waiting"] = "1" if wanted["doubted"] else "0"
            wanted |= {f"{self.called[h]}.{c}": v or "" for (h, c), v in sheet.values.items()}
            row = rows[sheet.visit]
            assert {name: row[name] for name in wanted} == wanted, sheet.visit
            self.cells += len(wanted) + 2

    def write(self, asked: dict[str, list[str]]) -> dict[str, EmailMessage]:
        """Letters go to exactly these sites and say exactly this; gives the letters by site."""
        self.desk.done("letters")
        found: dict[str, EmailMessage] = {}
        for path in sorted((self.desk.folder / "letters").glob("*.eml")):
            if path.name in self.letters:
                continue
            self.letters.add(path.name)
            mail = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
            assert isinstance(mail, EmailMessage)
            (site,) = [s for s, label in SITES.items() if label in str(mail["Subject"])]
            assert site not in found
            found[site] = mail
        assert sorted(found) == sorted(asked)
        for site, mail in found.items():
            body = mail.get_body(("plain",))
            assert body is not None
            said = [line for line in body.get_content().splitlines() if line.strip()]
            wanted = ["Hello,", self._thanks(site)]
            wanted.append("A few things are open. Just answer this mail, in a word or two:")
            wanted += [f"{n}. {text}" for n, text in enumerate(asked[site], 1)]
            wanted += ["Thank you, and happy counting!", "Bean tips"]
            assert " ".join(said) == " ".join(wanted), site
            self.sentences += len(wanted)
        return found

    def _thanks(self, site: str) -> str:
        here = {s.visit: s.day for (_, week), s in self.sheets.items()
                if s.site == site and week < self.weeks}  # fmt: skip
        new = sorted(day for visit, day in here.items() if visit not in self.thanked)
        self.thanked |= set(here)
        days = [f"{day.day} {day:%B}" for day in new]
        listed = " and ".join(filter(None, [", ".join(days[:-1]), days[-1]]))
        return f"thank you for your counts from {SITES[site]} on {listed}. They have arrived."

    def hears(self, mail: EmailMessage, text: str) -> None:
        """The volunteer's answer to a letter comes with the next photos."""
        answer = EmailMessage()
        answer["From"] = str(mail["To"])
        answer["In-Reply-To"] = str(mail["Message-ID"])
        answer["Subject"] = f"Re: {mail['Subject']}"
        answer.set_content(text)
        self.answers += 1
        path = self.desk.folder / "inbox" / f"answer-{self.answers}.eml"
        path.write_bytes(answer.as_bytes())

    def puts_right(self, sheet: Sheet, half: str, count: str, value: str) -> None:
        """She types in what a letter's answer says; the sheet is held to say so from now on."""
        name = f"{self.called[half]}.{count}"
        site, day = sheet.visit
        where = ("--site", site, "--visit", day)
        self.desk.done("correct", *where, "--set", f"{name}={value}", "--reason", "her letter")
        sheet.values[half, count] = value


def written(seed: int) -> dict[tuple[str, int], Sheet]:
    """What stands on the sheet of each site and week: a sum that fits, both halves alike long."""
    chance, found = random.Random(seed), {}
    for site in SITES:
        for week in range(WEEKS):
            day = FIRST + timedelta(days=7 * week + chance.randint(-1 if week else 0, 1))
            values: Values = {}
            for half in (TIPS, WHOLE):
                parts = [chance.randint(0, 9) for _ in LARVAE]
                numbers = (10, chance.randint(5, 30), chance.randint(0, 120), *parts, sum(parts))
                values |= {(half, c): str(n) for c, n in zip(COUNTS, numbers, strict=True)}
            found[site, week] = Sheet(site, day, str(chance.randint(1, 6)), values)
    return found


@pytest.fixture
def season(bean_desk: Any) -> Season:
    text = (bean_desk.folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace("2026-04-20", str(FIRST)).replace("2026-08-30", "2026-06-07")
    (bean_desk.folder / "study.toml").write_text(text, encoding="utf-8")
    sheets = written(60)
    del sheets["2043", 3], sheets["2312", 2]  # nobody counted
    sheets["5802", 0].day = date(2026, 5, 6)
    sheets["0174", 1].day, sheets["1181", 1].day = date(2026, 5, 10), date(2026, 5, 12)
    for key, half, count, value in (
        (("4666", 1), TIPS, "ladybirds", "31"), (("4666", 1), TIPS, "egg_clusters", "7"),
        (("4666", 1), TIPS, "small_larvae", "8"), (("4666", 1), TIPS, "large_larvae", "15"),
        (("6712", 0), WHOLE, "plants", None), (("6712", 1), TIPS, "blackfly", None),
        (("1181", 0), WHOLE, "minutes", "20"), (("5238", 1), TIPS, "blackfly", "7"),
    ):  # fmt: skip
        sheets[key].values[half, count] = value
    sheets["7389", 1].values |= {(WHOLE, count): None for count in COUNTS}
    return Season(bean_desk, sheets)


def test_every_cell_and_every_sentence_is_right(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    s, desk, sheets = season, season.desk, season.sheets
    # two weeks: a photo that is not clear and a better one, a wrong site, no date, a trial, a date
    # that could be 5 June
    special = {("2043", 0), ("0174", 1), ("2312", 1), ("3051", 0), ("5802", 0)}
    s.send(sheets["2043", 0], flagged=("pinched.plants", "unpinched.blackfly"))
    s.send(sheets["2043", 0])
    wrong = s.send(sheets["0174", 1], sheet="BLANK", site="1181")
    undated = s.send(sheets["2312", 1], visit_date=None)
    trial = s.send(sheets["3051", 0], visit_date="2026-05-08", helpers="9")
    mistaken = s.send(sheets["3051", 0])
    s.send(sheets["5802", 0], visit_date="2026-06-05", flagged=("visit_date",),
           unclear="day and month could be swapped")  # fmt: skip
    for (site, week), sheet in sheets.items():
        if week < 2 and (site, week) not in special:
            s.send(sheet)
    s.read(date(2026, 5, 17), monkeypatch)
    desk.done("correct", wrong, "--set", "site=0174", "--reason", "1181 was there two days later")
    desk.done("correct", undated, "--set", f"date={sheets['2312', 1].day}")
    desk.done("aside", trial, "--reason", "a trial")
    desk.done("aside", mistaken)
    assert ("3051", str(sheets["3051", 0].day)) not in {(r["site"], r["visit_date"])
                                                      for r in _rows(desk)}  # fmt: skip
    desk.done("back", mistaken)
    # she sees 06 05 26, and a total that is one too high on paper, too
    said = desk.done("review", typed="06 05 26\n\n\n")
    assert "Nothing waits for you." in said, said
    s.holds(2)
    s.weeks = 2

    def at(site: str, week: int) -> str:
        day = sheets[site, week].day
        return f"{SITES[site]}, {day.day} {day:%B}"

    letters = s.write(
        {
            "1181": [f"{at('1181', 0)}: the times searched differ (Pinched half 10 min, Other half "
                     "20 min). Is that as it was?"],
            "4666": [f"{at('4666', 1)}: at “Pinched half: Total of the three ladybird counts” "
                     "stands 31, but its parts add up to 30. Which number is right? "
                     "(see picture 1)"],
            "6712": [f"{at('6712', 0)}: “Other half: Bean plants” is empty. Do you still know the "
                     "number? (see picture 1)",
                     f"{at('6712', 1)}: “Pinched half: Blackfly colonies” is empty. Was it 0, or "
                     "was it not counted? (see picture 2)"],
            "7389": [f"{at('7389', 1)}: nothing is written for “Other half”. Was it 0 everywhere, "
                     "or was it not counted? (see picture 1)"],
        }
    )  # fmt: skip

    # answers, by mail; another photo says something else of a value that held
    s.hears(letters["4666"], "It is 30, sorry. Pat\n")
    s.hears(letters["6712"], "There were 12 plants. Blackfly: none, so 0.\n")
    s.hears(letters["7389"], "All 0 on 12 plants, and 10 minutes, too.\n")
    s.send(sheets["5238", 1], pinched__blackfly="17")
    said = s.read(date(2026, 5, 19), monkeypatch)
    assert said.count("kept with") == 3
    assert "Doubted since this read: 1 value; it stays" in said
    s.holds(2, doubted={sheets["5238", 1].visit: "pinched.blackfly"})
    s.puts_right(sheets["4666", 1], TIPS, "ladybirds", "30")
    s.puts_right(sheets["6712", 1], TIPS, "blackfly", "0")
    assert "Nothing waits for you." in desk.done("review", typed="7\n\n")
    s.holds(2)

    # the names of the halves change places in study.toml, and she says what they were
    path = desk.folder / "study.toml"
    text = path.read_text(encoding="utf-8").replace('name = "pinched"', "\0")
    text = text.replace('name = "unpinched"', 'name = "pinched"')
    text = text.replace("\0", 'name = "unpinched"')
    path.write_text(text, encoding="utf-8")
    before = (desk.folder / "results" / "rows.csv").read_bytes()
    assert desk.run("export").exit_code == 2
    assert (desk.folder / "results" / "rows.csv").read_bytes() == before
    desk.done("names", "--same", "pinched", "unpinched", "--same", "unpinched", "pinched")
    s.called = {TIPS: "unpinched", WHOLE: "pinched"}
    s.holds(2)

    # three more weeks: one sheet typed in, two of one date, a number that nobody can read
    typed, twice = sheets["3425", 2], sheets["4096", 3]
    unclear = sheets["5802", 3]
    for (_, week), sheet in sheets.items():
        if week < 2 or sheet in (typed, twice, unclear):
            continue
        s.send(sheet)
    s.send(twice, visit_date=sheets["4096", 2].day.isoformat())
    s.send(unclear, flagged=("unpinched.plants",))
    while s.photos < 60:
        s.send(sheets["7389", 2 + s.photos % 3])  # sent twice
    s.read(date(2026, 6, 9), monkeypatch)
    values = {f"{s.called[h]}.{c}": v for (h, c), v in typed.values.items()}
    values |= {"site": typed.site, "visit_date": typed.day.isoformat(), "helpers": typed.helpers}
    desk.done("enter", *(part for n, v in values.items() for part in ("--set", f"{n}={v}")))
    assert "Nothing waits for you." in desk.done("review", typed=f"d 2 {twice.day:%d %m %y}\nx\n")
    unclear.values[TIPS, "plants"] = None
    s.holds(WEEKS)
    s.weeks = WEEKS
    s.write(
        {
            "2043": ["No sheet has come from Millrace allotments for 25 May. If you did count, "
                     "please send a photo; if you could not, never mind."],
            "2312": ["No sheet has come from Old tram yard for 18 May. If you did count, please "
                     "send a photo; if you could not, never mind."],
            "5802": [f"{at('5802', 3)}: we can't make out what is written at “Pinched half: Bean "
                     "plants”. What is it? (see picture 1)"],
        }
    )  # fmt: skip
    # what a letter asked before the names changed places was not asked again; now it is put right
    s.puts_right(sheets["6712", 0], WHOLE, "plants", "12")
    for count in COUNTS:
        value = {"minutes": "10", "plants": "12"}.get(count, "0")
        s.puts_right(sheets["7389", 1], WHOLE, count, value)
    s.holds(WEEKS)
    desk.done("verify")
    assert s.photos == 60
    assert s.cells > 3000
    assert s.sentences > 40


def _rows(desk: Any) -> list[dict[str, str]]:
    desk.done("export")
    with (desk.folder / "results" / "rows.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))
