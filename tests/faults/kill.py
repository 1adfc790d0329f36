"""Kills the program with SIGKILL at random moments and counts what is lost: nothing may be.

    python tests/faults/kill.py --kills 200 --seed 1

Each kill hits a process that is reading, reading after the study changed (so that known sheets are
decoded anew), reviewing (sums, photos, remarks), putting right, typing in, backing up or migrating.
After each one the record is verified, every answer that was told as given must be there whole and
once, no photo known before may be missing, a backup under its name must be whole, and the next run
must finish what was begun.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import fault_work
import stand_in
from fault_work import LATEST, extra_steps

from sheet_reader.reading.batch import read_batch
from sheet_reader.record.originals.restore import restore
from sheet_reader.record.originals.verify import verify
from sheet_reader.record.store.engine import open_engine, sqlite_url
from sheet_reader.record.store.migrations import migrate
from sheet_reader.record.store.store import Record

VERSION = "SELECT max(version) FROM schema_version"
COMMANDS = (
    "read", "read_apart", "read_changed", "review", "back_up", "migrate_on", "put_right", "type_in",
    "answer_cards",
)  # fmt: skip
WEIGHTS = (5, 1, 5, 3, 3, 3, 4, 4, 5)
PHOTOS_PER_ROUND = 6
ROUNDS_PER_STUDY = 12


@dataclass
class Result:
    """What the kills did. ``faults`` must be empty."""

    kills: Counter[str] = field(default_factory=Counter)
    answers: int = 0
    photos: int = 0
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def __str__(self) -> str:
        each = ", ".join(f"{name} {count}" for name, count in sorted(self.kills.items()))
        return (
            f"{self.kills.total()} kills ({each}) in {self.seconds:.0f} s: {self.photos} photos "
            f"and {self.answers} answers given, {len(self.faults)} faults"
        )


class Campaign:
    """Rounds of: new photos, a victim, a kill, checks, and an undisturbed run to finish."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.base = folder
        self.chance = random.Random(seed)
        self.context = multiprocessing.get_context("forkserver")
        self.context.set_forkserver_preload(["fault_work"])
        self.takes = dict.fromkeys(COMMANDS, 0.2) | {"read_apart": 2.5}
        self.result = Result()
        self.serial = 0
        self.rounds = 0
        self.new_study()

    def new_study(self) -> None:
        shutil.rmtree(self.base / "work", ignore_errors=True)
        (self.base / "work" / "ponds" / "inbox").mkdir(parents=True)
        self.folder = self.base / "work" / "ponds"
        self.study = stand_in.a_study(self.folder)
        self.given: list[tuple[int, str | None]] = []
        self.done: list[tuple[str, ...]] = []
        self.begun: Counter[frozenset[str]] = Counter()
        self.known: set[str] = set()

    def round(self) -> None:
        if self.rounds and self.rounds % ROUNDS_PER_STUDY == 0:
            self.new_study()
        self.rounds += 1
        command = self.chance.choices(COMMANDS, WEIGHTS)[0]
        self.new_photos()
        if command not in ("read", "read_apart"):
            read_batch(self.study, reader=stand_in.read_seen, jobs=0)
        if command == "migrate_on":
            fault_work.step_back(self.folder)
        killed = self.victim(command)
        self.check(command)
        self.finish(command)
        self.result.kills[command] += killed

    def new_photos(self) -> None:
        """Single sheets, three sheets in one photo, and scans of four pages."""
        for number in range(PHOTOS_PER_ROUND):
            self.serial += 1
            path = self.folder / "inbox" / f"p{self.serial}.png"
            sheets = [self.says(part) for part in range(3)]
            if number == 1:
                path.write_bytes(stand_in.photo(sheets, seed=self.serial))
            elif number == 4:
                named = f"% scan {self.serial}".encode()  # bytes of its own
                path.with_suffix(".pdf").write_bytes(stand_in.scan(4) + named)
            else:
                path.write_bytes(stand_in.photo(sheets[0], seed=self.serial))
        self.result.photos += PHOTOS_PER_ROUND

    def says(self, part: int) -> dict[str, Any]:
        day = f"2026-{(self.serial + part) % 5 + 4:02}-{self.serial % 28 + 1:02}"
        return stand_in.says(
            {"date": day}, flagged={"sun.eggs": "3", "shade.snails": "11", "helpers": None}
        )

    def victim(self, command: str) -> bool:
        """Run the command and kill it at a random moment; says whether it was still running."""
        ours, theirs = self.context.Pipe()
        process = self.context.Process(
            target=getattr(fault_work, command), args=(self.folder, theirs)
        )
        process.start()
        theirs.close()
        if not ours.poll(600) or ours.recv() != "ready":
            self.result.faults.append(f"{command} did not start")
        began = time.monotonic()
        process.join(self.chance.uniform(0, 1.1 * self.takes[command]))
        alive = process.is_alive()
        if alive and process.pid is not None:
            os.kill(process.pid, signal.SIGKILL)
        else:
            self.takes[command] = 0.7 * self.takes[command] + 0.3 * (time.monotonic() - began)
        process.join()
        if not alive and process.exitcode != 0:
            self.result.faults.append(f"{command} failed by itself")
        with contextlib.suppress(EOFError):
            while True:
                said = ours.recv()
                if said[0] == "begins":
                    self.begun[frozenset(said[1:])] += 1
                    continue
                if said[0] == "remark":  # one takes the place of the one before
                    self.done = [told for told in self.done if told[:2] != said[:2]]
                (self.done if isinstance(said[0], str) else self.given).append(said)
                self.result.answers += 1
        ours.close()
        return alive

    def check(self, command: str) -> None:
        """What must hold at once, before anything is repaired."""
        faults = []
        with contextlib.closing(sqlite3.connect(self.folder / "record.sqlite")) as raw:
            rows = (
                raw.execute("SELECT sha256 FROM photos").fetchall()
                if self._has(raw, "photos")
                else []
            )
            kept = raw.execute("SELECT reading_id, value FROM decisions").fetchall() if rows else []
            if rows:
                faults += [f"lost {said}" for said in self.done if said not in _put_right(raw)]
                faults += _halves(raw) + _answers(raw, self.begun)
            marked = self._has(raw, "schema_version")
            version = raw.execute(VERSION).fetchone()[0] if marked else None
            copied = raw.execute("SELECT 1 FROM sqlite_master WHERE name = 'copied'").fetchone()
        photos = {row[0] for row in rows}
        faults += [f"lost photo {digest}" for digest in self.known - photos]
        faults += [f"lost answer {answer}" for answer in self.given if answer not in kept]
        if (copied is not None) != (version in (LATEST + 1, LATEST + 2)):
            faults.append(f"a migration half done: version {version}, copy {copied}")
        faults += self.check_backup()
        self.known = photos
        self.result.faults += [f"after {command}: {fault}" for fault in faults]

    @staticmethod
    def _has(raw: sqlite3.Connection, table: str) -> bool:
        """Whether the table is there: a first run may die before it has made any."""
        query = "SELECT 1 FROM sqlite_master WHERE name = ?"
        return raw.execute(query, (table,)).fetchone() is not None

    def check_backup(self) -> list[str]:
        file = self.folder.parent / "backup.tar"
        if not file.exists():
            return []
        place = self.folder.parent / "restored"
        shutil.rmtree(place, ignore_errors=True)
        restore(file, place)
        return [f"backup: {p}" for p in verify(replace(self.study, folder=place)).problems]

    def finish(self, command: str) -> None:
        """The next run: everything begun is finished, and the record is sound."""
        engine = open_engine(sqlite_url(self.folder / "record.sqlite"))
        migrate(engine, extra_steps())
        engine.dispose()
        fault_work.step_back(self.folder)
        read_batch(self.study, reader=stand_in.read_seen, jobs=0)
        again = read_batch(self.study, reader=stand_in.read_seen, jobs=0).decoded
        faults = [f"the record is not sound: {p}" for p in verify(self.study).problems]
        faults += [f"{again} pages were left to be decoded"] if again else []
        faults += [f"left behind: {p.name}" for p in (self.folder / "originals").rglob(".new-*")]
        with Record.open(self.study) as record:
            states = record.summary().photos
            names = Counter(line.name for line in record.photos())
        inbox = {p.name for p in (self.folder / "inbox").iterdir()}
        if states != {"read": len(inbox)} or set(names) != inbox:
            faults.append(f"the batch was not finished: {states} of {len(inbox)}")
        self.result.faults += [f"next run after {command}: {fault}" for fault in faults]


