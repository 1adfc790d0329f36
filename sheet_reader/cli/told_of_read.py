"""What ``read`` tells when it is done, and between the batches of ``--watch``."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.cli.common import counted, say, some_of

if TYPE_CHECKING:
    from sheet_reader.reading.tally import BatchSummary
    from sheet_reader.record.history.photos import PhotoLine


MOST_REASONS = 6
OneBatch = Callable[[Sequence[Path], bool], object]


def what_came(batch: BatchSummary) -> str:
    """What this run did, in one line: each thing that arrived is counted in one place."""
    if not (batch.arrived or batch.read or batch.failed or batch.left_out):
        if batch.known == 0:
            return "No photos here."
        all_of = "It is" if batch.known == 1 else f"All {batch.known} photos are"
        return f"Nothing new. {all_of} in the record already."
    parts = [counted(batch.arrived, "new photo") if batch.arrived else "No new photo"]
    if batch.new_failed:
        parts[0] += f" ({batch.new_read} read, {batch.new_failed} not readable: reasons above)"
    if batch.new_checks:
        parts.append(f"{counted(batch.new_checks, 'print check')} (result above)")
    if batch.known:
        parts.append(f"{batch.known} known already")
    if batch.refused:
        parts.append(f"{batch.refused} not taken in (reasons above)")
    if batch.left_out:
        parts.append(f"{batch.left_out} left out")
    read, failed = batch.read - batch.new_read, batch.failed - batch.refused - batch.new_failed
    if read or failed:
        parts.append(f"{read + failed} from before looked at ({read} read, {failed} not readable)")
    parts.append(f"{counted(batch.pages, 'page')} read in {batch.seconds:.0f} s")
    fields = f"{batch.accepted:,} fields accepted, {batch.flagged:,} flagged, {batch.empty:,} empty"
    return f"{', '.join(parts)}: {fields}."


def still_unread(photos: Iterable[PhotoLine], told: Collection[int]) -> list[str]:
    """Lines that name the photos in which something was not read, by reason, most photos first.

    ``told`` are photos whose reasons were just told, or are settled. Photos that wait are another
    matter.
    """
    from sheet_reader.record.history.photos import both_names
    from sheet_reader.wording import words

    by_reason: dict[str, list[str]] = defaultdict(list)
    for photo in photos:
        if photo.status != "waiting" and photo.reasons and photo.photo_id not in told:
            anywhere = dict.fromkeys(reason.on_page(None) for reason in photo.reasons)
            by_reason[words(anywhere)].append(both_names(photo.photo_id, photo.name))
    if not by_reason:
        return []
    count = sum(map(len, by_reason.values()))
    what = "photo is" if count == 1 else "photos are"
    lines = [f"From before, {count} {what} not read, or not wholly:"]
    ordered = sorted(by_reason.items(), key=lambda item: -len(item[1]))
    lines += [f"  {some_of(names)}: {reason}" for reason, names in ordered[:MOST_REASONS]]
    if rest := sum(len(names) for _, names in ordered[MOST_REASONS:]):
        lines.append(f"  and {rest} more for other reasons")
    return lines


def watch_photos(
    study: Path, rules: Sequence[Path], paths: Sequence[Path], take: OneBatch, *, mailbox: bool
) -> None:
    """Call ``take`` for what arrives under ``paths`` and in the mailbox until Ctrl-C or a request
    of the system to end; what is being read then waits for the next run. ``rules`` are the files
    of the ``study`` whose change counts.
    """
    from sheet_reader.numbers import READING
    from sheet_reader.reading.watching import WatchIntervals, ends_cleanly, watch

    places = [*map(str, paths), *(["the mailbox"] if mailbox else [])]
    say(f"Watching {', '.join(places)} for {study}. Ctrl-C ends it; nothing is lost by that.")
    pace = WatchIntervals(mail_every_s=READING.watch_mail_s if mailbox else None)
    try:
        with ends_cleanly():
            watch(paths, rules, take, lambda line: say(f"sheet-reader: {line}", err=True), pace)
    except KeyboardInterrupt:
        click.echo("\nStopped watching. What was read is saved; the rest waits for the next read.")
