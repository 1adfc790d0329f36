"""The files of a new study, written from a few answers: pure, from answers to text."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import cast

from sheet_reader.errors import UsageError
from sheet_reader.study.kinds import MOST_BOXES
from sheet_reader.study.study import Paper
from sheet_reader.study.table import printable_line, shown
from sheet_reader.study.words import languages, shipped_words

USUAL_HIGHEST = 999
LETTER_TERRITORIES = frozenset(
    ("BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE")
)
"""Where US Letter is the usual paper (Unicode CLDR, supplemental data, paperSize; from memory)."""
_LONGEST_NAME = 32
_LONGEST_KEY = 16
_NO_ADDRESS = '# send_to = "counts@example.org"'
_FAILED_NUMBER = re.compile(r"([;=,\uff1a]|\s[-+])\s*[0-9][0-9.,]*\s*\Z")
"""What ends like a highest value but has no colon before it."""


@dataclass(frozen=True, slots=True)
class NewCount:
    """Something to count, and the highest value that is plausible."""

    label: str
    highest: int = USUAL_HIGHEST

    def __str__(self) -> str:
        return f"{self.label}, from 0 to {self.highest}"


@dataclass(frozen=True, slots=True)
class NewPlot:
    """Where it is counted, and what was done there ("" where nothing is compared)."""

    label: str
    treatment: str = ""

    def __str__(self) -> str:
        return f"{self.label}: {self.treatment}" if self.treatment else self.label


@dataclass(frozen=True, slots=True)
class NewStudy:
    """The answers from which a study file is written; ``language`` "" for English."""

    title: str = ""
    counts: tuple[NewCount, ...] = ()
    plots: tuple[NewPlot, ...] = ()
    first: date = date.min
    last: date = date.min
    interval_days: int = 7
    paper: Paper = "A4"
    send_to: str = ""
    language: str = ""
    sites: int = 1


def told(new: NewStudy) -> list[tuple[str, list[str]]]:
    """The answers in the order of the questions, each with its name, in words."""
    return [
        ("Title", [new.title]),
        ("Language", [new.language or "en"]),
        ("Counts", [str(count) for count in new.counts]),
        ("Plots", [str(plot) for plot in new.plots]),
        ("Season", [f"{new.first} to {new.last}, a visit every {new.interval_days} days"]),
        ("Paper", [new.paper]),
        ("Photos to", [new.send_to or "(nothing is printed)"]),
        ("Sites", [str(new.sites)]),
    ]


def usual_plot(language: str) -> str:
    """What a single plot is called in a language ("" for English)."""
    return shipped_words(language or "en").plot.format(number=1)


def count_from(text: str) -> NewCount:
    """``Blackfly colonies: 400`` or ``Snails``; raises UsageError with what is wrong."""
    label, colon, last = text.rpartition(":")
    number = last.strip()
    if not colon:
        label, number = text, str(USUAL_HIGHEST)
    label = printable_line("the name of a count", label, 60)
    if not (number.isascii() and number.isdigit()):
        raise UsageError(
            f"{shown(number)} is no highest value", remedy="a whole number after the last colon"
        )
    if len(number.lstrip("0")) > MOST_BOXES:
        raise UsageError(f"a count has at most {MOST_BOXES} digits, so its highest value too")
    if int(number) == 0:
        raise UsageError("the highest value must be 1 or more")
    if not any(sign.isalpha() for sign in label) or (not colon and _FAILED_NUMBER.search(label)):
        raise UsageError(
            f"{shown(label)} looks like a number, not like something to count",
            remedy="the highest value follows a colon, such as Snails: 60",
        )
    return NewCount(label, int(number))


def plot_from(text: str) -> NewPlot:
    """``Pinched half: tips pinched out`` or ``Plot 1``; raises UsageError with what is wrong."""
    label, _, treatment = text.partition(":")
    return NewPlot(
        printable_line("the name of a plot", label, 40),
        printable_line("what was done in a plot", treatment, 60) if treatment.strip() else "",
    )


def day_from(text: str) -> date:
    """An ISO 8601 date; raises UsageError for anything else."""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(
            f"{text.strip()[:20]!r} is not a date", remedy="year-month-day, such as 2026-05-20"
        ) from None
    if not 2000 <= day.year <= 2099:
        raise UsageError("the year must lie from 2000 to 2099")
    return day


def paper_for(locale: str) -> Paper:
    """The usual paper of a locale such as ``en_US.UTF-8`` or ``de-AT``; A4 where it says none.

    For writing a new study file, not for reading one: a sheet must not depend on whose machine
    lays it out, so a study file without ``paper`` always means A4.
    """
    found = re.match(r"[A-Za-z]{2,3}(?:[_-][A-Za-z]{4})?[_-]([A-Z]{2})(?![A-Za-z])", locale)
    return "Letter" if found and found[1] in LETTER_TERRITORIES else "A4"


def title_from(text: str) -> str:
    """A study's title; raises UsageError for one that can't be printed."""
    return printable_line("the title", text, 60)


def address_from(text: str) -> str:
    """Where photos go; may be empty."""
    return printable_line("where photos go", text, 80) if text.strip() else ""


def whole_from(low: int, high: int) -> Callable[[str], int]:
    """Reads a whole number from ``low`` to ``high``; raises UsageError for anything else."""

    def read(text: str) -> int:
        digits = text.strip()
        if not (digits.isascii() and digits.isdigit() and low <= int(digits[:9]) <= high):
            raise UsageError(f"{shown(digits)} is not a whole number from {low} to {high}")
        return int(digits)

    return read


def day_after(first: date) -> Callable[[str], date]:
    """Reads the last day of a season that begins on ``first``."""

    def read(text: str) -> date:
        day = day_from(text)
        if day < first:
            raise UsageError(f"{day} lies before the first day, {first}")
        if (day - first).days > 3660:
            raise UsageError("the season is longer than ten years")
        return day

    return read


def paper_from(text: str) -> Paper:
    """A4 or Letter, in large or small letters; raises UsageError for anything else."""
    found = {"a4": "A4", "letter": "Letter"}.get(text.strip().casefold())
    if found is None:
        raise UsageError(f"{shown(text)} is not A4 or Letter")
    return cast(Paper, found)


def language_from(text: str) -> str:
    """The language of a set of words that ships with the package; "" for English."""
    name = text.strip().casefold()
    if name not in languages():
        raise UsageError(f"{shown(text)} is none of {', '.join(languages())}")
    return "" if name == "en" else name


def must_differ(kind: str, found: Sequence[NewCount] | Sequence[NewPlot]) -> None:
    """Raises UsageError where two labels are alike."""
    known: set[str] = set()
    for label in (entry.label for entry in found):
        if label.casefold() in known:
            raise UsageError(f"two {kind} are called “{label}”")
        known.add(label.casefold())


def names_of(labels: Sequence[str], kind: str) -> list[str]:
    """A name for each label as study files want them, all different: ``egg_clusters``; those
    without a Latin letter get ``kind`` and a number.
    """
    names: list[str] = []
    for number, label in enumerate(labels, 1):
        plain = re.sub(r"[^a-z0-9]+", "_", _ascii(label)).strip("_")
        name = plain if plain[:1].isalpha() else f"{kind}_{plain or number}"
        name, stem, again = name[:_LONGEST_NAME].rstrip("_"), name, 1
        while name in names:
            again += 1
            name = f"{stem[: _LONGEST_NAME - len(str(again)) - 1].rstrip('_')}_{again}"
        names.append(name)
    return names


def key_of(title: str) -> str:
    """The study's key: the first words of the title that fit, or ``study``."""
    words = re.findall(r"[a-z0-9]+", _ascii(title))
    key = ""
    for word in words:
        longer = f"{key}-{word}" if key else word[:_LONGEST_KEY]
        if len(longer) > _LONGEST_KEY:
            break
        key = longer
    return key or "study"


