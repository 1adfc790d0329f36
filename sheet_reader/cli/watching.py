"""``sheet-reader read --watch``: batch after batch as photos arrive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import click

from sheet_reader.cli.common import say
from sheet_reader.numbers import READING
from sheet_reader.reading.watching import Pace, ends_cleanly, watch

OneBatch = Callable[[Sequence[Path], bool], object]


def watch_photos(
    study: Path, rules: Sequence[Path], paths: Sequence[Path], take: OneBatch, *, mailbox: bool
) -> None:
    """Call ``take`` for what arrives under ``paths`` and in the mailbox until Ctrl-C or a request
    of the system to end; what is being read then waits for the next run. ``rules`` are the files
    of the ``study`` whose change counts.
    """
    places = [*map(str, paths), *(["the mailbox"] if mailbox else [])]
    say(f"Watching {', '.join(places)} for {study}. Ctrl-C ends it; nothing is lost by that.")
    pace = Pace(mail_every_s=READING.watch_mail_s if mailbox else None)
    try:
        with ends_cleanly():
            watch(paths, rules, take, lambda line: say(f"sheet-reader: {line}", err=True), pace)
    except KeyboardInterrupt:
        click.echo("\nStopped watching. What was read is saved; the rest waits for the next read.")
