"""Every layout that was printed or read with, kept as the text of its study file.

A layout's geometry and template are made again from that text, so that sheets printed from it are
read whatever study.toml says now. The texts lie in ``layouts`` in the study's folder, part of every
backup, under the layout version and a digest of the text: one that was edited there is noticed, and
left alone. The site list is always that of today; what sites were called on the sheets printed for
them stands there in a list of its own.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import sheet_reader
from sheet_reader.atomic import atomic_write
from sheet_reader.errors import SheetReaderError
from sheet_reader.sheet.identity import LETTERS
from sheet_reader.study.reader import MOST_BYTES, STUDY_FILE, parse_study
from sheet_reader.study.study import Study

if TYPE_CHECKING:  # what draws sheets is loaded when a layout is looked at, not for labels
    from sheet_reader.sheet.book import LayoutBook

FOLDER = "layouts"
LABELS_FILE = "site_labels.csv"
LAYOUT_NAME = re.compile(rf"([{LETTERS}]{{4}})-([0-9a-f]{{16}})\.toml\Z")
"""Layout version and digest of the text."""


@dataclass(frozen=True, slots=True)
class KeptLayouts:
    """The former states of a study, newest last, and what is wrong with texts that were kept."""

    studies: tuple[Study, ...] = ()
    problems: tuple[str, ...] = ()


def whole_book(study: Study) -> LayoutBook:
    """The pages of a study in its present layout and in every one that was kept.

    Raises StudyError where the study does not fit its paper now.
    """
    from sheet_reader.sheet.book import LayoutBook

    return LayoutBook(study, kept_layouts(study).studies)


def layout_files(folder: Path) -> list[Path]:
    """The texts kept of a study's layouts."""
    return sorted(p for p in (folder / FOLDER).glob("*.toml") if LAYOUT_NAME.match(p.name))


def kept_files(folder: Path) -> list[Path]:
    """All that is kept of what was printed."""
    labels = folder / FOLDER / LABELS_FILE
    return [*layout_files(folder), *([labels] if labels.is_file() else [])]


def is_a_sample(folder: Path) -> bool:
    """Whether ``folder`` is a sample of the package or the repository: nothing is kept there."""
    package = Path(sheet_reader.__file__).parent
    return bool({package, package.parent / "samples"} & set(folder.resolve().parents))


def keep_layout(study: Study) -> None:
    """Keep the text of the study file under its present layout version, in place of an earlier text
    with the same one. Does nothing where the folder can't be written, where the file says something
    else than ``study`` by now, and for the samples of package and repository.
    """
    from sheet_reader.sheet.layout import layout_version

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
    studies.sort(key=lambda found: found[:2])
    return KeptLayouts(tuple(former for _, _, former in studies), tuple(problems))


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
    from sheet_reader.sheet.layout import layout_version

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


def keep_labels(study: Study, sites: Iterable[str]) -> None:
    """Keep what ``sites`` are called on the sheets that are printed now, beside what they were
    called before; does nothing where the folder can't be written, and for samples.
    """
    known, printed = printed_labels(study.folder), set(sites)
    new = [
        site for site in study.sites
        if site.number in printed and site.label not in known.get(site.number, ())
    ]  # fmt: skip
    if not new or is_a_sample(study.folder):
        return
    for site in new:
        known.setdefault(site.number, []).append(site.label)
    text = io.StringIO()
    csv.writer(text).writerows((number, label) for number in known for label in known[number])
    target = study.folder / FOLDER / LABELS_FILE
    with contextlib.suppress(OSError):
        target.parent.mkdir(mode=0o700, exist_ok=True)
        atomic_write({target: text.getvalue().encode()})


def printed_labels(folder: Path) -> dict[str, list[str]]:
    """What each site was called on the sheets that were printed for it, by its number."""
    found: dict[str, list[str]] = {}
    with contextlib.suppress(OSError, ValueError, csv.Error):
        lines = (folder / FOLDER / LABELS_FILE).read_text("utf-8").splitlines()
        for number, label in csv.reader(lines):
            found.setdefault(number, []).append(label)
    return found
