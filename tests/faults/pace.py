"""How fast photos are read by one process, by two and on a Dask cluster, and how much memory one
worker takes.

    python tests/faults/pace.py --photos 40 --rounds 2
    python tests/faults/pace.py --memory

Photos are simulated (typical ones of mixed phone sizes; of 12 megapixels for the memory). Starts do
not count: the clock runs from the photo after the first two of each worker. The ways take turns,
since a shared machine is now faster and now slower; beside the clock stands the time of processors
for a photo, of the workers and of the writer, which depends less on what else the machine does.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

SAMPLES = Path(__file__).parents[2] / "samples"
TWELVE = 12_000_000
DAY = date(2026, 9, 30)


def make_photos(folder: Path, count: int, pixels: int) -> None:
    """Write so many different photographs; with ``pixels`` each is scaled to so many."""
    import cv2
    import numpy as np

    from sheet_reader.sheet.book import LayoutBook
    from sheet_reader.simulate.sources import ProceduralHands
    from sheet_reader.simulate.study_photos import photo_of
    from sheet_reader.study.reader import read_study

    folder.mkdir(parents=True, exist_ok=True)
    book, hands = LayoutBook(read_study(SAMPLES / "bean_tips")), ProceduralHands()
    for number in range(count):
        path = folder / f"p{number:03}.jpg"
        if path.exists():
            continue
        data = photo_of(book, hands, "typical", number).data
        if pixels:
            seen = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
            assert seen is not None
            scale = (pixels / (seen.shape[0] * seen.shape[1])) ** 0.5
            larger = cv2.resize(seen, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
            data = cv2.imencode(".jpg", larger, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()
        path.write_bytes(data)


def in_a_process(*arguments: object) -> str:
    """Run this program with ``arguments`` in a process of its own; gives what it prints."""
    program = [sys.executable, __file__, *map(str, arguments)]
    return subprocess.run(program, check=True, capture_output=True, text=True).stdout


def memory_of_a_worker(photos: Path) -> str:
    """Read the photos as a worker does; peak of this process's memory in MB, from its start on and
    after the photos.
    """
    from sheet_reader.reading import worker
    from sheet_reader.reading.worker import Work
    from sheet_reader.study.reader import read_study
    from sheet_reader.threads import one_thread_from_the_start

    one_thread_from_the_start()
    given = worker.packed(Work(read_study(SAMPLES / "bean_tips"), DAY))
    peaks = [peak_mb()]
    read = 0
    for path in sorted(photos.glob("*.jpg")):
        read += worker.read_parcelled(given, path.read_bytes(), path.name).status == "read"
        peaks.append(peak_mb())
    return (
        f"{len(peaks) - 1} photos, {read} read: peak {peaks[0]:.0f} MB before, "
        f"{peaks[1]:.0f} MB after the first, {peaks[-1]:.0f} MB after the last"
    )


def peak_mb() -> float:
    """The most memory that this process has had (Linux: ru_maxrss in KiB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@dataclass(frozen=True)
class Pace:
    """Photos per second on the clock; seconds of processors for a photo, of the workers together
    (their start included) and of this process.
    """

    rate: float
    workers_s: float
    writer_s: float


def pace(photos: Path, jobs: int, cluster: Any = None, crew: Any = None) -> Pace:
    """Read all photos into a new record."""
    from sheet_reader.reading.batch import read_batch
    from sheet_reader.study.reader import read_study

    done: list[float] = []
    with tempfile.TemporaryDirectory(prefix="pace") as place:
        shutil.copytree(SAMPLES / "bean_tips", Path(place) / "beans")
        study = read_study(Path(place) / "beans")
        paths = sorted(photos.glob("*.jpg"))
        own, others = time.process_time(), used_by_workers(crew)
        read_batch(
            study, paths, today=DAY, jobs=jobs, cluster=cluster,
            on_progress=lambda *_: done.append(time.monotonic()),
        )  # fmt: skip
        own, others = time.process_time() - own, used_by_workers(crew) - others
    left = 2 * jobs
    done = done[: len(paths)]
    rate = (len(paths) - left) / (done[-1] - done[left - 1])
    return Pace(rate, others / len(paths), own / len(paths))


def used_by_workers(crew: Any) -> float:
    """Seconds of processors that ended child processes, or the workers of a cluster, have used."""
    if crew is None:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime
    return sum(crew.run(time.process_time).values())


def compare(photos: Path, rounds: int) -> None:
    """Let the ways take turns, and print them."""
    import dask_cluster

    from sheet_reader.reading.cluster import Cluster, connected

    found: dict[str, list[Pace]] = {}
    with tempfile.TemporaryDirectory(prefix="pace") as place, \
            dask_cluster.running(Path(place)) as running:  # fmt: skip
        cluster = Cluster(running.address, running.tls)
        with connected(cluster) as crew:
            crew.wait_for_workers(2)
            pace(photos, 2, cluster, crew)  # workers load the program once
            for _ in range(rounds):
                for name, jobs in (("1 process", 1), ("2 processes", 2)):
                    found.setdefault(name, []).append(pace(photos, jobs))
                found.setdefault("Dask, 2 workers", []).append(pace(photos, 2, cluster, crew))
    print(f"{'':<18}{'photos/s':>9}{'CPU s a photo':>15}{'writer CPU s':>14}")
    for name, some in found.items():
        rate, workers, writer = (
            statistics.median(values)
            for values in zip(*((p.rate, p.workers_s, p.writer_s) for p in some), strict=True)
        )
        print(f"{name:<18}{rate:9.2f}{workers:15.3f}{writer:14.4f}")
    one, two, dask = ([p.rate for p in some] for some in found.values())
    print(f"two processes ÷ one: {ratios(two, one)}; Dask ÷ two processes: {ratios(dask, two)}")


def ratios(some: list[float], others: list[float]) -> str:
    """The ratio in each round."""
    return ", ".join(f"{a / b:.2f}" for a, b in zip(some, others, strict=True))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--keep", type=Path, help="where the photos stay")
    parser.add_argument("--make", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--worker", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.worker:
        print(memory_of_a_worker(given.worker))
        return 0
    if given.make is not None:
        make_photos(given.keep, given.photos, given.make)
        return 0
    with tempfile.TemporaryDirectory(prefix="pace") as place:
        pixels = TWELVE if given.memory else 0
        folder = (given.keep or Path(place)) / ("large" if given.memory else "mixed")
        count = 20 if given.memory else given.photos
        in_a_process("--make", pixels, "--keep", folder, "--photos", count)
        if given.memory:
            print(in_a_process("--worker", folder), end="")
        else:
            compare(folder, given.rounds)
    return 0


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(main())
