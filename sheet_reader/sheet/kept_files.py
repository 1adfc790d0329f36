"""The files of what was printed, in ``layouts`` in a study's folder: texts of study files (read by
``kept_layouts``), and what sites were called on the sheets printed for them.
"""

from __future__ import annotations

import contextlib
import csv
import io
import re
from collections.abc import Iterable
from pathlib import Path

import sheet_reader
from sheet_reader.atomic import atomic_write
from sheet_reader.sheet.codes import LETTERS
from sheet_reader.study.model import Study

FOLDER = "layouts"
LABELS_FILE = "site_labels.csv"
LAYOUT_NAME = re.compile(rf"([{LETTERS}]{{4}})-([0-9a-f]{{16}})\.toml\Z")
"""Layout version and digest of the text."""


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
