"""``sheet-reader update``: the draft of an update for volunteers."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import (
    counted,
    hint,
    open_study,
    questions_of,
    say,
    study_argument,
    tell_notes,
    waits,
)
from sheet_reader.cli.opening import must_have_record, open_record
from sheet_reader.errors import UsageError
from sheet_reader.study import days

if TYPE_CHECKING:
    import pandas as pd

    from sheet_reader.results.facts import Facts
    from sheet_reader.results.update.outline import Outline
    from sheet_reader.study.study import Study


@click.command(short_help="Draft an update for volunteers: a page and a PDF.")
@study_argument
@click.option(
    "--until", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE",
    help="Use visits up to this day, such as 2026-05-20; today if left out.",
)  # fmt: skip
@click.option("--for", "site", metavar="SITE", help="Add the own numbers of this site.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
    help="The folder for page and PDF; updates/ in the study folder if left out.",
)  # fmt: skip
def update(study: Path, until: date | None, site: str | None, out: Path | None) -> None:
    """Draft an update: what came in, and what the counts show so far. Nothing is sent.

    It is one HTML page that needs no network, and a PDF: thanks by place, the comparison of two
    plots (count, treated, control in the study's [update]), weeks, stages, what can't be said yet,
    next dates. It names no volunteers. Read it before you send it.

    Your own paragraphs go into updates/own_words.md; every run puts them in. updates/updates.csv
    keeps the days of the updates: each is one more look at the comparison, and its ranges are wide
    enough for all that are planned. The same --until makes that update anew. Texts can be changed
    in [words.update].

    Example:  sheet-reader update bean_tips --until 2026-05-20
    """
    from sheet_reader.results.facts import facts_of

    opened = open_study(study)
    day = _day(opened, until)
    if site is not None and opened.site(site) is None:
        listed = opened.folder / opened.sites_file
        raise UsageError(f"there is no site {site} on the site list", where=listed)
    must_have_record(opened)
    with open_record(opened, for_reading=True) as record:
        facts, waiting = facts_of(record), questions_of(record)
        tell_notes(record)
    _make(opened, facts, day, site or "", out)
    if waiting:
        say(f"{waits(waiting)} Until then these values take no part.")
    say(f"Next:  read the page; your own words go into {_words(opened)}, then run this again.")


def _day(study: Study, until: date | None) -> date:
    """The day asked for: up to today or, to try a season out, up to its last day."""
    day = date(until.year, until.month, until.day) if until is not None else days.today(study)
    if day > max(days.today(study), study.season.last):
        raise UsageError(f"{day} lies in the future", remedy="leave out --until for today")
    return day


def _words(study: Study) -> Path:
    from sheet_reader.results.update.kept import FOLDER, WORDS_FILE

    return study.folder / FOLDER / WORDS_FILE


def _make(study: Study, facts: Facts, until: date, site: str, out: Path | None) -> None:
    """Put the update together and write it, then keep that it was made."""
    from sheet_reader.cli.progress import working
    from sheet_reader.results.update import kept
    from sheet_reader.results.update.content import make_content
    from sheet_reader.results.update.frame import frame_of
    from sheet_reader.results.update.outline import comparable, last_before, outline_of, update_of
    from sheet_reader.results.update.page import render_page
    from sheet_reader.results.update.printed import render_pdf
    from sheet_reader.results.whole_files import write_together
    from sheet_reader.study.days import now

    notes, made = kept.own_words(study.folder), kept.made_before(study.folder)
    counts = frame_of(study, facts, until, last_before(made, until))
    if not len(counts):
        raise _nothing(study, facts, until)
    planned = outline_of(study, made, until)
    outline = comparable(planned, counts)
    asked = update_of(study, facts, until, made, notes or "", site)
    with working("Working out what the counts show, with simulated seasons like this one …"):
        content = make_content(counts, outline, asked, dict(study.update_words))
    own = study.folder / kept.OWN_TEMPLATES
    name = f"{study.key}-update-{until}" + (f"-site-{site}" if site else "")
    page = render_page(content, own if own.is_dir() else None)
    files = {f"{name}.html": page, f"{name}.pdf": render_pdf(content, study.paper)}
    here = study.folder / kept.FOLDER
    for path in write_together(out or here, files):
        click.echo(str(path))
    this = kept.Made(until, now())
    keep = {kept.MADE_FILE: kept.made_csv(made, this)}
    if notes is None:
        keep[kept.WORDS_FILE] = kept.FIRST_WORDS.encode()
    write_together(here, keep)
    _tell(study, planned, outline, counts)


def _nothing(study: Study, facts: Facts, until: date) -> UsageError:
    """Why there is no update to make."""
    later = sorted(v.visit_date for v in facts.visits if v.site and v.visit_date)
    if later:
        return UsageError(
            f"no counts up to {until}: the first visit is of {later[0]}", where=study.folder,
            remedy="name a later day with --until",
        )  # fmt: skip
    return UsageError(
        "no counts have come in yet", where=study.folder,
        remedy=f"start with: {hint('review' if facts.visits else 'read', study.folder)}",
    )  # fmt: skip


def _tell(study: Study, planned: Outline, outline: Outline, counts: pd.DataFrame) -> None:
    """What the update holds, and what is missing in it and why."""
    from sheet_reader.results.contacts import place_names
    from sheet_reader.results.update.outline import candidates
    from sheet_reader.results.update.pairs import pair_visits
    from sheet_reader.results.update.statement import LEAST_SITES

    visits = len(counts.drop_duplicates(["site", "visit_date"]))
    told = f"{counted(visits, 'visit')} from {counted(counts['site'].nunique(), 'site')}"
    say(f"An update with {told}; nothing is sent.")
    names = place_names(study)
    named = [site.number for site in study.sites if names[site.number] != site.label]
    if named:
        say(f"note: site {', '.join(named)}: the label has a word of a contact; the number stands")
    if not study.update.count and len(candidates(study)) > 1:
        say(f"note: it shows “{outline.count.label}”; [update] can name another count")
    if not planned.compares:
        say("note: nothing is compared; name treated and control in [update] if two plots are")
        return
    sites = 0
    if outline.compares:
        paired = pair_visits(counts, outline, outline.count.name).sites
        sites = int(((paired["value_treated"] > 0) | (paired["value_control"] > 0)).sum())
    if sites < LEAST_SITES:
        both = f"{counted(sites, 'site')} with counts from both plots on one day and a find"
        say(f"note: {both}; fewer than {LEAST_SITES} can't be compared, and the page says so")
