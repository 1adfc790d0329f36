"""``sheet-reader read``: take in photos and read them."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sheet_reader.atomic import atomic_write
from sheet_reader.cli.common import counted, hint, open_study, say, study_argument, waits
from sheet_reader.cli.opening import open_record, questions_of, tell_notes
from sheet_reader.cli.progress import progress
from sheet_reader.cli.told_of_read import still_unread, watch_photos, what_came
from sheet_reader.errors import UsageError, installation_error
from sheet_reader.study import days

if TYPE_CHECKING:
    from sheet_reader.reading.cluster import Cluster
    from sheet_reader.record.store.store import Record
    from sheet_reader.study.study import Study

    Where = tuple[int | None, Cluster | None]

A_FILE = click.Path(path_type=Path)
REASONS_FILE = "last_read.txt"
"""In the study folder: what the latest read said of single photos."""


@click.command(short_help="Read photos of sheets.")
@study_argument
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path), metavar="[PHOTO or FOLDER]...")
@click.option("--overlay", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
              help="Also write each photo with the found boxes, values and questions drawn into "
              "DIR.")  # fmt: skip
@click.option("--mailbox", metavar="MAILBOX",
              help="Also take in the new mail of imaps://user@host/folder. It is read only; the "
              "password comes from SHEET_READER_MAIL_PASSWORD or the "
              "system's keyring.")  # fmt: skip
@click.option("--again", is_flag=True, help="Read known photos once more; decisions stand.")
@click.option("--jobs", type=click.IntRange(0, 64), show_default="all cores",
              help="How many photos are read at once; 0 reads within this process, without a time "
              "limit.")  # fmt: skip
@click.option("--watch", is_flag=True, help="Go on reading what arrives, until Ctrl-C.")
@click.option("--scheduler", metavar="ADDRESS",
              help="Read on the Dask cluster whose scheduler listens there, e.g. "
              "tls://10.0.0.5:8786 (extra “cluster”).")  # fmt: skip
@click.option("--scheduler-tls", type=(A_FILE, A_FILE, A_FILE), metavar="CA CERT KEY",
              help="Files (PEM) for TLS with the scheduler: the authority's certificate, yours, "
              "your key. Without them Dask's own configuration decides.")  # fmt: skip
def read(
    study: Path, photos: tuple[Path, ...], overlay: Path | None, mailbox: str | None, again: bool,
    jobs: int | None, watch: bool, scheduler: str | None,
    scheduler_tls: tuple[Path, Path, Path] | None,
) -> None:  # fmt: skip
    """Read photos of sheets into the study's record.

    Without photos, folders or a mailbox, the study's inbox/ is read. Pictures are JPEG, PNG, TIFF,
    WebP, PDF and, with the package pillow-heif, HEIC; they may also lie in zip archives and mail
    (.eml, .mbox, maildir folders). A photo that can't be read is named with the reason, and the
    others go on. Reading a photo twice changes nothing. What a mail says beside its photos is kept
    with their sheets as a remark, and mail that answers a letter with its visits.

    With --watch the inbox, or the folders and the mailbox named, are looked at every few seconds
    (the mailbox every two minutes). A file is read once nobody has written to it for a while, and
    a changed study file counts from then on. Review and export may run meanwhile.

    With --scheduler the photos' bytes travel to a Dask cluster and are read there, with the same
    result; all else, the record too, stays here. Workers that die lose nothing.

    Exit code 0 means that the batch went through, also where some photos could not be read. Where
    all fail in one unforeseen way, it is 1: the installation is at fault, and the photos wait.

    Example:  sheet-reader read bean_tips ~/Pictures/beans --overlay looked_at
    """
    if watch and again:
        raise UsageError(
            "--watch reads what arrives, --again what is known",
            remedy="read once with --again, then start watching",
        )
    where = jobs, cluster_of(scheduler, scheduler_tls, jobs)
    opened = open_study(study)
    missing = [path for path in photos if not path.exists()]
    if missing:
        raise UsageError("there is no such photo or folder", where=missing[0])
    here = bool(photos) or mailbox is not None or (opened.folder / "inbox").is_dir()
    if not here and not _some_wait(opened):
        raise UsageError(
            "there is no inbox yet", where=opened.folder / "inbox",
            remedy="make this folder and put the photos in it, or name photos or folders",
        )  # fmt: skip
    if shutil.which("tesseract") is None:
        click.echo(
            "note: Tesseract is not installed, so a sheet whose machine code is spoilt is read "
            "by its printed code only where that is plain; all else works.",
            err=True,
        )
    if not watch:
        _one_batch(opened, photos or None, mailbox, overlay, again=again, where=where)
        return

    def take(files: Sequence[Path], mail: bool) -> None:
        source = mailbox if mail else None
        _one_batch(open_study(study), tuple(files), source, overlay, again=False, where=where)

    rules = [opened.folder / "study.toml", *opened.folder.glob("*.csv")]
    watched = photos or (() if mailbox is not None else (opened.folder / "inbox",))
    watch_photos(opened.folder, rules, watched, take, mailbox=mailbox is not None)


def _one_batch(
    study: Study, photos: tuple[Path, ...] | None, mailbox: str | None, overlay: Path | None, *,
    again: bool, where: Where,
) -> None:  # fmt: skip
    """Read one batch (``photos`` None: the inbox, unless a mailbox is given) and tell of it."""
    from sheet_reader.intake.imap import parse_mailbox
    from sheet_reader.reading.batch import read_batch
    from sheet_reader.record.originals.originals import must_last
    from sheet_reader.record.store.place import has_record

    must_last()
    if has_record(study.folder):
        open_record(study).close()  # asks what must be said before values come in
    source = parse_mailbox(mailbox) if mailbox is not None else None
    with progress("Reading") as step:
        batch = read_batch(
            study, photos, mailbox=source, on_progress=step, again=again, jobs=where[0],
            cluster=where[1], today=days.today(study),
        )  # fmt: skip
    for line in batch.lines:
        say(line)
    if batch.fault:
        raise installation_error(batch.fault)
    say(what_came(batch))
    _conclude(study, overlay, set(batch.photo_ids), batch.lines)


def _some_wait(study: Study) -> bool:
    """Whether an earlier run took in photos that are not read yet, or known ones wait to be decoded
    anew.
    """
    from sheet_reader.reading.decoding import waits_for_decoding
    from sheet_reader.record.store.place import has_record

    if not has_record(study.folder):
        return False
    with open_record(study) as record:
        return record.unread() > 0 or waits_for_decoding(record)


def _conclude(study: Study, overlay: Path | None, fresh: set[int], told: Sequence[str]) -> None:
    """Draw what was read now, say how the record stands and what comes next; ``told`` was said of
    single photos before, and goes into a file with what is said here.
    """
    from sheet_reader.reading.opening import promise_of
    from sheet_reader.record.history.photo_fates import photo_fates
    from sheet_reader.record.history.photos import both_names

    with open_record(study) as record:
        photos = photo_fates(record)
        shown = {line.photo_id: both_names(line.photo_id, line.name) for line in photos}
        news = _of_fresh(record, fresh, shown)
        settled = {line.photo_id for line in photos if line.fate in ("set aside", "typed in")}
        news += still_unread(photos, fresh | settled)
        for line in news:
            say(line)
        if told or news:
            _keep_reasons(study, [*told, *news])
        if overlay is not None:
            _write_overlays(record, overlay, fresh)
        tell_notes(record, names=True)
        summary, promise, questions = record.summary(), promise_of(record), questions_of(record)
    in_all = counted(sum(summary.photos.values()), "photo")
    say(f"In the record: {in_all}, {counted(summary.visits, 'visit')}. {waits(questions)}")
    if fresh:
        say(promise.sentence)
    first = "" if summary.visits else f"put photos in {study.folder / 'inbox'}, then "
    command = "read" if first else "review" if questions else "export"
    click.echo(f"Next:  {first}{hint(command, study.folder)}")


def _of_fresh(record: Record, fresh: set[int], shown: Mapping[int, str]) -> list[str]:
    """Of the photos just read: a sentence to pass on to the volunteer for each that was hard to
    read, and where one read again says something else than a person decided, which stands.
    """
    pages = [page for visit in record.state() for page in visit.pages if page.photo_id in fresh]
    advice = {f"{shown[page.photo_id]}: read. {page.advice}" for page in pages if page.advice}
    return sorted(advice) + [
        f"{shown[row.photo_id]}: {row.field} is read as {row.later_value} now; "
        f"decided was {row.value or row.status}, and that stands."
        for row in record.readings()
        if row.later_value is not None and row.photo_id in fresh
    ]


def _write_overlays(record: Record, folder: Path, fresh: set[int]) -> None:
    """Overlays of the photos just read, and of older ones that have none in ``folder`` yet."""
    from sheet_reader.review.overlay import overlay_name, write_overlays

    wanted = [
        line
        for line in record.photos()
        if line.status in ("read", "no sheet")
        and (line.photo_id in fresh or not (folder / overlay_name(line.photo_id)).exists())
    ]
    with progress("Drawing") as step:
        for done, line in enumerate(wanted, start=1):
            write_overlays(record, line.photo_id, folder)
            step(done, len(wanted), line.name)
    click.echo(f"{counted(len(wanted), 'picture')} with boxes drawn in {folder}")


def _keep_reasons(study: Study, lines: Sequence[str]) -> None:
    """What was said of single photos, in a file; a folder that can't be written stops nothing."""
    path = study.folder / REASONS_FILE
    try:
        atomic_write({path: ("\n".join(lines) + "\n").encode()})
    except OSError:
        return
    say(f"These reasons also stand in {path}")