def _put_right(raw: sqlite3.Connection) -> set[tuple[str, ...]]:
    """What was told as done: sheets set aside and back, values with reasons, sheets typed in."""
    reasons = raw.execute("SELECT DISTINCT reason FROM decisions WHERE reason IS NOT NULL")
    sheets = raw.execute("SELECT kind, reason FROM sheet_decisions")
    remarks = raw.execute("SELECT 'remark', CAST(page_instance_id AS TEXT), text FROM remarks")
    told = {("answered", *sorted(ids, key=int)) for ids in _groups(raw)}
    told |= {("decided", reason) for (reason,) in reasons}
    return told | {tuple(row) for row in sheets} | {tuple(row) for row in remarks}


def _groups(raw: sqlite3.Connection) -> Counter[frozenset[str]]:
    """The readings that each answer of a review decided, and how many answers decided just them."""
    found: dict[int, set[str]] = {}
    query = "SELECT answer, reading_id FROM decisions WHERE kind != 'undo' AND \"by\" = ?"
    for answer, reading in raw.execute(query, (fault_work.REVIEWER,)):
        found.setdefault(answer, set()).add(str(reading))
    return Counter(map(frozenset, found.values()))


def _answers(raw: sqlite3.Connection, begun: Counter[frozenset[str]]) -> list[str]:
    """Answers of which a part is there, or that are there more often than they were given."""
    found = []
    for ids, count in _groups(raw).items():
        if ids in begun and count > begun[ids]:
            found.append(f"doubled answer {sorted(ids)}")
        if ids not in begun and any(ids < whole for whole in begun):
            found.append(f"half an answer {sorted(ids)}")
    return found


