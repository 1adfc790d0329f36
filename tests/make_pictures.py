"""Make the pictures of the README: ``python tests/make_pictures.py samples/pictures``.

sheet.png is a printed page, photo_overlay.jpg a simulated photograph with its boxes drawn, and
review.png a question as a terminal shows it (drawn by Chromium, which must be installed).
"""

import io
import shutil
import subprocess
import sys
import tempfile
from datetime import timedelta
from pathlib import Path

import cv2
import decided
import numpy as np
from PIL import Image
from rich.console import Console

from sheet_reader.answers.questions import FieldCard
from sheet_reader.reading.batch import read_batch
from sheet_reader.record.store.store import Record
from sheet_reader.review.overlay import write_overlays
from sheet_reader.review.queue import keyed_blind
from sheet_reader.review.session import Review
from sheet_reader.review.source import RecordQuestions
from sheet_reader.review.terminal import Terminal
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import Request, photo_of
from sheet_reader.simulate.values import random_visit
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[1] / "samples"
PHOTOS = 6
OVERLAY_PX = 1300
MOST_BYTES = 300_000


def sheet(book: LayoutBook, out: Path) -> None:
    """A page with its site printed."""
    page = book.layout(book.study.sites[0].number).pages[0]
    raster = Image.fromarray(book.template(page, 5.0))
    raster.quantize(16).save(out, optimize=True)


def photos(study: Study, book: LayoutBook) -> None:
    """A few typical photographs in the study's inbox."""
    inbox = study.folder / "inbox"
    inbox.mkdir(exist_ok=True)
    for number in range(PHOTOS):
        rng = np.random.default_rng([number, 77])
        day = study.season.first + timedelta(days=30 + 7 * number)
        visit = random_visit(study, rng, study.sites[number].number, day)
        photo = photo_of(book, ProceduralHands(), "typical", 70 + number, Request(visit, 1, False))
        (inbox / f"IMG_{2040 + number}.jpg").write_bytes(photo.data)


def overlay(record: Record, out: Path) -> None:
    """The photograph with about three questions, smaller."""
    waiting = [reading.photo_id for reading in decided.pending(record)]
    chosen = min(sorted(set(waiting)), key=lambda photo: abs(waiting.count(photo) - 3))
    with tempfile.TemporaryDirectory() as folder:
        (drawn,) = write_overlays(record, chosen, Path(folder))
        picture = cv2.imread(str(drawn))
    assert picture is not None
    scale = OVERLAY_PX / max(picture.shape[:2])
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(out), small, [cv2.IMWRITE_JPEG_QUALITY, 82])


def review(record: Record, out: Path) -> None:
    """The most doubtful count that is not typed blind, as the terminal shows it."""
    study = record.study
    source = RecordQuestions(record)
    questions = [
        card
        for card in source.cards()
        if isinstance(card, FieldCard) and card.spec.kind.name == "count" and card.reading.value
    ]
    shown = [q for q in questions if not keyed_blind(q, study)]
    first = min(shown, key=lambda q: q.reading.confidence).reading
    rest = [waiting for waiting in decided.pending(record) if waiting != first]
    screen = Console(
        file=io.StringIO(), width=80, record=True, force_terminal=True, color_system="truecolor",
        markup=False, highlight=False,
    )  # fmt: skip

    def stop() -> str:
        raise EOFError

    source, today = RecordQuestions(record, [first, *rest]), study.season.last
    folder = Path(tempfile.gettempdir())
    Review(Terminal(source, screen, stop, lambda _path: 1, today, "blocks", folder), "Kim").run()
    rendered(screen.export_svg(title="sheet-reader review"), out)


def rendered(svg: str, out: Path) -> None:
    """The SVG as a PNG without its empty border."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    if browser is None:
        sys.exit("Chromium is not installed; it draws review.png")
    with tempfile.TemporaryDirectory() as folder:
        source, shot = Path(folder, "screen.svg"), Path(folder, "shot.png")
        source.write_text(svg, encoding="utf-8")
        command = [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
            "--window-size=1000,1000", f"--screenshot={shot}", str(source),
        ]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        picture = Image.open(shot).convert("RGB")
    ink = np.any(np.asarray(picture) < 250, axis=2)
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    box = (columns[0], rows[0], columns[-1] + 1, rows[-1] + 1)
    picture.crop(tuple(int(edge) for edge in box)).quantize(64).save(out, optimize=True)


def main() -> None:
    """Make all three."""
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(SAMPLES / "bean_tips", Path(folder, "beans"))
        study = read_study(Path(folder, "beans"))
        book = LayoutBook(study)
        sheet(book, out / "sheet.png")
        photos(study, book)
        print(read_batch(study, jobs=0, today=study.season.last))
        with Record.open(study) as record:
            overlay(record, out / "photo_overlay.jpg")
            review(record, out / "review.png")
    for path in sorted(out.iterdir()):
        print(path, path.stat().st_size)
        assert path.stat().st_size < MOST_BYTES


if __name__ == "__main__":
    main()
