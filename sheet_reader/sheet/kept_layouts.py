"""Every layout that was printed or read with, kept as the text of its study file.

A layout's geometry and template are made again from that text, so that sheets printed from it are
read whatever study.toml says now. The texts lie in ``layouts`` in the study's folder, part of every
backup, under the layout version and a digest of the text: one that was edited there is noticed, and
left alone. The site list is always that of today; what sites were called on the sheets printed for
them stands in a list of its own (``kept_files``).
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from sheet_reader.atomic import atomic_write
from sheet_reader.errors import SheetReaderError
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_files import FOLDER, LAYOUT_NAME, is_a_sample, layout_files
from sheet_reader.sheet.layout import layout_version
from sheet_reader.study.model import Study
from sheet_reader.study.reader import MOST_BYTES, STUDY_FILE, parse_study


@dataclass(frozen=True, slots=True)
class KeptLayouts:
    """The former states of a study, newest last, and what is wrong with texts that were kept."""

    studies: tuple[Study, ...] = ()
    problems: tuple[str, ...] = ()


def whole_book(study: Study) -> LayoutBook:
    """The pages of a study in its present layout and in every one that was kept.

    Raises StudyError where the study does not fit its paper now.
    """
    return LayoutBook(study, kept_layouts(study).studies)


def keep_layout(study: Study) -> None:
    """Keep the text of the study file under its present layout version, in place of an earlier text
    with the same one. Does nothing where the folder can't be written, where the file says something
    else than ``study`` by now, and for the samples of package and repository.
    """
    if is_a_sample(study.folder):
        return
    with contextlib.suppress(OSError, SheetReaderError):
        data = (study.folder / STUDY_FILE).read_bytes()
        version = layout_version(study)
        said = parse_study(data, study.folder, study.sites)
        if len(data) > MOST_BYTES or layout_version(said) != version:
            return
        target = study.folder / FOLDER / f"{version}-{_digest(data)}.toml"
        if not target.exists() or target.read_bytes() != data:
            atomic_write({target: data})
        for other in target.parent.glob(f"{version}-*.toml"):
            if other != target and _is_sound(other):
                other.unlink()


def kept_layouts(study: Study) -> KeptLayouts:
    """What was kept of the study's layouts, with the site list of ``study``."""
    studies: list[tuple[float, str, Study]] = []
    problems: list[str] = []
    for path in layout_files(study.folder):
        try:
            data = path.read_bytes()
            former = _former(path, data, study)
        except (OSError, SheetReaderError, ValueError) as error:
            problems.append(
                f"{FOLDER}/{path.name} {_why(error)}, so sheets of that layout can't be read: "
                "put it back from a backup"
            )
        else:
            if former is not None:
                studies.append((path.stat().st_mtime, path.name, former))
    return KeptLayouts(tuple(found[-1] for found in sorted(studies, key=_age)), tuple(problems))


def _age(found: tuple[float, str, Study]) -> tuple[float, str]:
    return found[:2]


def _why(error: Exception) -> str:
    if isinstance(error, OSError):
        return f"can't be read ({error.strerror or error})"
    if isinstance(error, SheetReaderError):
        return "is no study file that this version understands"
    return str(error)


def _former(path: Path, data: bytes, study: Study) -> Study | None:
    """The study as the text says, with the sites of today that its boxes hold; None for a study
    with another key, which has no sheets here.
    """
    if not _is_sound(path):
        raise ValueError("was changed since it was kept")
    former = parse_study(data, study.folder, study.sites)
    if former.key != study.key:
        return None
    sites = tuple(s for s in study.sites if len(s.number) <= former.site_field.boxes)
    former = replace(former, sites=sites)
    if path.name[:4] != layout_version(former):
        raise ValueError("gives another layout in this version of the program")
    return former


def _is_sound(path: Path) -> bool:
    """Whether the text is the one that its name tells."""
    named = LAYOUT_NAME.match(path.name)
    return named is not None and _digest(path.read_bytes()) == named[2]


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def problems_of(study: Study) -> Iterator[str]:
    """What is wrong with the kept layouts, one line each."""
    yield from kept_layouts(study).problems
