"""Checks what demos have printed: all sheets found, enough fields right, none wrong unasked.

sheet-reader demo beans > newest.txt
python tests/demo_score.py newest.txt lowest.txt
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path

LEAST_RIGHT = 0.93
"""Share of fields read right at once; 96.4 % with the versions of today, lowest and newest."""
_FOUND = re.compile(r"(\d+) of (\d+) sheets found; of (\d+) fields (\d+) read right")
_WRONG = re.compile(r"(\d+) wrong without a question")


@dataclass(frozen=True)
class Score:
    """What a demo says of itself."""

    found: int
    photos: int
    fields: int
    right: int
    wrong: int

    @property
    def faults(self) -> list[str]:
        """What is not as it should be."""
        faults = []
        if self.photos == 0 or self.found < self.photos:
            faults.append(f"{self.found} of {self.photos} sheets found")
        if self.fields == 0 or self.right < LEAST_RIGHT * self.fields:
            faults.append(f"{self.right} of {self.fields} fields read right")
        if self.wrong:
            faults.append(f"{self.wrong} wrong without a question")
        return faults


def score(text: str) -> Score:
    """The score in a demo's output; raises ValueError where there is none."""
    found, wrong = _FOUND.search(text), _WRONG.search(text)
    if found is None or wrong is None:
        raise ValueError("the demo shows no score")
    return Score(*(int(number) for number in found.groups()), wrong=int(wrong[1]))


def main(files: list[str]) -> int:
    """Print a line for each file; 1 where one has a fault."""
    bad = 0
    for name in files:
        seen = score(Path(name).read_text(encoding="utf-8"))
        print(f"{name}: {seen.right} of {seen.fields} right, {', '.join(seen.faults) or 'as due'}")
        bad += bool(seen.faults)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
