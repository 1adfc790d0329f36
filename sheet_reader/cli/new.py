"""``sheet-reader new``: a study folder from a few questions."""

from __future__ import annotations

import locale
import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict, Unpack

import click

from sheet_reader.atomic import TEMPORARY, atomic_write
from sheet_reader.cli.common import counted, hint
from sheet_reader.cli.questions import Questions
from sheet_reader.errors import StorageError, StudyError, UsageError

if TYPE_CHECKING:
    from sheet_reader.study.new_study import NewStudy

USUAL_SITES = "10"
USUAL_PLOT = "Plot 1"
COUNTS = """\
What is counted? One a line, with the highest value you think possible, such as
  Blackfly colonies: 400
and an empty line at the end."""
PLOTS = f"""\
In which plots is all of this counted? One a line, with what was done there if you compare, such as
  Pinched half: tips pinched out
and an empty line at the end. An empty line at once stands for a single one, “{USUAL_PLOT}”."""


class Given(TypedDict):
    """The options, None or empty where they are left out."""

    title: str | None
    counts: tuple[str, ...]
    plots: tuple[str, ...]
    every: str | None
    first: str | None
    last: str | None
    paper: str | None
    sites: str | None
    labels: Path | None
    send_to: str | None
    language: str | None


@click.command("new", short_help="Start a study: a few questions, then its files.")
@click.argument("folder", type=click.Path(path_type=Path), metavar="FOLDER")
@click.option("--title", metavar="TEXT", help="The title on the sheet.")
@click.option(
    "--count", "counts", multiple=True, metavar="TEXT",
    help="Something that is counted, with the highest value that you think possible: "
    '"Blackfly colonies: 400" (999 if left out). Once for each.',
)
@click.option(
    "--plot", "plots", multiple=True, metavar="TEXT",
    help='A plot in which all is counted: "Pinched half" or "Pinched half: tips pinched out". '
    "Once for each.",
)
@click.option("--every", metavar="DAYS", help="Days between visits; 7 if left out.")
@click.option("--first", metavar="DATE", help="First day of the season, e.g. 2026-04-20.")
@click.option("--last", metavar="DATE", help="Last day of the season.")
@click.option("--paper", metavar="PAPER", help="A4 or Letter; your country's if left out.")
@click.option("--sites", metavar="N", help="How many sites; 10 if left out.")
@click.option(
    "--labels", type=click.Path(path_type=Path), metavar="FILE",
    help="A text file with the names of the sites, one a line.",
)
@click.option("--send-to", metavar="TEXT", help="Where photos go; printed on the sheet.")
@click.option("--words", "language", metavar="LANGUAGE", help="The sheet's language: en, de or es.")
def new(folder: Path, **given: Unpack[Given]) -> None:
    """Start a study in FOLDER, which must be new or empty.

    Asks what the options don't say; Enter takes what stands in brackets. Where title, counts,
    first and last day are given as options, nothing is asked. Writes study.toml with remarks on
    every setting, the site list with site numbers that are hard to mistake for one another, and
    inbox/ for the photos.

    Example:  sheet-reader new bean_tips
    """
    from sheet_reader.study.more_sites import labels_for, read_labels
    from sheet_reader.study.new_study import study_text, whole_from
    from sheet_reader.study.site_numbers import choose_numbers

    _must_be_free(folder)
    needed = (given["title"], given["counts"], given["first"], given["last"])
    questions = Questions(ask=not all(needed))
    names = read_labels(given["labels"]) if given["labels"] else ()
    answers = _answers(given, questions)
    usual = str(len(names)) if names else USUAL_SITES
    sites = questions.one(given["sites"], "How many sites", whole_from(1, 2000), usual)
    chosen = choose_numbers(sites)
    labels = labels_for(sites, names)
    text = study_text(answers, len(chosen.numbers[0]))
    pages = _pages(folder, text, chosen.numbers, labels)
    _write(folder, text, chosen.numbers, labels)
    _conclude(folder, pages, bool(names), chosen.numbers, chosen.distance)


