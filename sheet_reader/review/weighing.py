"""What a typed value of a field comes to: kept, or shown once more with what is odd about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sheet_reader.numbers import REVIEW
from sheet_reader.reasons import Code, has
from sheet_reader.record.history.states import FieldState
from sheet_reader.review.answers import Refusal, understand
from sheet_reader.review.cards import FieldCard
from sheet_reader.study.model import Study
from sheet_reader.wording import words

LEAST_CHANCE = REVIEW.least_chance

@dataclass(frozen=True, slots=True)
class Look:
    """How a value was typed: ``blind`` before the reading was shown, in an ``audit``, with the
    words for how to go back.
    """

    blind: bool
    audit: bool = False
    back: str = ""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A value: what the reader saw as a ``note``, and ``doubts`` for which it is shown again."""

    text: str
    note: str = ""
    doubts: tuple[str, ...] = ()


def weigh(
    card: FieldCard, typed: str, study: Study, today: date, look: Look
) -> Weighed | Refusal:
    """Hold what was typed for a field against what is possible, usual and read."""
    reading = card.reading
    value = understand(typed, card.spec, study, today)
    if isinstance(value, Refusal):
        return value
    doubts: tuple[str, ...] = (value.doubt,) if value.doubt else ()
    seen = "nothing" if reading.read_value is None else reading.read_value
    if look.blind and value.text == reading.read_value:
        kept = doubts if card.spec.kind == "date" else ()
        return Weighed(value.text, f"the reader saw {value.text}, too.", kept)
    if look.audit:
        note = (
            f"the reader saw {seen}; your answer {value.text} is kept as typed. "
            f"If it was a slip, {look.back}, and this field then leaves the audit."
        )
        return Weighed(value.text, note)
    if look.blind:
        chance = f" ({percent(reading.confidence)})" if reading.read_value else ""
        if value.text == reading.runner_up and card.spec.kind != "site":  # no slip hits just that
            note = f"the reader saw {seen}{chance}, or else {value.text}, which is kept as typed."
            return Weighed(value.text, note, doubts)
        doubts += (f"the reader saw {seen}{chance}, you typed {value.text}",)
    return Weighed(value.text, "", doubts)


def likely_why(reading: FieldState) -> str:
    """Why a count that is likely right is asked about: what else it may be, or the reasons."""
    second = reading.runner_up is not None and reading.runner_up_confidence >= LEAST_CHANCE
    if second and has(reading.reasons, Code.BOX_UNCERTAIN):
        return f"or {reading.runner_up}?"
    return words(reading.reasons)


def differ_line(card: FieldCard) -> str:
    """What two people said of a field."""
    said = ", ".join(f"{by}: {what}" for by, what in card.typed)
    return f"two people looked, and said different things ({said})."


def percent(probability: float) -> str:
    """A probability as a person says it; never a 100 % that is not certain.

    >>> percent(0.154), percent(0.9999), percent(0.0001)
    ('15 %', 'over 99 %', 'under 1 %')
    """
    shown = f"{100 * probability:.0f}"
    if shown == "100" and probability < 1:
        return "over 99 %"
    if shown == "0" and probability > 0:
        return "under 1 %"
    return f"{shown} %"