def _halves(raw: sqlite3.Connection) -> list[str]:
    """Typed sheets and corrections of which only a part is there, or which are there twice."""
    counts = raw.execute(
        "SELECT reason, count(*) FROM decisions WHERE reason IS NOT NULL GROUP BY reason"
    )
    whole = {"typed": fault_work.TYPED_FIELDS, "corrected": fault_work.CORRECTED_FIELDS}
    found = [
        f"{reason}: {count} decisions"
        for reason, count in counts
        if count != whole[reason.split()[0]]
    ]
    empty = raw.execute(
        "SELECT count(*) FROM photos WHERE status = 'typed' AND id NOT IN "
        "(SELECT photo_id FROM page_instances)"
    ).fetchone()[0]
    return found + ([f"{empty} typed sheets without a page"] if empty else [])


def campaign(kills: int, seed: int, folder: Path, *, most_seconds: float = 3600.0) -> Result:
    """Run rounds until ``kills`` processes were killed while at work."""
    began = time.monotonic()
    run = Campaign(folder, seed)
    while run.result.kills.total() < kills and time.monotonic() - began < most_seconds:
        run.round()
        if sys.stdout.isatty() and run.rounds % 20 == 0:
            print(run.result.kills.total(), "kills")
    run.result.seconds = time.monotonic() - began
    return run.result


def main(arguments: list[str] | None = None) -> int:
    parser: Any = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="faults") as folder:
        result = campaign(options.kills, options.seed, Path(folder))
    print(result)
    for fault in result.faults:
        print(" ", fault)
    return 1 if result.faults else 0


if __name__ == "__main__":
    sys.exit(main())
