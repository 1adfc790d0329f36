"""Measures the memory of a long batch: the peak must not grow with the number of photos.

    python tests/faults/memory.py --photos 500

Writes that many different photographs of one sheet, reads them with the whole program and samples
the memory of the program and of its worker process all the while (Linux: proportional set size).
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.look import Reader
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import photo_of
from sheet_reader.study.reader import read_study

SAMPLES = Path(__file__).parents[2] / "samples"
DIFFERENT = 20
MEGABYTE = 1024.0


@dataclass(frozen=True)
class Measured:
    """``sizes_mb``: peak during each photo, of the program and its worker together."""

    sizes_mb: list[float]
    seconds: float

    def peaks(self, part: int) -> tuple[float, float]:
        """Peak of the first and of the last ``part`` photos, in MB."""
        return max(self.sizes_mb[:part]), max(self.sizes_mb[-part:])


class Sampler:
    """Watches the memory from a thread; ``take`` gives the peak since it was last taken."""

    def __init__(self) -> None:
        self.peak = 0.0
        self.done = threading.Event()
        self.thread = threading.Thread(target=self._watch, daemon=True)
        self.thread.start()

    def _watch(self) -> None:
        while not self.done.wait(0.02):
            self.peak = max(self.peak, memory_mb())

    def take(self) -> float:
        peak, self.peak = max(self.peak, memory_mb()), 0.0
        return peak

    def stop(self) -> None:
        self.done.set()
        self.thread.join()


def memory_mb() -> float:
    """Memory of this process and its children, each shared page counted once."""
    own = Path("/proc/self")
    children = [c for task in (own / "task").iterdir() for c in _children(task)]
    return sum(_size(Path("/proc") / pid) for pid in ["self", *children]) / MEGABYTE


def _children(task: Path) -> list[str]:
    return (task / "children").read_text().split()


def _size(process: Path) -> float:
    try:
        rollup = (process / "smaps_rollup").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    return next(float(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:"))


def find_nothing(*_: object) -> list[object]:
    """A reader that looks at no picture: what is left is opening, passing on and keeping."""
    return []


def measure(
    photos: int, folder: Path, reader: Reader | None = None, different: int = DIFFERENT
) -> Measured:
    """Read ``photos`` photographs, made from a few by bytes that a JPEG reader skips."""
    shutil.copytree(SAMPLES / "bean_tips", folder / "study")
    study = read_study(folder / "study")
    book = LayoutBook(study)
    hands = ProceduralHands()
    made = [photo_of(book, hands, "typical", n).data for n in range(min(different, photos))]
    inbox = folder / "study" / "inbox"
    inbox.mkdir()
    for number in range(photos):
        data = made[number % len(made)] + number.to_bytes(4, "big")
        (inbox / f"p{number}.jpg").write_bytes(data)
    sizes: list[float] = []
    began = time.monotonic()
    sampler = Sampler()
    read_batch(study, reader=reader, jobs=1, on_progress=lambda *_: sizes.append(sampler.take()))
    sampler.stop()
    return Measured(sizes, time.monotonic() - began)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Measure the memory of a long batch.")
    parser.add_argument("--photos", type=int, default=500)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="memory") as folder:
        measured = measure(options.photos, Path(folder))
    first, last = measured.peaks(max(1, options.photos // 5))
    print(
        f"{options.photos} photos in {measured.seconds:.0f} s: peak of the first fifth "
        f"{first:.0f} MB, of the last {last:.0f} MB, ratio {last / first:.3f} (at most 1.1)"
    )
    return 0 if last <= 1.1 * first else 1


if __name__ == "__main__":
    sys.exit(main())
