from pathlib import Path

import pytest

from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study


@pytest.fixture(scope="session")
def bean_study() -> Study:
    return read_study(Path(__file__).parents[2] / "samples" / "bean_tips")
