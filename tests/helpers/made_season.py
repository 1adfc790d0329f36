"""A simulated season of the bean study, known visit by visit: 30 sites, 6 weeks.

The truth is drawn first; the facts are made from it, and what the status and the letters should
say is written down here, by the study's description, not by the code under test.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from made_facts import fact, facts, visit

from sheet_reader.reasons import Code, because
from sheet_reader.results.facts import Facts, FieldFact, VisitFact
from sheet_reader.study.days import Season
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import damm
from sheet_reader.study.study import Effort, Site, Study

SITES, WEEKS = 30, 6
FIRST = date(2026, 4, 20)
KINDS = (
    "whole", "whole", "whole", "missed", "half", "unequal", "no effort", "empty", "sum", "waits",
    "late",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Truth:
    """What happened at a site in a week; ``off`` days from the expected one. "late": counted, but
    the sheet has not arrived by then. ``field`` is the one left empty.
    """

    site: str
    week: int
    kind: str
    off: int
    field: str = ""

    @property
    def expected(self) -> date:
        return FIRST + timedelta(days=7 * self.week)

    @property
    def day(self) -> str:
        return (self.expected + timedelta(days=self.off)).isoformat()

    @property
    def state(self) -> str:
        """By the definitions: weekly, a few days off is fine."""
        return {
            "missed": "missed", "late": "missed", "waits": "waits", "half": "incomplete",
            "unequal": "incomplete", "no effort": "incomplete", "sum": "waits",
        }.get(self.kind, "in")  # fmt: skip


def a_study(sites: int = SITES, weeks: int = WEEKS) -> Study:
    """The bean study with so many sites and weeks, and its effort named."""
    beans = read_study(Path(__file__).parents[2] / "samples" / "bean_tips")
    numbers = [f"{n:04d}" for n in range(100, 100 + sites)]
    listed = tuple(
        Site(number + damm(number), f"Garden {n}", f"Pat {n}, garden{n}@example.org")
        for n, number in enumerate(numbers)
    )
    season = Season(FIRST, FIRST + timedelta(days=7 * weeks - 1))
    return replace(beans, sites=listed, season=season, effort=Effort("minutes", "min"))


def draw(study: Study, weeks: int = WEEKS, seed: int = 15) -> list[Truth]:
    """What happened, for every site and week."""
    chance = random.Random(seed)
    fields = [f"{p.name}.{c.name}" for p in study.plots for c in study.counts]
    fields = [name for name in fields if not name.endswith((".minutes", ".ladybirds"))]
    found = []
    for site in study.sites:
        for week in range(weeks):
            kind = chance.choice(KINDS)
            off = chance.randint(0 if week == 0 else -2, 2)
            empty = chance.choice(fields) if kind == "empty" else ""
            found.append(Truth(site.number, week, kind, off, empty))
    return found


def as_facts(study: Study, truths: list[Truth]) -> Facts:
    """The season as it stands in the record: what was missed or is late is not there."""
    came = [t for t in truths if t.kind not in ("missed", "late")]
    return facts(*(_visit(study, truth, n) for n, truth in enumerate(came, start=1)))


def _visit(study: Study, truth: Truth, photo: int) -> VisitFact:
    values: dict[str, int | str] = {"helpers": 2}
    for plot in study.plots:
        here = {
            "minutes": 10, "plants": 14, "blackfly": 0, "egg_clusters": 3, "small_larvae": 4,
            "large_larvae": 5, "ladybirds": 12,
        }  # fmt: skip
        values |= {f"{plot.name}.{name}": value for name, value in here.items()}
    if truth.kind == "half":
        values |= {f"unpinched.{count.name}": "empty" for count in study.counts}
    elif truth.kind == "unequal":
        values["unpinched.minutes"] = 20
    elif truth.kind == "no effort":
        values["unpinched.minutes"] = "empty"
    elif truth.kind == "empty":
        values[truth.field] = "empty"
    elif truth.kind == "waits":
        values["pinched.blackfly"] = "flagged"
    said: dict[str, FieldFact] = {}
    for name, value in values.items():
        text = "7" if value == "flagged" else None if isinstance(value, str) else str(value)
        status = value if isinstance(value, str) else "accepted"
        said[name] = fact(name, text, status, photo_id=photo, photo=f"photo-{photo:04d}")
    if truth.kind == "sum":
        fields = ("ladybirds", "egg_clusters", "small_larvae", "large_larvae")
        names = [f"pinched.{name}" for name in fields]
        off = because(Code.SUM_OFF, total=13, parts=12, fields=names)
        for name in fields:
            value = "13" if name == "ladybirds" else said[f"pinched.{name}"].value
            said[f"pinched.{name}"] = fact(
                f"pinched.{name}", value, "flagged", reasons=(off,), photo_id=photo,
                photo=f"photo-{photo:04d}",
            )  # fmt: skip
    return visit(truth.site, truth.day, said, photos=(f"photo-{photo:04d}",))


def asked_of(truth: Truth) -> set[str]:
    """The names of what a letter asks about this week, by the definitions."""
    return {
        "missed": {"missed:"}, "late": {"missed:"}, "half": {"plot_empty:unpinched"},
        "unequal": {"effort:"}, "no effort": {"empty:unpinched.minutes"},
        "empty": {f"empty:{truth.field}"}, "sum": {"sum:pinched.ladybirds"},
    }.get(truth.kind, set())  # fmt: skip
