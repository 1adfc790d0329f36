"""What the decoder thinks of one field before a threshold turns it into accepted or flagged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sheet_reader.decode.posteriors import (
    EMPTY_AT,
    OTHER_AT,
    SEVERAL_AT,
    STRUCK_AT,
    NumberPosterior,
)
from sheet_reader.decode.types import DecodedStatus, FieldReading

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_STATES = {
    EMPTY_AT: "empty",
    STRUCK_AT: "struck out",
    SEVERAL_AT: "several digits",
    OTHER_AT: "no digit",
}


@dataclass(frozen=True, slots=True)
class Judgement:
    """One field's most probable reading. ``flags`` are reasons to ask whatever the confidence;
    ``doubt`` explains a low confidence; ``empty`` is true where the best reading is "not recorded"
    (then ``value`` is None); ``together`` names fields to be shown with this one.
    """

    field: str
    value: str | None
    confidence: float
    flags: tuple[str, ...] = ()
    doubt: str = ""
    empty: bool = False
    runner_up: str | None = None
    runner_up_confidence: float = 0.0
    together: tuple[str, ...] = ()

    def flagged(self, *reasons: str) -> Judgement:
        """The same judgement with more reasons to ask."""
        return replace(self, flags=(*self.flags, *(r for r in reasons if r not in self.flags)))

    def reading(self, threshold: float) -> FieldReading:
        """Accept at or above ``threshold`` where nothing else speaks against it."""
        reasons = self.flags
        if not reasons and self.confidence < threshold:
            reasons = (self.doubt or "not read with enough certainty",)
        status: DecodedStatus = "empty" if self.empty else "accepted"
        if reasons:
            status = "flagged"
        return FieldReading(
            self.field,
            self.value,
            min(1.0, self.confidence),
            status,
            "; ".join(reasons),
            self.runner_up,
            min(1.0, self.runner_up_confidence),
            self.together if reasons else (),
        )


def box_name(index: int, boxes: int, part: str = "") -> str:
    """How a person calls a box: "the box", "the second box", "the first month box"."""
    part = f"{part} " if part else ""
    if boxes == 1:
        return f"the {part}box"
    ordinal = _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}th"
    return f"the {ordinal} {part}box"


def box_flags(posterior: NumberPosterior, hidden: Sequence[str], part: str = "") -> tuple[str, ...]:
    """Reasons that lie in single boxes: hidden, several digits, not a digit, all struck out."""
    n = len(posterior.boxes)
    blind = [i for i, why in enumerate(hidden) if why]
    if blind and len(blind) == n:
        return (f"hidden: {hidden[0]}",)
    reasons = [f"{box_name(i, n, part)} is hidden: {hidden[i]}" for i in blind]
    for i, row in enumerate(posterior.boxes):
        if i in blind:
            continue
        if row[SEVERAL_AT] >= 0.5:
            reasons.append(f"{box_name(i, n, part)} holds several digits")
        elif row[OTHER_AT] >= 0.5:
            reasons.append(f"{box_name(i, n, part)} holds a mark that is no digit")
    if posterior.all_struck >= 0.5:
        reasons.append("struck out, and no other number written")
    return tuple(reasons)


def number_flags(posterior: NumberPosterior, value: int, text: str) -> tuple[str, ...]:
    """Reasons that lie in how a number was written: a struck box, an empty box inside it."""
    at = int(np.searchsorted(posterior.values, value))
    reasons = []
    if posterior.struck[at] >= 0.5:
        reasons.append(f"a box was struck out; {text} read from the others")
    if posterior.gap[at] >= 0.5:
        reasons.append(f"an empty box stands inside the number; read as {text}")
    return tuple(reasons)


def box_doubt(posterior: NumberPosterior, part: str = "") -> tuple[float, str]:
    """The least certain box: the probability of its best state, and a sentence about it."""
    best = posterior.boxes.max(axis=1)
    at = int(best.argmin())
    first, second = (int(k) for k in np.argsort(-posterior.boxes[at], kind="stable")[:2])
    name = box_name(at, len(posterior.boxes), part)
    states = (_STATES.get(first, str(first)), _STATES.get(second, str(second)))
    return float(best[at]), f"{name} could be {states[0]} or {states[1]}"
