"""Which samples of a set serve which role: by writer where the set says who wrote.

- MNIST, pendigits, UNIPEN: by the table of writers, see ``writers``.
- boxed_uk has one writer, who has no role in that table: the digits only measure, by the set's own
  test puzzles. Its empty boxes and boxes of small candidates (the same hand, but no digit to be
  read) train, choose and measure by puzzle, as the set itself says; val is choice.
- Semeion, USPS, optdigits, Chars74K: benchmark only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheet_reader.lab.writers import DEV, ROLES, TABLE, TEST, TRAIN, Role, roles_of

KNOWN_WRITERS = tuple(TABLE)
"""Sets that say who wrote each sample."""
_WIDTH = max(map(len, ROLES))


def roles(name: str, data: Mapping[str, Any]) -> NDArray[np.str_]:
    """The role of each sample (N,) of a set of ``KNOWN_WRITERS``; ``data`` holds its arrays with
    ``writers`` (N,). KeyError for a writer that the table does not know.
    """
    known = roles_of(name)
    writers, places = np.unique(writer_names(name, data["writers"]), return_inverse=True)
    found = np.array([known[writer] for writer in writers.tolist()], dtype=f"<U{_WIDTH}")
    return found[places]


def writer_names(name: str, writers: Any) -> NDArray[np.str_]:
    """A set's ``writers`` (N,) as the table spells them: numbers with four digits."""
    if name != "mnist":
        return np.asarray(writers).astype(str)
    return np.char.zfill(np.asarray(writers).astype(int).astype(str), 4)


def boxed_puzzles(hand: Mapping[str, Any]) -> dict[str, Role]:
    """From a puzzle's date ("02_17") to its role, read off ``boxed_uk_hand``."""
    names: dict[str, Role] = {"train": TRAIN, "val": DEV, "test": TEST}
    pairs = zip(hand["photo"], hand["split"], strict=True)
    return {str(photo)[:5]: names[str(split)] for photo, split in pairs}


def boxed_roles(data: Mapping[str, Any], puzzles: Mapping[str, Role]) -> NDArray[np.str_]:
    """The role of each boxed_uk crop, by puzzle; puzzles not known count as benchmark."""
    known = [puzzles.get(str(photo)[:5], TEST) for photo in data["photo"]]
    return np.array(known, dtype=f"<U{_WIDTH}")
