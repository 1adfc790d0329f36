"""``sheet-reader new``: a study folder from a few questions."""

from __future__ import annotations

import locale
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypedDict, Unpack

import click

from sheet_reader.atomic import TEMPORARY, atomic_write, private_folder
from sheet_reader.cli.common import counted, hint
from sheet_reader.cli.questions import Questions
from sheet_reader.errors import StorageError, StudyError, UsageError
from sheet_reader.study import new_study as parse
from sheet_reader.study.new_study import NewCount, NewPlot, NewStudy

USUAL_SITES = 10
COUNTS = """\
What is counted? One a line, with the highest value you think possible, such as
  Blackfly colonies: 400
and an empty line at the end."""
PLOTS = """\
In which plots is all of this counted? One a line, with what was done there if you compare, such as
  Pinched half: tips pinched out
and an empty line at the end."""


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

    Asks what the options don't say; Enter takes what stands in brackets, and before anything is
    written you see what was understood and may change it. Where title, counts, first and last day
    are given as options, nothing is asked. Writes study.toml with remarks, the site list with site
    numbers that are hard to mistake for one another, and inbox/ for the photos.

    Example:  sheet-reader new bean_tips
    """
    from sheet_reader.study.site_list import read_labels

    _must_be_free(folder)
    needed = (given["title"], given["counts"], given["first"], given["last"])
    questions = Questions(ask=not all(needed))
    names = read_labels(given["labels"]) if given["labels"] else ()
    new = NewStudy(sites=len(names) or USUAL_SITES)
    for step in STEPS:
        new = step(new, given, questions)
    draft = _settled(folder, new, names, questions)
    _write(folder, draft.text, draft.numbers, draft.labels)
    _conclude(folder, bool(names), draft)


def _must_be_free(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError("this is a file", where=folder, remedy="name a folder that is new")
    if folder.is_dir() and any(not p.name.startswith(TEMPORARY) for p in folder.iterdir()):
        what = "a study already" if (folder / "study.toml").exists() else "something else"
        raise UsageError(
            f"this folder holds {what}", where=folder, remedy="name a folder that is new or empty"
        )


def _title(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    return replace(new, title=ask.one(given["title"], "Title of the study", parse.title_from))


def _language(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    question = "The sheet's language, en, de or es"
    return replace(
        new, language=ask.one(given["language"], question, parse.language_from, "en")
    )


def _counts(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    def check(found: Sequence[NewCount]) -> None:
        parse.must_differ("counts", found)

    found = ask.several(given["counts"], COUNTS, parse.count_from, check, str)
    return replace(new, counts=found)


def _plots(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    def check(found: Sequence[NewPlot]) -> None:
        parse.must_differ("plots", found)

    usual = parse.usual_plot(new.language)
    question = f"{PLOTS} An empty line at once stands for a single one, “{usual}”."
    found = ask.several(given["plots"], question, parse.plot_from, check, str, usual)
    return replace(new, plots=found)


def _season(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    whole = parse.whole_from(1, 366)
    every = ask.one(given["every"], "Days between visits", whole, str(new.interval_days))
    first = ask.one(given["first"], "First day, such as 2026-04-20", parse.day_from)
    last = ask.one(given["last"], "Last day of the season", parse.day_after(first))
    return replace(new, interval_days=every, first=first, last=last)


def _paper(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    usual = parse.paper_for(_locale())
    return replace(
        new, paper=ask.one(given["paper"], "Paper, A4 or Letter", parse.paper_from, usual)
    )


def _address(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    from sheet_reader.sheet.layout import foot_mistake
    from sheet_reader.study.words import shipped_words

    def read(text: str) -> str:
        address = parse.address_from(text)
        mistake = foot_mistake(shipped_words(new.language or "en"), address, new.paper)
        if mistake is not None:
            raise UsageError(mistake.message)
        return address

    question = "Where shall photos be sent? It is printed on the sheet (may stay empty)"
    return replace(new, send_to=ask.one(given["send_to"], question, read))


def _sites(new: NewStudy, given: Given, ask: Questions) -> NewStudy:
    whole = parse.whole_from(1, 2000)
    return replace(new, sites=ask.one(given["sites"], "How many sites", whole, str(new.sites)))


Step = Callable[[NewStudy, Given, Questions], NewStudy]
STEPS: tuple[Step, ...] = (_title, _language, _counts, _plots, _season, _paper, _address, _sites)
"""The questions in their order; each gives the study with its answer."""
NOTHING: Given = {
    "title": None, "counts": (), "plots": (), "every": None, "first": None, "last": None,
    "paper": None, "sites": None, "labels": None, "send_to": None, "language": None,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class StudyDraft:
    """What will be written, and how many pages the sheet has."""

    text: str
    numbers: tuple[str, ...]
    labels: tuple[str, ...]
    distance: int
    pages: int


def _settled(folder: Path, new: NewStudy, names: Sequence[str], questions: Questions) -> StudyDraft:
    """Show what was understood, and let a person change any of it until it is right and fits its
    paper; raises UsageError where nobody is asked and it does not.
    """
    while True:
        click.echo("This is what was understood:")
        for number, (what, values) in enumerate(parse.told(new), 1):
            for value in values:
                click.echo(f"  {number if value is values[0] else '':>2}  {what:<9}  {value}")
                what = ""
        draft = None
        try:
            draft = _draft(folder, new, names)
        except UsageError as error:
            if not questions.ask:
                raise
            click.echo(f"  {error.what}")
        if draft is not None and not questions.ask:
            return draft
        question = "Which number is to be asked again"
        if draft is not None:
            question = "Enter writes the study, a number asks that again"
        step = questions.one(None, question, _step_from(done=draft is not None))
        if draft is not None and step is None:
            return draft
        if step is not None:
            new = step(new, NOTHING, questions)


def _step_from(done: bool) -> Callable[[str], Step | None]:
    """Reads the number of a question, or nothing where all is ``done``."""

    def read(text: str) -> Step | None:
        return None if done and not text else STEPS[parse.whole_from(1, len(STEPS))(text) - 1]

    return read


def _draft(folder: Path, new: NewStudy, names: Sequence[str]) -> StudyDraft:
    from sheet_reader.study.site_list import labels_for
    from sheet_reader.study.site_numbers import choose_numbers

    labels = labels_for(new.sites, names)
    chosen = choose_numbers(new.sites)
    text = parse.study_text(new, len(chosen.numbers[0]))
    pages = _pages(folder, text, chosen.numbers, labels)
    return StudyDraft(text, tuple(chosen.numbers), labels, chosen.distance, pages)


def _locale() -> str:
    """The locale that the environment names, e.g. ``en_US.UTF-8``, or ""."""
    names = (os.environ.get(name, "") for name in ("LC_ALL", "LC_PAPER", "LANG"))
    return next((name for name in names if name), "") or locale.getlocale()[0] or ""


def _pages(folder: Path, text: str, numbers: Sequence[str], labels: Sequence[str]) -> int:
    """How many pages the sheet has. Raises UsageError where these answers make none."""
    from sheet_reader.sheet.layout import page_count
    from sheet_reader.study.reader import parse_study
    from sheet_reader.study.study import Site

    try:
        sites = tuple(Site(n, label, "") for n, label in zip(numbers, labels, strict=True))
        return page_count(parse_study(text.encode(), folder, sites))
    except StudyError as error:
        raise UsageError(
            f"these answers make no sheet: {'; '.join(map(str, error.mistakes))}", where=folder,
            remedy="nothing was written; start again with other answers",
        ) from None  # fmt: skip


def _write(folder: Path, text: str, numbers: Sequence[str], labels: Sequence[str]) -> None:
    from sheet_reader.study.site_list import list_text

    inbox, sites = folder / "inbox", list_text(numbers, labels)
    try:
        private_folder(inbox)
        atomic_write({folder / "sites.csv": sites.encode(), folder / "study.toml": text.encode()})
    except OSError as error:
        with suppress(OSError):
            inbox.rmdir()
        raise StorageError(
            f"the study can't be written here: {error.strerror or error}", where=folder,
            remedy="name another folder",
        ) from None  # fmt: skip


def _conclude(folder: Path, named: bool, draft: StudyDraft) -> None:
    """Say what was written, and what comes next."""
    click.echo(f"{folder / 'study.toml'}  the study, with remarks on its settings")
    apart = f"; any two differ in {draft.distance} digits or more" if draft.distance else ""
    click.echo(f"{folder / 'sites.csv'}  {counted(len(draft.numbers), 'site number')}{apart}")
    click.echo(f"{folder / 'inbox'}  for the photos")
    click.echo(f"The sheet has {counted(draft.pages, 'page')}.")
    if not named:
        click.echo(f"Name the sites first:  {hint('sites', folder)} --labels FILE, or in the list")
    click.echo(f"Next:  {hint('print', folder)} --proof      to check printer and paper")
    click.echo(f"       {hint('print', folder)} --all-sites")
