"""``sheet-reader new``: a study folder from a few questions."""

from __future__ import annotations

import locale
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import click

from sheet_reader.atomic import atomic_write, private_folder
from sheet_reader.cli.common import counted, hint, must_be_free
from sheet_reader.cli.terminal import answer_to
from sheet_reader.errors import StorageError, StudyError, UsageError
from sheet_reader.study import new_study as parse
from sheet_reader.study.new_study import NewStudy

T = TypeVar("T")
Parse = Callable[[str], T]
"""Makes a value of what was typed; raises UsageError with what is wrong."""
Options = dict[str, Any]
"""The options of ``new`` by name, None or empty where they are left out."""
USUAL_SITES = 10
COUNTS = """\
What is counted? One a line, with the highest value you think possible, such as
  Blackfly colonies: 400
and an empty line at the end."""
PLOTS = """\
In which plots is all of this counted? One a line, with what was done there if you compare, such as
  Pinched half: tips pinched out
and an empty line at the end."""


@click.command("new", short_help="Start a study: a few questions, then its files.")
@click.argument("folder", type=click.Path(path_type=Path), metavar="FOLDER")
@click.option("--title", metavar="TEXT", help="The title on the sheet.")
@click.option("--count", "counts", multiple=True, metavar="TEXT",
              help="Something that is counted, with the highest value that you think possible: "
              '"Blackfly colonies: 400" (999 if left out). Once for each.')  # fmt: skip
@click.option("--plot", "plots", multiple=True, metavar="TEXT",
              help='A plot in which all is counted: "Pinched half" or "Pinched half: tips pinched '
              'out". Once for each.')  # fmt: skip
@click.option("--every", metavar="DAYS", help="Days between visits; 7 if left out.")
@click.option("--first", metavar="DATE", help="First day of the season, e.g. 2026-04-20.")
@click.option("--last", metavar="DATE", help="Last day of the season.")
@click.option("--paper", metavar="PAPER", help="A4 or Letter; your country's if left out.")
@click.option("--sites", metavar="N", help="How many sites; 10 if left out.")
@click.option("--labels", type=click.Path(path_type=Path), metavar="FILE",
              help="A text file with the names of the sites, one a line.")  # fmt: skip
@click.option("--send-to", metavar="TEXT", help="Where photos go; printed on the sheet.")
@click.option("--words", "language", metavar="LANGUAGE", help="The sheet's language: en, de or es.")
def new(folder: Path, **given: Any) -> None:
    """Start a study in FOLDER, which must be new or empty.

    Asks what the options don't say; Enter takes what stands in brackets, and before anything is
    written you see what was understood and may change it. Where title, counts, first and last day
    are given as options, nothing is asked. Writes study.toml with remarks, the site list with site
    numbers that are hard to mistake for one another, and inbox/ for the photos.

    Example:  sheet-reader new bean_tips
    """
    from sheet_reader.study.site_list import read_labels

    must_be_free(folder)
    questions = Questions(ask=not all(given[key] for key in ("title", "counts", "first", "last")))
    names = read_labels(given["labels"]) if given["labels"] else ()
    new = NewStudy(sites=len(names) or USUAL_SITES)
    for step in STEPS:
        new = step(new, given, questions)
    draft = _settled(folder, new, names, questions)
    _write(folder, draft)
    click.echo(f"{folder / 'study.toml'}  the study, with remarks on its settings")
    apart = f"; any two differ in {draft.distance} digits or more" if draft.distance else ""
    click.echo(f"{folder / 'sites.csv'}  {counted(len(draft.numbers), 'site number')}{apart}")
    click.echo(f"{folder / 'inbox'}  for the photos")
    click.echo(f"The sheet has {counted(draft.pages, 'page')}.")
    if not names:
        click.echo(f"Name the sites first:  {hint('sites', folder)} --labels FILE, or in the list")
    click.echo(f"Next:  {hint('print', folder)} --proof      to check printer and paper")
    click.echo(f"       {hint('print', folder)} --all-sites")


class Questions:
    """Asks what options left open, each question until it has a sound answer. Where it does not
    ``ask``, what is usual counts as the answer.
    """

    def __init__(self, ask: bool) -> None:
        self.ask = ask

    def one(self, said: str | None, question: str, read: Parse[T], usual: str = "") -> T:
        """One value: from the option, the answer, or (Enter) the usual one."""
        if said is not None or not self.ask:
            return read(usual if said is None else said)
        shown = f"{question} [{usual}]: " if usual else f"{question}: "
        while True:
            answer = _typed(shown)
            try:
                return read(answer or usual)
            except UsageError as error:
                click.echo(f"  {error}")

    def several(
        self, said: Sequence[str], question: str, read: Parse[Any], kind: str, usual: str = ""
    ) -> tuple[Any, ...]:
        """What is of one ``kind``, one a line up to an empty line, each told as it was understood;
        the ``usual`` one alone where there is none, or the question goes on where nothing is usual.
        """
        found = [read(text) for text in said]
        parse.must_differ(kind, found)
        if self.ask and not found:
            click.echo(question)
            while (answer := _typed(f"  {len(found) + 1}: ")) or not (found or usual):
                try:
                    value = read(answer)
                    parse.must_differ(kind, [*found, value])
                except UsageError as error:
                    click.echo(f"  {error}")
                else:
                    found.append(value)
                    click.echo(f"     {value}")
        return tuple(found) if found else (read(usual),)


