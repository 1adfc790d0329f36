"""What an update is made of before it is a page, and what its sections are written from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from sheet_reader.results.update.canvas import STYLES, Drawing, Style
from sheet_reader.results.update.comparison import PlotComparison
from sheet_reader.results.update.frame import usable
from sheet_reader.results.update.outline import Outline, Update
from sheet_reader.results.update.words import UpdateWords


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
