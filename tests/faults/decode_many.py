"""How long it takes to decode thousands of known sheets anew after a change of the site list.

    python tests/faults/decode_many.py --sheets 2000 --jobs 2

The sheets are made up: boxes with the probabilities of a reader that is mostly sure. What is timed
is the read itself, from opening the record to the last line, after a site left the list. Beside
the time on the clock stands that of the processors, which depends less on what else the machine
does.
"""

from __future__ import annotations

import argparse
import hashlib
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from sheet_reader.decode.pages import LEAST, PageEvidence, packed
from sheet_reader.decode.sheet import decode_page
from sheet_reader.demo.samples import copy_sample
from sheet_reader.digits.classes import CLASSES, EMPTY
from sheet_reader.intake.files import Origin
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.opening import open_record
from sheet_reader.reading.rules import DecodingRules
from sheet_reader.reading.site_history import history_of
from sheet_reader.reasons import Occlusion
from sheet_reader.record.history import photos
from sheet_reader.record.history.found import FoundField, FoundPage, PhotoResult
from sheet_reader.record.history.runs import kept_pages, note_under
from sheet_reader.record.originals import originals
from sheet_reader.record.store import claims
from sheet_reader.record.store.claims import Task
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.sheet.kept_layouts import whole_book
from sheet_reader.sheet.page import BLANK, Page
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.former import as_text, wording_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import damm
from sheet_reader.study.study import Site, Study
from sheet_reader.vision.findings import BoxEvidence

DOUBTFUL = 0.03
"""So many boxes are doubtful between two digits."""
AT_A_TIME = 200


def states(page: Page, values: dict[str, str]) -> Iterator[str]:
    """What stands in each box: numbers to the right, a date by day, month and year."""
    for cell in page.cells:
        text, count = values.get(cell.field, ""), sum(c.field == cell.field for c in page.cells)
        if cell.part:
            text = text[8:10] + text[5:7] + text[2:4]
        sign = text.rjust(count)[cell.index]
        yield EMPTY if sign == " " else sign


def evidence(page: Page, values: dict[str, str], rng: np.random.Generator) -> PageEvidence:
    """A page as a mostly sure reader sees it."""
    rows = []
    for state in states(page, values):
        noise = rng.dirichlet(np.full(len(CLASSES), 0.05)) * 10.0 ** rng.uniform(-5, -2)
        row = noise + (1 - noise.sum()) * np.eye(len(CLASSES))[CLASSES.index(state)]
        if rng.random() < DOUBTFUL:
            row = 0.6 * row + 0.4 * np.eye(len(CLASSES))[int(rng.integers(10))]
        rows.append(row)
    logs = np.log(np.maximum(rows, LEAST)).astype(np.float32)
    boxes = tuple(BoxEvidence(c, 0.1, Occlusion.NONE, 0.2, 0.9, 0.2) for c in page.cells)
    return PageEvidence(page.code, boxes, logs, "", date(2026, 9, 30))


def fill(study: Study, sheets: int, seed: int) -> None:
    """A record of so many visits: every site of the list, week after week."""
    rng, page = np.random.default_rng(seed), LayoutBook(study).layout(BLANK).pages[0]
    with Record.open(study) as record:
        for start in range(0, sheets, AT_A_TIME):
            with record.writing() as connection:
                for number in range(start, min(start + AT_A_TIME, sheets)):
                    week, at = divmod(number, len(study.sites))
                    day = study.season.first + timedelta(days=7 * week)
                    visit = random_visit(study, rng, study.sites[at].number, day)
                    seen = evidence(page, dict(visit.values), rng)
                    read = decode_page(seen, study)
                    found = FoundPage(
                        0, study.key, page.code.layout, BLANK, 1, "machine code", 8.0, 0.1, 0.8, 0,
                        0.0, "", read.site, read.visit_date, ((0, 0), (9, 0), (9, 9), (0, 9)),
                        as_text(wording_of(study)),
                        tuple(FoundField(f, b"", b"") for f in read.fields), read.threshold,
                        packed(seen), "to be noted",
                    )  # fmt: skip
                    digest = hashlib.sha256(str(number).encode()).hexdigest()
                    place = originals.place_of(digest, ".png")
                    name = f"{number}.png"
                    origin = Origin("file", name)
                    photo, _ = photos.add_photo(connection, digest, name, place, 1, origin)
                    task, token = Task(photo, name, place, 0), claims.my_token()
                    claims.claim(connection, task, token)
                    found.finish(connection, task, token, PhotoResult((found,)), "made up", "")


def note_as_decoded(study: Study) -> None:
    """Let every sheet count as decoded under the study as it is and the history that there is."""
    with open_record(study) as record:
        rules = DecodingRules.of(study, history_of(record), whole_book(study))
        with record.writing() as connection:
            pages = kept_pages(connection, study.key)
            names = {p.page_instance_id: rules.name(p.layout, p.site, p.visit_date) for p in pages}
            note_under(connection, names)


def timed(study: Study, jobs: int) -> None:
    """Read, which decodes anew, and say how long it took."""
    began, worked = time.monotonic(), cpu_seconds()
    summary = read_batch(study, [], jobs=jobs)
    took, used = time.monotonic() - began, cpu_seconds() - worked
    print(
        f"{summary.decoded} sheets decoded anew with {jobs} jobs in {took:.1f} s on the clock, "
        f"{used:.1f} s of processors",
        flush=True,
    )
    print("\n".join(summary.lines[:3]), flush=True)


def cpu_seconds() -> float:
    """What this process and the ended ones it started have used."""
    return sum(
        used.ru_utime + used.ru_stime
        for used in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sheets", type=int, default=2000)
    parser.add_argument("--sites", type=int, default=120)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="decode") as folder:
        place = Path(folder) / "beans"
        copy_sample("bean_tips", place)
        stems = (f"{stem:03}" for stem in range(101, 101 + given.sites))
        sites = tuple(Site(stem + damm(stem), "", "") for stem in stems)
        study = replace(read_study(place), sites=sites)
        fill(study, given.sheets, given.seed)
        note_as_decoded(study)
        timed(replace(study, sites=study.sites[1:]), given.jobs)
    return 0


if __name__ == "__main__":
    sys.exit(main())