def _typed(question: str) -> str:
    if (answer := answer_to(question)) is None:
        raise UsageError(
            "the answers ended before the last question; nothing was written",
            remedy="start again, or give the answers as options: see --help",
        )
    return answer


Step = Callable[[NewStudy, Options, Questions], NewStudy]


def _one(
    key: str, question: str, read: Parse[Any], usual: Callable[[NewStudy], str] = lambda _: ""
) -> Step:
    """The step of a question whose answer, its option and the study's attribute bear one name."""
    return lambda new, given, ask: replace(
        new, **{key: ask.one(given.get(key), question, read, usual(new))}
    )


def _counts(new: NewStudy, given: Options, ask: Questions) -> NewStudy:
    found = ask.several(given.get("counts", ()), COUNTS, parse.count_from, "counts")
    return replace(new, counts=found)


def _plots(new: NewStudy, given: Options, ask: Questions) -> NewStudy:
    usual = parse.usual_plot(new.language)
    question = f"{PLOTS} An empty line at once stands for a single one, “{usual}”."
    found = ask.several(given.get("plots", ()), question, parse.plot_from, "plots", usual)
    return replace(new, plots=found)


def _season(new: NewStudy, given: Options, ask: Questions) -> NewStudy:
    whole = parse.whole_from(1, 366)
    every = ask.one(given.get("every"), "Days between visits", whole, str(new.interval_days))
    first = ask.one(given.get("first"), "First day, such as 2026-04-20", parse.day_from)
    last = ask.one(given.get("last"), "Last day of the season", parse.day_after(first))
    return replace(new, interval_days=every, first=first, last=last)


def _usual_paper(new: NewStudy) -> str:
    """That of the locale which the environment names, e.g. ``en_US.UTF-8``."""
    del new
    named = [os.environ.get(name, "") for name in ("LC_ALL", "LC_PAPER", "LANG")]
    return parse.paper_for(next(filter(None, named), "") or locale.getlocale()[0] or "")


def _address(new: NewStudy, given: Options, ask: Questions) -> NewStudy:
    from sheet_reader.sheet.layout import foot_mistake
    from sheet_reader.study.words import shipped_words

    def read(text: str) -> str:
        address = parse.address_from(text)
        mistake = foot_mistake(shipped_words(new.language or "en"), address, new.paper)
        if mistake is not None:
            raise UsageError(mistake.message)
        return address

    question = "Where shall photos be sent? It is printed on the sheet (may stay empty)"
    return replace(new, send_to=ask.one(given.get("send_to"), question, read))


STEPS: tuple[Step, ...] = (
    _one("title", "Title of the study", parse.title_from),
    _one("language", "The sheet's language, en, de or es", parse.language_from, lambda _: "en"),
    _counts,
    _plots,
    _season,
    _one("paper", "Paper, A4 or Letter", parse.paper_from, _usual_paper),
    _address,
    _one("sites", "How many sites", parse.whole_from(1, 2000), lambda new: str(new.sites)),
)
"""The questions in their order; each gives the study with its answer."""


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
        question = (
            "Which number is to be asked again" if draft is None
            else "Enter writes the study, a number asks that again"
        )  # fmt: skip
        step = questions.one(None, question, partial(_step, done=draft is not None))
        if step is not None:
            new = step(new, {}, questions)
        elif draft is not None:
            return draft


def _step(text: str, *, done: bool) -> Step | None:
    """The question with this number, or nothing where all is ``done``."""
    return None if done and not text else STEPS[parse.whole_from(1, len(STEPS))(text) - 1]


def _draft(folder: Path, new: NewStudy, names: Sequence[str]) -> StudyDraft:
    """Raises UsageError where these answers make no sheet."""
    from sheet_reader.sheet.layout import page_count
    from sheet_reader.study.reader import parse_study
    from sheet_reader.study.site_list import labels_for
    from sheet_reader.study.site_numbers import choose_numbers
    from sheet_reader.study.study import Site

    labels, chosen = labels_for(new.sites, names), choose_numbers(new.sites)
    text = parse.study_text(new, len(chosen.numbers[0]))
    try:
        sites = tuple(Site(n, label, "") for n, label in zip(chosen.numbers, labels, strict=True))
        pages = page_count(parse_study(text.encode(), folder, sites))
    except StudyError as error:
        raise UsageError(
            f"these answers make no sheet: {'; '.join(map(str, error.mistakes))}", where=folder,
            remedy="nothing was written; start again with other answers",
        ) from None  # fmt: skip
    return StudyDraft(text, tuple(chosen.numbers), labels, chosen.distance, pages)


def _write(folder: Path, draft: StudyDraft) -> None:
    from sheet_reader.study.site_list import list_text

    inbox, sites = folder / "inbox", list_text(draft.numbers, draft.labels).encode()
    try:
        private_folder(inbox)
        atomic_write({folder / "sites.csv": sites, folder / "study.toml": draft.text.encode()})
    except OSError as error:
        with suppress(OSError):
            inbox.rmdir()
        raise StorageError(
            f"the study can't be written here: {error.strerror or error}", where=folder,
            remedy="name another folder",
        ) from None  # fmt: skip
