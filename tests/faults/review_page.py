"""Measure the page of the review in Chromium: keys, time, and answers under faults.

``python tests/faults/review_page.py`` answers 200 waiting fields by keys alone, reading the truth
off the drawn sheets, every sixteenth reading wrong (a minute or two); ``--faults 50`` closes the
tab, kills the server or cuts the network at so many random moments, and looks at what is kept.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))

import waiting_record
from browser import NAMES
from sqlalchemy import select

from sheet_reader.record.store import schema
from sheet_reader.record.store.store import Record
from sheet_reader.study.reader import read_study

HELPERS = Path(__file__).resolve().parents[1] / "helpers"
READY = "html.takes:not(.busy)"
KEY_S, THINK_S = 0.28, 1.35
"""Keystroke-level model: a key of an average typist, a mental act (Card, Moran & Newell 1980)."""


@dataclass
class Measured:
    """Keys of each right and wrong reading, and the page's own time for each answer in ms."""

    right: list[int] = field(default_factory=list)
    wrong: list[int] = field(default_factory=list)
    own_ms: list[float] = field(default_factory=list)
    values: int = 0

    @property
    def minutes(self) -> float:
        """How long a person takes by the keystroke-level model."""
        keys = [*self.right, *self.wrong]
        return (len(keys) * THINK_S + sum(keys) * KEY_S) / 60


@contextmanager
def chromium_of(playwright: Any) -> Iterator[Any]:
    """Debian's Chromium."""
    import shutil

    program = next(found for name in NAMES if (found := shutil.which(name)))
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    browser = playwright.chromium.launch(executable_path=program, args=arguments)
    yield browser
    browser.close()


@dataclass
class Server:
    """The page's server as a process of its own."""

    folder: Path
    process: subprocess.Popen[str] | None = None
    address: Path = Path()

    def start(self) -> None:
        """Start it and wait for the file that opens it."""
        self.process = subprocess.Popen(
            [sys.executable, str(HELPERS / "page_server.py"), str(self.folder), "Kim"],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        self.address = Path(self.process.stdout.readline().strip())

    def end(self, how: int = signal.SIGINT) -> None:
        """End it, or kill it."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(how)
            self.process.wait(30)


def filled(folder: Path, sheets: int, each: int) -> dict[tuple[int, str], str]:
    """A record in which fields wait, every sixteenth read wrong; gives the truth."""
    wrong = dict.fromkeys(range(7, sheets * each, 16), "33")
    with Record.open(waiting_record.bean_study(folder)) as record:
        return waiting_record.fill(record, sheets, each, wrong=wrong)


def shown(tab: Any) -> tuple[int, str, str]:
    """Photo, field and reading of the card that is shown."""
    place = tab.inner_text(".place")
    photo = int(place.rpartition("photo-")[2])
    return photo, tab.inner_text("h2 small").strip(), tab.inner_text("#read b:first-of-type")


def answer(tab: Any, truth: dict[tuple[int, str], str]) -> tuple[str, int]:
    """Answer the card by keys; gives "right" or "wrong", and the number of keys."""
    photo, name, read = shown(tab)
    value = truth[photo, name]
    keys = ["Enter"] if value == read else [*value, "Enter"]
    for key in keys:
        tab.keyboard.press(key)
    return ("right" if value == read else "wrong"), len(keys)


def measure(browser: Any, server: Server, truth: dict[tuple[int, str], str]) -> Measured:
    """Answer everything."""
    found = Measured()
    server.start()
    tab = browser.new_page(viewport={"width": 1280, "height": 800})
    tab.goto(server.address.as_uri())
    for _ in range(len(truth)):
        tab.wait_for_selector(READY)
        kind, keys = answer(tab, truth)
        getattr(found, kind).append(keys)
    tab.get_by_text("Nothing waits for you").wait_for()
    measures = "performance.getEntriesByName('answer').map((entry) => entry.duration)"
    found.own_ms = tab.evaluate(measures)
    tab.close()
    server.end()
    return found


def faults(browser: Any, server: Server, truth: dict[tuple[int, str], str], count: int) -> Counter:
    """Close the tab, kill the server or cut the network at random moments while answering."""
    rng, done = random.Random(5), Counter[str]()
    server.start()
    tab = _open(browser, server)
    for number in range(count):
        for _ in range(rng.randint(0, 2)):
            tab.wait_for_selector(READY)
            answer(tab, truth)
        tab.wait_for_selector(READY)
        answer(tab, truth)
        tab.wait_for_timeout(rng.choice((0, 0, 2, 5, 10, 20, 40)))
        kind = ("tab", "server", "network")[number % 3]
        done[kind] += 1
        if kind == "network":
            tab.context.set_offline(True)
            tab.wait_for_timeout(rng.choice((1, 50, 400)))
            if rng.random() < 0.5 and tab.locator(READY).count():
                answer(tab, truth)
            tab.context.set_offline(False)
            continue
        if kind == "server":
            server.end(signal.SIGKILL)
            server.start()
        tab.close()
        tab = _open(browser, server)
    while not tab.get_by_text("Nothing waits for you").count():
        tab.wait_for_selector(READY)
        if tab.locator("#read").count():
            answer(tab, truth)
    tab.close()
    server.end()
    return done


def _open(browser: Any, server: Server) -> Any:
    tab = browser.new_context().new_page()
    tab.goto(server.address.as_uri())
    tab.wait_for_selector(READY)
    return tab


def amiss(folder: Path, truth: dict[tuple[int, str], str]) -> list[str]:
    """What is not kept, kept wrongly, or kept twice."""
    d, s = schema.decisions.c, schema.page_instances.c
    with Record.open(read_study(folder)) as record, record.reading() as connection:
        query = select(s.photo_id, d.field, d.value).join_from(
            schema.decisions, schema.page_instances, s.id == d.page_instance_id
        )
        rows = [tuple(row) for row in connection.execute(query)]
    kept = Counter((photo, name) for photo, name, _ in rows)
    found = [f"kept {n} times: {place}" for place, n in kept.items() if n != 1]
    found += [f"lost: {place}" for place in truth if place not in kept]
    return found + [f"wrong: {row}" for row in rows if truth[row[0], row[1]] != row[2]]


def main(sheets: int, each: int, fault_count: int) -> int:
    """Measure and print; 1 where an answer was lost, doubled or kept wrongly."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "beans"
        truth, server = filled(folder, sheets, each), Server(folder)
        with chromium_of(playwright) as browser:
            if fault_count:
                done = faults(browser, server, truth, fault_count)
                print("faults:", ", ".join(f"{kind} {n}" for kind, n in done.items()))
            else:
                tell(measure(browser, server, truth))
        wrong = amiss(folder, truth)
        print(f"{len(truth)} answers wanted; amiss: {wrong or 'nothing'}")
        return 1 if wrong else 0


def tell(found: Measured) -> None:
    """The figures, one a line."""
    own = np.percentile(found.own_ms, (50, 95, 100))
    print(f"answers: {len(found.right)} right, {len(found.wrong)} wrong readings")
    print(f"keys for each right reading: {np.mean(found.right):.2f}")
    print(f"keys for each wrong reading: {np.mean(found.wrong or [0]):.2f}")
    print(f"by the keystroke-level model: {found.minutes:.1f} minutes")
    print(f"own time for an answer: median {own[0]:.0f} ms, 95 % {own[1]:.0f}, most {own[2]:.0f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sheets", type=int, default=40)
    parser.add_argument("--each", type=int, default=5)
    parser.add_argument("--faults", type=int, default=0)
    options = parser.parse_args()
    sys.exit(main(options.sheets, options.each, options.faults))