def _ascii(text: str) -> str:
    return unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()


def _quoted(text: str) -> str:
    """A TOML basic string: the same escapes as JSON's, but for the one JSON leaves out."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def study_text(new: NewStudy, digits: int) -> str:
    """The commented ``study.toml``; ``digits`` of a site number."""
    words = shipped_words(new.language or "en")
    plots = zip(new.plots, names_of([p.label for p in new.plots], "plot"), strict=True)
    counts = zip(new.counts, names_of([c.label for c in new.counts], "count"), strict=True)
    send_to = f"send_to = {_quoted(new.send_to)}" if new.send_to else _NO_ADDRESS
    return files(__package__).joinpath("templates", "new_study.txt").read_text("utf-8").format(
        site_number=_quoted(words.site_number), visit_date=_quoted(words.visit_date),
        key=key_of(new.title), title=_quoted(new.title), paper=new.paper, send_to=send_to,
        words=f'words = "{new.language}"' if new.language else '# words = "de"',
        first=new.first, last=new.last, interval=new.interval_days, digits=digits,
        plots="\n".join(
            f'[[plots]]\nname = "{name}"\nlabel = {_quoted(plot.label)}\n'
            + (f"treatment = {_quoted(plot.treatment)}\n" if plot.treatment else "")
            for plot, name in plots
        ),
        counts="\n".join(
            f'[[counts]]\nname = "{name}"\nlabel = {_quoted(count.label)}\n'
            f"highest = {count.highest}\n"
            for count, name in counts
        ),
    )  # fmt: skip