def cluster_of(
    address: str | None, tls: tuple[Path, Path, Path] | None, jobs: int | None
) -> Cluster | None:
    """The cluster that the options mean, None for reading here.

    Raises :class:`UsageError` where they contradict each other.
    """
    if address is None:
        if tls:
            raise UsageError("--scheduler-tls needs --scheduler ADDRESS")
        return None
    if not address.strip():
        raise UsageError("--scheduler needs an address", remedy="e.g. tls://10.0.0.5:8786")
    if jobs is not None:
        raise UsageError(
            "--jobs reads on this machine, --scheduler on a cluster", remedy="leave one out"
        )
    if tls and "://" in address and not address.startswith("tls://"):
        raise UsageError("with --scheduler-tls the address begins with tls://", where=address)
    from sheet_reader.reading.cluster import Cluster

    if _in_the_clear(address, tls):
        say(
            "note: photos travel unencrypted to this scheduler, and whoever reaches it can run "
            "programs on its workers and here; --scheduler-tls closes that.",
            err=True,
        )
    return Cluster(address, tls)


def _in_the_clear(address: str, tls: object) -> bool:
    """Whether photos would leave this machine readable."""
    protocol, _, place = address.rpartition("://")
    if tls or protocol not in ("", "tcp"):
        return False
    host = place.rpartition(":")[0].strip("[]") or place
    try:
        return not ip_address(host).is_loopback
    except ValueError:
        return host != "localhost"