def _must_be_free(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError("this is a file", where=folder, remedy="name a folder that is new")
    if folder.is_dir() and any(not p.name.startswith(TEMPORARY) for p in folder.iterdir()):
        what = "a study already" if (folder / "study.toml").exists() else "something else"
        raise UsageError(
            f"this folder holds {what}", where=folder, remedy="name a folder that is new or empty"
        )


def _answers(given: Given, questions: Questions) -> NewStudy:
    """The study from options and, where something is missing, answers."""
    from sheet_reader.study import new_study as parse

    title = questions.one(given["title"], "Title of the study", parse.title_from)
    counts = questions.several(
        given["counts"], COUNTS, parse.count_from, lambda found: parse.must_differ("counts", found)
    )
    plots = questions.several(
        given["plots"], PLOTS, parse.plot_from, lambda found: parse.must_differ("plots", found),
        USUAL_PLOT,
    )  # fmt: skip
    every = questions.one(given["every"], "Days between visits", parse.whole_from(1, 366), "7")
    first = questions.one(given["first"], "First day, such as 2026-04-20", parse.day_from)
    last = questions.one(given["last"], "Last day of the season", parse.day_after(first))
    paper = questions.one(
        given["paper"], "Paper, A4 or Letter", parse.paper_from, parse.paper_for(_locale())
    )
    send_to = questions.one(
        given["send_to"], "Where shall photos be sent? It is printed on the sheet (may stay empty)",
        parse.address_from,
    )  # fmt: skip
    language = questions.one(
        given["language"], "The sheet's language, en, de or es", parse.language_from, "en"
    )
    return parse.NewStudy(
        title, counts, plots, first, last, every, paper, send_to, language
    )


def _locale() -> str:
    """The locale that the environment names, e.g. ``en_US.UTF-8``, or ""."""
    names = (os.environ.get(name, "") for name in ("LC_ALL", "LC_PAPER", "LANG"))
    return next((name for name in names if name), "") or locale.getlocale()[0] or ""


def _pages(folder: Path, text: str, numbers: Sequence[str], labels: Sequence[str]) -> int:
    """How many pages the sheet has. Raises UsageError where these answers make none."""
    from sheet_reader.sheet.layout import lay_out
    from sheet_reader.study.model import Site
    from sheet_reader.study.reader import parse_study

    try:
        sites = tuple(Site(n, label, "") for n, label in zip(numbers, labels, strict=True))
        return len(lay_out(parse_study(text.encode(), folder, sites)).pages)
    except StudyError as error:
        raise UsageError(
            f"these answers make no sheet: {'; '.join(map(str, error.mistakes))}", where=folder,
            remedy="nothing was written; start again with other answers",
        ) from None  # fmt: skip


def _write(folder: Path, text: str, numbers: Sequence[str], labels: Sequence[str]) -> None:
    from sheet_reader.study.more_sites import list_text

    inbox, sites = folder / "inbox", list_text(numbers, labels)
    try:
        inbox.mkdir(parents=True, exist_ok=True)
        atomic_write({folder / "sites.csv": sites.encode(), folder / "study.toml": text.encode()})
    except OSError as error:
        with suppress(OSError):
            inbox.rmdir()
        raise StorageError(
            f"the study can't be written here: {error.strerror or error}", where=folder,
            remedy="name another folder",
        ) from None  # fmt: skip


def _conclude(
    folder: Path, pages: int, named: bool, numbers: Sequence[str], distance: int
) -> None:
    """Say what was written, and what comes next."""
    click.echo(f"{folder / 'study.toml'}  the study, with remarks on every setting")
    apart = f"; any two differ in {distance} digits or more" if distance else ""
    click.echo(f"{folder / 'sites.csv'}  {counted(len(numbers), 'site number')}{apart}")
    click.echo(f"{folder / 'inbox'}  for the photos")
    click.echo(f"The sheet has {counted(pages, 'page')}.")
    if not named:
        click.echo("Write the names of the sites into the site list, then go on.")
    click.echo(f"Next:  {hint('print', folder)} --proof      to check printer and paper")
    click.echo(f"       {hint('print', folder)} --all-sites")
