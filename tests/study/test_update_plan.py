"""What the study file says of updates: the plots compared, and words of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sheet_reader.errors import StudyError
from sheet_reader.study.model import UpdatePlan
from sheet_reader.study.reader import read_study
from sheet_reader.study.words import ENGLISH_UPDATE

Write = Callable[..., Path]
PLOTS = 'treated = "north"\ncontrol = "south"\n'


def test_a_plan_and_its_words(write: Write) -> None:
    more = f'[update]\ncount = "small"\n{PLOTS}planned = 4\n[words.update]\nyes = "si"\n'
    study = read_study(write(more=more))
    assert study.update == UpdatePlan("small", "north", "south", 4)
    assert dict(study.update_words) == {**ENGLISH_UPDATE, "yes": "si"}
    assert read_study(write()).update == UpdatePlan()


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ('[update]\ncount = "smal"', "update.count: “smal” is no count of this study – did you"),
        ('[update]\ntreated = "nort"\ncontrol = "south"', "update.treated: “nort” is no plot of"),
        ('[update]\ntreated = "north"', "update.control: is missing: a comparison needs two"),
        ('[update]\ntreated = "north"\ncontrol = "north"', "update.control: “north” can't be"),
        ("[update]\nplanned = 0", "update.planned: "),
        ('[update]\nplots = "x"', "update.plots: unknown key"),
        ('[words.update]\nyess = "x"', "words.update.yess: unknown key – did you mean “yes”?"),
        ('[words.update]\nn_sites = "{sites}"', "words.update.n_sites: {sites} is not known here"),
        ('[words.update]\nn_sites = "{n"', "words.update.n_sites: has a brace without"),
        ('[words.update]\nmonths = "Jan"', "words.update.months: must be the names of twelve"),
    ],
)
def test_what_does_not_fit_is_told(write: Write, lines: str, expected: str) -> None:
    with pytest.raises(StudyError) as caught:
        read_study(write(more=lines + "\n"))
    found = [str(mistake) for mistake in caught.value.mistakes]
    assert any(mistake.startswith(expected) for mistake in found), found
