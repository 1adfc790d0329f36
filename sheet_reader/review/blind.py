"""Which fields are keyed without seeing what was read.

Looking at a value beside the reader's guess misses errors: visual checking left many times more
errors than keying twice (Barchard & Pace 2011, Computers in Human Behavior 27:1834). So the
fields where a mistake does most harm are typed from the picture first, and only then compared.
"""

from __future__ import annotations

from sheet_reader.review.model import Question
from sheet_reader.review.parameters import REVIEW
from sheet_reader.study.model import Study

COIN_FLIP = REVIEW.coin_flip


def keyed_blind(question: Question, study: Study) -> bool:
    """Whether the answer is typed before the reading is shown.

    Site, date and totals always, any field that is hardly better than a coin flip; not where a
    sum does not hold or photos contradict each other, since there values are compared side by side.
    """
    if question.reading.value is None or question.together or question.reading.rivals:
        return False
    if question.spec.kind in ("site", "date"):
        return True
    if any(rule.total == question.spec.name for rule in study.sums):
        return True
    return question.reading.confidence < COIN_FLIP
