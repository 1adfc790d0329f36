"""Edits the study file in mid-season, at random, and compares all that the record says.

    python tests/faults/study_edits.py --sequences 500 --seed 1

Each sequence starts a small study, reads made-up sheets into its record, and goes on with edits of
study.toml and the site list, new sheets, photos read again, answers and answers taken back. After
each step rows, readings, questions, history and notes must be those of a plain model: no value
lost, none changed, none under another name or under other words than those of its paper unless a
person said so, every question asked or explained, every refusal one line.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from season_checks import Result
from season_steps import Season

from sheet_reader.errors import SheetReaderError


def campaign(sequences: int, seed: int, folder: Path) -> Result:
    """So many sequences, each on a study of its own."""
    began, result = time.monotonic(), Result()
    for number in range(sequences):
        own = folder / f"s{number}"
        own.mkdir()
        season = Season(own, random.Random(f"{seed}/{number}"), result)
        try:
            season.run()
        except Exception as error:
            kind = "an error" if isinstance(error, SheetReaderError) else "a stumble"
            season.fault(f"sequence {number}: {kind}: {type(error).__name__}: {error}")
        season.record.close()
        result.sequences += 1
        shutil.rmtree(own)
    result.seconds = time.monotonic() - began
    return result


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Edit study files in mid-season.")
    parser.add_argument("--sequences", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="edits") as folder:
        result = campaign(options.sequences, options.seed, Path(folder))
    print(result)
    for fault in result.faults:
        print(" ", fault)
    return 1 if result.faults else 0


if __name__ == "__main__":
    sys.exit(main())
