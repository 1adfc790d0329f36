"""Which fields are keyed without seeing what was read.

Looking at a value beside the reader's guess misses errors: visual checking left many times more
errors than keying twice (Barchard & Pace 2011, Computers in Human Behavior 27:1834). So the
fields where a mistake does most harm are typed from the picture first, and only then compared.
"""

from __future__ import annotations

from sheet_reader.numbers import REVIEW
from sheet_reader.record.history.blind_answers import asked_twice
from sheet_reader.review.cards import FieldCard
from sheet_reader.study.model import Study

COIN_FLIP = REVIEW.coin_flip


def keyed_blind(card: FieldCard, study: Study) -> bool:
    """Whether the answer is typed before the reading is shown.

    Site, date and totals always, any field that is hardly better than a coin flip, and those that
    two people are asked; not where photos contradict each other, since there values are compared
    side by side, nor where two people do.
    """
    if card.second or card.typed:
        return card.second
    if card.reading.read_value is None or card.others or card.reading.rivals:
        return False
    if card.spec.kind in ("site", "date"):
        return True
    if any(rule.total == card.spec.name for rule in study.sums):
        return True
    place = card.reading.page_instance_id, card.reading.field
    return card.reading.confidence < COIN_FLIP or asked_twice(study, place)
