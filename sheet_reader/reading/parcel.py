"""What a worker on another machine needs to read photos, as bytes, and what it does with them.

Nothing in it names a file of this machine or a person: the study travels without its folder and
without the contacts of its sites, a photo as its bytes under the name of their hash.
"""

from __future__ import annotations

import faulthandler
import pickle
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from threading import Lock

from sheet_reader import __version__
from sheet_reader.reading.photo import default_reader, read_bytes
from sheet_reader.reading.reader import Reader
from sheet_reader.reading.site_history import SiteHistory
from sheet_reader.reading.versions import decoder_version, model_version
from sheet_reader.reading.worker import GRACE_SECONDS, Work, stumbled
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import kept_layouts
from sheet_reader.study.model import Study

_ONE_AT_A_TIME = Lock()
"""The time limit belongs to the whole process, and a process reads one photo at a time anyway."""


class OtherProgramError(Exception):
    """A worker runs another version of the program, or with other data: it would read otherwise."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """The same for every photo of a batch. ``former`` are the studies of kept layouts; ``reader``
    None means the package's.
    """

    study: Study
    former: tuple[Study, ...]
    today: date
    reader: Reader | None
    history: SiteHistory | None
    seconds_per_picture: float


def versions() -> tuple[str, ...]:
    """All that decides what is read in a photo: program, network, rules."""
    return __version__, model_version(), decoder_version()


def packed(work: Work) -> bytes:
    """``work`` as a parcel that can travel, with the sender's :func:`versions` on it."""
    former = kept_layouts(work.study).studies
    parcel = Parcel(
        _of_nobody(work.study),
        tuple(_of_nobody(study) for study in former),
        work.today,
        work.reader,
        work.history,
        work.seconds_per_picture,
    )
    return pickle.dumps((versions(), pickle.dumps(parcel)))


def _of_nobody(study: Study) -> Study:
    sites = tuple(replace(site, contact="") for site in study.sites)
    return replace(study, sites=sites, folder=Path())


@lru_cache(maxsize=1)
def _opened(parcel: bytes) -> tuple[Parcel, LayoutBook, Reader]:
    """The parcel with what is made from it once for all photos.

    Raises :class:`OtherProgramError`.
    """
    theirs, inner = pickle.loads(parcel)
    if theirs != (own := versions()):
        raise OtherProgramError(f"{' '.join(own)} there, {' '.join(theirs)} here")
    found: Parcel = pickle.loads(inner)
    book = LayoutBook(found.study, found.former)
    return found, book, found.reader or default_reader()


def read_parcelled(parcel: bytes, data: bytes, name: str) -> PhotoResult:
    """What a worker does: read the photo ``data``. A picture that takes too long ends the process,
    since nothing else stops native code; the scheduler then gives the photo to another.

    Raises :class:`OtherProgramError`.
    """
    with _ONE_AT_A_TIME:
        work, book, reader = _opened(parcel)
        next_picture = _watched(work.seconds_per_picture + GRACE_SECONDS)
        try:
            return read_bytes(
                data,
                name,
                work.study,
                book,
                work.today,
                reader,
                history=work.history,
                on_frame=next_picture,
            )
        except Exception as error:  # the batch goes on, whatever one photo does to the reader
            return stumbled(error)
        finally:
            faulthandler.cancel_dump_traceback_later()


def _watched(seconds: float) -> Callable[[], None]:
    """Start the time limit; to be called after each picture, for the next one."""

    def start() -> None:
        faulthandler.dump_traceback_later(seconds, exit=True)

    start()
    return start
