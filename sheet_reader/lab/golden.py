"""Holds a redesign against the state before: ``python -m sheet_reader.lab.golden``.

``make WORK`` makes the inputs once; ``run WORK OUT --python PYTHON`` drives the commands of the
tree that this interpreter runs and keeps all that they print and write; ``compare OUT1 OUT2``
prints what differs. All commands see the same moment (``CLOCK``), so that moments need not be
left out. Left out are: how long a reading took; scratch folders; the identifier of a visit that was
typed in, which is drawn by lot, and the sums of files that name it (``BY-LOT``); of the record all
but its schema and its numbers of rows; of archives and workbooks the packing (each file in them is
kept by itself). Nothing else.

This program knows commands and files only, but for ``make``, which asks ``simulate``: so it runs
unchanged on every tree.
"""

from __future__ import annotations

import csv
import hashlib
import re
import resource
import shutil
import sqlite3
import statistics
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import click

from sheet_reader.lab.golden_answers import Answers
from sheet_reader.lab.golden_files import SUMS, canonical, differences, drawn_by_lot
from sheet_reader.lab.golden_tree import Tree, scratch

FORMATS = "csv,data-package,darwin-core,excel,parquet"
python_option = click.option(
    "--python", type=click.Path(path_type=Path, dir_okay=False), default=Path(sys.executable),
    help="The interpreter of the tree that is run; sheet-reader lies beside it.",
)  # fmt: skip
work_argument = click.argument("work", type=click.Path(path_type=Path, file_okay=False))


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Hold the commands and files of one tree against those of another."""


@main.command()
@work_argument
@click.option("--data", type=click.Path(path_type=Path, exists=True, file_okay=False))
def make(work: Path, data: Path | None) -> None:
    """Make the inputs in WORK, which must be new."""
    from sheet_reader.lab.golden_inputs import make_inputs  # of this tree, whichever one is run

    click.echo(f"The inputs are in {work}, handwriting: {make_inputs(work, data)}")


@main.command()
@work_argument
@click.argument("out", type=click.Path(path_type=Path, file_okay=False))
@python_option
def run(work: Path, out: Path, python: Path) -> None:
    """Run the tree of PYTHON on the inputs in WORK and write the result into OUT, which is new."""
    out.mkdir(parents=True)
    with scratch() as folder:
        for name in ("beans", "season", "photographs"):
            shutil.copytree(work / name, folder / name)
        tree = Tree(python, folder, out)
        _helps(tree)
        _photographs(tree)
        _review(tree)
        _season(tree)
    files = sorted(f for f in out.rglob("*") if f.is_file())
    sums = [f"{hashlib.sha256(f.read_bytes()).hexdigest()}  {f.relative_to(out)}" for f in files]
    (out / SUMS).write_text("\n".join(sums) + "\n", encoding="utf-8")
    click.echo(f"{len(sums)} files in {out}, listed in {SUMS}")


def _helps(tree: Tree) -> None:
    tree.run("--help")
    text = (tree.out / "printed" / "001_--help.txt").read_text("utf-8")
    for command in re.findall(r"^  ([a-z]+)  ", text.partition("Commands:")[2], re.MULTILINE):
        tree.run(command, "--help")


def _fields(tree: Tree, name: str) -> None:
    """What stands in the record of the photographs now, as tables and canonically."""
    tree.run("photos", "beans", "--csv")
    printed = (tree.out / f"printed/{tree.number:03}_photos_beans.txt").read_text("utf-8")
    table = "\n".join(line for line in printed.splitlines()[1:] if line.count(",") > 5)
    tree.run("export", "beans", "--out", name, "--format", FORMATS)
    readings = (tree.folder / name / "readings.csv").read_text("utf-8-sig")
    tree.lots = drawn_by_lot(readings, table)
    tree.take(name, name)
    tree.keep(f"{name}/fields.jsonl", "\n".join(canonical(readings, table)).encode())


def _photographs(tree: Tree) -> None:
    """Everything is read in one process; a few with drawn boxes in processes of their own."""
    (tree.folder / "few").mkdir()
    for name in ("study.toml", "sites.csv"):
        shutil.copy(tree.folder / "beans" / name, tree.folder / "few")
    few = [f"photographs/bean_{number:03}.jpg" for number in (0, 1, 2, 3, 20, 66)]
    tree.run("read", "few", *few, "--jobs", "2", "--overlay", "few_drawn")
    tree.take("few_drawn", "few_drawn")
    tree.run("read", "beans", "photographs", "--jobs", "0")
    tree.run("read", "beans", "photographs", "--jobs", "0")
    tree.run("photos", "beans")
    tree.run("photos", "beans", "--waits")
    _fields(tree, "read")


def _sites(tree: Tree, study: str) -> list[str]:
    lines = (tree.folder / study / "sites.csv").read_text("utf-8").splitlines()[1:]
    return [line.partition(",")[0] for line in lines]


def _review(tree: Tree) -> None:
    """Questions answered at the terminal, an audit, and what is put right by commands."""
    sites, shown = _sites(tree, "beans"), ("--as", "Kim", "--pictures", "plain")
    tree.run("review", "beans", *shown, answer=Answers(sites))
    tree.run("audit", "beans", "--sample", "12", "--seed", "7", *shown, answer=Answers(sites))
    _fields(tree, "reviewed")
    with (tree.folder / "reviewed" / "rows.csv").open(encoding="utf-8-sig", newline="") as file:
        visits = [(r["site"], r["visit_date"]) for r in csv.DictReader(file)]
    visits = sorted({v for v in visits if all(v)})
    for site, day in visits[::8]:
        tree.run("history", "beans", "--site", site, "--visit", day)
    (site, day), by = visits[0], ("--as", "Kim", "--reason", "a try")
    placed = ("--site", site, "--visit", day)
    new = (f"site={sites[1]}", "date=2026-06-21", "pinched.minutes=10", "unpinched.minutes=10",
           "pinched.plants=12", "pinched.blackfly=3")  # fmt: skip
    entered = [word for value in new for word in ("--set", value)]
    tree.run("correct", "beans", *placed, "--set", "pinched.blackfly=7", *by)
    tree.run("correct", "beans", *placed, "--set", "pinched.blackfly=999", *by)
    tree.run("correct", "beans", *placed, "--set", "pinched.ladybirds=77", "--unusual", *by)
    tree.run("correct", "beans", *placed, "--remark", "rain", "--as", "Kim")
    tree.run("enter", "beans", *entered, *by)
    tree.run("enter", "beans", *entered, *by)
    tree.run("aside", "beans", "photo-0004", *by)
    tree.run("back", "beans", "photo-0004", *by)
    tree.run("aside", "beans", "photo-0009", *by)
    tree.run("history", "beans", *placed)
    for command in ("sites", "names", "status", "verify"):
        tree.run(command, "beans")
    _fields(tree, "mended")
    tree.lots = set()
    _schema(tree)


def _schema(tree: Tree) -> None:
    with closing(sqlite3.connect(tree.folder / "beans" / "record.sqlite")) as record:
        rows = record.execute("SELECT name, sql FROM sqlite_schema WHERE sql NOT NULL ORDER BY 1")
        found = [f"{sql};" for _, sql in rows]
        names = record.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY 1")
        for (name,) in names.fetchall():
            count = record.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
            found.append(f"-- {name}: {count} rows")
    tree.keep("record_schema.sql", "\n".join(found).encode())


def _season(tree: Tree) -> None:
    """Every table, letter and update of a season, before and after its questions; a new season."""
    (site, *_), season = _sites(tree, "season"), "season"
    tree.run("status", season)
    (tree.folder / "s").mkdir()
    for ending in ("csv", "json"):
        tree.run("status", season, f"--{ending}", f"s/status.{ending}")
    for ending in ("svg", "png"):
        tree.run("status", season, "--picture", f"s/status.{ending}")
    tree.run("letters", season, "--out", "s/letters")
    tree.run("letters", season, "--out", "s/letters_again", "--again")
    tree.run("update", season, "--until", "2026-06-20", "--out", "s/updates")
    tree.run("update", season, "--for", site, "--out", "s/own_update")
    tree.run("export", season, "--format", FORMATS, "--out", "s/tables")
    tree.run("photos", season)
    tree.run("print", season, "--blank", "--proof", "--site", site, "--out", "s/sheets")
    tree.run("print", season, "--blank", "--out", "s/sheets")
    tree.run("print", season, "--proof", "--out", "s/sheets")
    tree.run("print", season, "--site", site, "--out", "s/sheets")
    tree.take("s", "season")
    tree.run("review", season, "--as", "Kim", "--pictures", "plain",
             answer=Answers(_sites(tree, season)))  # fmt: skip
    tree.run("export", season, "--format", FORMATS, "--out", "after", "--since", "s/tables")
    tree.take("after", "season_after")
    tree.run("demo", "--season", "new")
    tree.run("export", "new", "--out", "new_tables")
    for name in ("new/study.toml", "new/sites.csv", "new_tables"):
        tree.take(name, f"season_new/{Path(name).name}")


@main.command()
@click.argument("one", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.argument("two", type=click.Path(path_type=Path, exists=True, file_okay=False))
def compare(one: Path, two: Path) -> None:
    """Print the differences of two results; exit code 1 where there are any."""
    found = differences(one, two)
    click.echo("\n".join(found) if found else "No difference.")
    sys.exit(bool(found))


@main.command("time")
@work_argument
@click.option("--against", type=click.Path(path_type=Path, exists=True), required=True,
              help="The interpreter of the tree before.")  # fmt: skip
@click.option("--pairs", type=click.IntRange(1), default=5, show_default=True)
@python_option
def compare_times(work: Path, against: Path, pairs: int, python: Path) -> None:
    """CPU seconds of reading 20 photographs in one process, here and before, in turns."""
    photos, ratios = sorted((work / "photographs").iterdir())[:20], []
    for number in range(pairs):
        order = (python, against) if number % 2 else (against, python)
        took = {which: cpu_seconds(which, work, photos) for which in order}
        ratios.append(took[python] / took[against])
        each = " and ".join(f"{took[p] / len(photos):.3f}" for p in (against, python))
        click.echo(f"{each} s of CPU per photo before and now: ratio {ratios[-1]:.3f}")
    click.echo(f"Median ratio {statistics.median(ratios):.3f}")


def cpu_seconds(python: Path, work: Path, photos: Sequence[Path]) -> float:
    """CPU seconds, user and system, of one ``read`` of the ``photos``, its start included."""
    with scratch() as folder:
        tree = Tree(python, folder, folder / "out")
        shutil.copytree(work / "beans", folder / "beans")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        tree.run("read", "beans", *map(str, photos), "--jobs", "0")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
