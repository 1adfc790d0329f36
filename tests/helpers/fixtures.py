from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import stand_in

from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.tally import BatchSummary
from sheet_reader.study.study import Study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = tmp_path / "ponds"
    (folder / "inbox").mkdir(parents=True)
    return stand_in.a_study(folder)


@pytest.fixture
def post(study: Study) -> Callable[..., BatchSummary]:
    """Put a photo into the inbox and read it."""
    return partial(post_to, study)


def post_to(study: Study, said: Any, name: str = "", **options: Any) -> BatchSummary:
    """The same for any study, such as one that the tests of a file have copies of."""
    inbox = study.folder / "inbox"
    inbox.mkdir(parents=True, exist_ok=True)
    count = len(list(inbox.iterdir()))
    (inbox / (name or f"photo{count + 1}.png")).write_bytes(stand_in.photo(said, seed=count))
    return read_batch(study, reader=stand_in.read, jobs=0, **options)
