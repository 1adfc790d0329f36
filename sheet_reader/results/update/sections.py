"""What an update is made of before it is a page, and what its sections are written from: words,
counts and the comparison.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import pandas as pd

from sheet_reader.results.letters.wording import listed
from sheet_reader.results.update.canvas import STYLES, Drawing, Style
from sheet_reader.results.update.comparison import PlotComparison
from sheet_reader.results.update.frame import usable
from sheet_reader.results.update.outline import Outline, Update
from sheet_reader.study.words import ENGLISH_UPDATE

_NAME = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True, slots=True)
class TextTable:
    """Text cells. The first column names its line; the first ``texts`` columns hold texts, the
    others numbers.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    texts: int = 1


@dataclass(frozen=True, slots=True)
class Illustration:
    """A drawing with its caption, its text alternative and the same numbers as a table (None
    where an earlier picture has shown it).
    """

    name: str
    drawing: Drawing
    caption: str
    alt: str
    table: TextTable | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """A piece of her own text: "heading" and "text" have one line, a "list" one for each item."""

    kind: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the update. ``key`` is its anchor; ``strong`` is its main sentence, if any;
    ``fine`` are remarks for those who want to know.
    """

    key: str
    heading: str
    strong: str = ""
    texts: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    fine: tuple[str, ...] = ()
    tables: tuple[TextTable, ...] = ()
    pictures: tuple[Illustration, ...] = ()


@dataclass(frozen=True, slots=True)
class Content:
    """A whole update, ready to be set: as HTML by ``page``, as PDF by ``printed``."""

    language: str
    title: str
    page_title: str
    lead: str
    remark: str
    notes: tuple[Note, ...]
    sections: tuple[Section, ...]
    numbers_behind: str
    footer: str
    accessible_form: str


def parse_notes(text: str) -> tuple[Note, ...]:
    """Her own text in blocks: an empty line parts paragraphs, lines that start with "- " are a
    list, a line that starts with "# " (or more of them) is a heading. Nothing else has a meaning.
    """
    notes: list[tuple[str, list[str]]] = []
    for line in text.splitlines():
        bare = line.strip()
        going_on = notes[-1] if notes else ("", [])
        if not bare:
            notes.append(("", []))
        elif bare.startswith("#") and bare.lstrip("#").startswith(" "):
            notes.append(("heading", [bare.lstrip("#").strip()]))
        elif bare.startswith("- "):
            if going_on[0] != "list":
                notes.append(("list", []))
            notes[-1][1].append(bare[2:].strip())
        elif going_on[0] in ("list", "text"):
            going_on[1][-1] += f" {bare}"
        else:
            notes.append(("text", [bare]))
    return tuple(Note(kind, tuple(lines)) for kind, lines in notes if kind)


class UpdateWords:
    """The texts of one update. ``changed`` replaces English texts by key; what may stand there is
    for :func:`~sheet_reader.study.words.read_words` to say.
    """

    def __init__(self, changed: Mapping[str, str] | None = None) -> None:
        self._texts = {**ENGLISH_UPDATE, **(changed or {})}

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of ``key`` with its names filled in."""
        return _NAME.sub(lambda match: str(values[match[1]]), self._texts[key])

    def count(self, key: str, n: int, /, **values: object) -> str:
        """The text for ``n`` things; ``{n}`` is the number."""
        one, *others = self._texts[key].split("|")
        chosen = one if n == 1 or not others else others[-1 if n == 0 else 0]
        return _NAME.sub(lambda match: str({**values, "n": n}[match[1]]), chosen)

    def number(self, value: float, digits: int = 2) -> str:
        """A number with ``digits`` significant digits or all before the point; "0" for nothing."""
        if value == 0:
            return "0"
        behind = digits - 1 - math.floor(math.log10(abs(value)))
        text = f"{value:.{min(max(0, behind), 6)}f}"
        return text.replace(".", self._texts["decimal_point"])

    def percent(self, share: float) -> str:
        """A share (0..1 or more) in whole per cent."""
        return self("percent", n=f"{100 * share:.0f}")

    def change(self, ratio: float) -> str:
        """A ratio in words: "40 % fewer", "12 % more", "the same"."""
        by = round(100 * (ratio - 1))
        if by == 0:
            return self("same")
        return self("fewer" if by < 0 else "more", by=self("percent", n=abs(by)))

    def day(self, day: date, *, short: bool = False) -> str:
        """A date, ``short`` without its year."""
        month = self._texts["months"].split()[day.month - 1]
        key = "date_short" if short else "date"
        return self(key, day=day.day, month=month, year=day.year)

    def listed(self, items: list[str]) -> str:
        """Items with commas and a last "and"."""
        return listed(self._texts, items)


@dataclass(frozen=True)
class UpdateData:
    """What every section is written from: counts up to the update's day, the comparison if the
    study has one, and the words.
    """

    counts: pd.DataFrame
    outline: Outline
    update: Update
    words: UpdateWords
    comparison: PlotComparison | None = None

    @cached_property
    def per(self) -> str:
        """As in: per plant, per visit."""
        effort = self.outline.effort
        return self.words("per", effort=effort.label) if effort else self.words("per_visit")

    @cached_property
    def density(self) -> str:
        """As in: blackfly colonies per plant."""
        return self.words("density", count=self.outline.count.label, per=self.per)

    @cached_property
    def found(self) -> bool:
        """Whether there was a find of the update's count anywhere."""
        mine = self.counts[self.counts["count"] == self.outline.count.name]
        return bool((usable(mine, with_effort=False)["value"] > 0).any())

    @cached_property
    def arms(self) -> dict[str, str]:
        """The labels of the two compared plots, as names of the texts."""
        names = {"treated": self.outline.treated, "control": self.outline.control}
        return {arm: self.outline.plot_label(name) for arm, name in names.items()}

    def number(self, value: float | None) -> str:
        """A number, or the sign for none: a ratio to nothing is none."""
        if value is None or pd.isna(value) or abs(value) == float("inf"):
            return self.words("none")
        return self.words.number(float(value))

    def sites(self, n: int) -> str:
        """As in: 31 sites."""
        return self.words.count("n_sites", n)

    def day(self, day: pd.Timestamp) -> str:
        """A short date."""
        return self.words.day(pd.Timestamp(day).date(), short=True)

    def table(
        self, caption: str, header: Iterable[str], rows: Iterable[tuple[str, ...]], texts: int = 1
    ) -> TextTable:
        """A table; its caption and header are keys of words."""
        titles = tuple(self.words(key, per=self.per) for key in header)
        return TextTable(self.words(caption), titles, tuple(rows), texts)

    def style(self, plot: str) -> Style:
        """How a plot is drawn: treated first, control second, then in printing order."""
        outline = self.outline
        order = dict.fromkeys([outline.treated, outline.control, *(p.name for p in outline.plots)])
        names = [name for name in order if name]
        return STYLES[names.index(plot) % len(STYLES)] if plot in names else STYLES[0]
