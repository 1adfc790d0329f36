"""What the decoder thinks of one field before a threshold turns it into accepted or flagged."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sheet_reader.decode.pages import DecodedStatus, FieldReading
from sheet_reader.decode.posteriors import (
    EMPTY_AT,
    OTHER_AT,
    SEVERAL_AT,
    STRUCK_AT,
    NumberPosterior,
)
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reason, Reasons, because

_STATES = {EMPTY_AT: "empty", STRUCK_AT: "struck", SEVERAL_AT: "several", OTHER_AT: "other"}
"""Classes that are no digit, as reasons name them."""
UNCERTAIN = because(Code.UNCERTAIN)


@dataclass(frozen=True, slots=True)
class Judgement:
    """One field's most probable reading. ``flags`` are reasons to ask whatever the confidence;
    ``doubt`` explains a low confidence; ``empty`` is true where the best reading is "not recorded"
    (then ``value`` is None). ``before`` is the confidence without what ``raised`` the doubt, see
    :meth:`doubted`.
    """

    field: str
    value: str | None
    confidence: float
    flags: Reasons = ()
    doubt: Reason = UNCERTAIN
    empty: bool = False
    runner_up: str | None = None
    runner_up_confidence: float = 0.0
    before: float = 0.0
    raised: Reason | None = None

    def doubted(self, times: float, reason: Reason) -> Judgement:
        """The same with ``times`` (1 or more) the doubt, for this ``reason``."""
        if times <= 1.0:
            return self
        sure = max(0.0, 1.0 - times * (1.0 - self.confidence))
        before = self.before if self.raised else self.confidence
        return replace(self, confidence=sure, before=before, raised=reason)

    def flagged(self, *reasons: Reason) -> Judgement:
        """The same judgement with more reasons to ask."""
        return replace(self, flags=(*self.flags, *(r for r in reasons if r not in self.flags)))

    def reading(self, threshold: float) -> FieldReading:
        """Accept at or above ``threshold`` where nothing else speaks against it."""
        reasons = self.flags
        if not reasons and self.confidence < threshold:
            reasons = ((self.before >= threshold and self.raised) or self.doubt,)
        status: DecodedStatus = "flagged" if reasons else "empty" if self.empty else "accepted"
        return FieldReading(
            self.field, self.value, min(1.0, self.confidence), status, reasons,
            self.runner_up, min(1.0, self.runner_up_confidence),
        )  # fmt: skip


def box_flags(posterior: NumberPosterior, part: str = "") -> Reasons:
    """Reasons that lie in single boxes: hidden, several digits, not a digit, all struck out."""
    n, hidden = len(posterior.boxes), posterior.hidden
    if hidden and all(hidden):
        return (because(Code.HIDDEN, why=hidden[0]),)
    blind = [i for i, why in enumerate(hidden) if why]
    reasons = [because(Code.BOX_HIDDEN, box=i, boxes=n, part=part, why=hidden[i]) for i in blind]
    for i, row in enumerate(posterior.boxes):
        codes = {Code.SEVERAL_DIGITS: row[SEVERAL_AT], Code.NO_DIGIT: row[OTHER_AT]}
        code = next((code for code, p in codes.items() if p >= 0.5 and i not in blind), None)
        if code is not None:
            reasons.append(because(code, box=i, boxes=n, part=part))
    if posterior.all_struck >= 0.5:
        reasons.append(because(Code.STRUCK_OUT))
    return tuple(reasons)


def number_flags(
    posterior: NumberPosterior, value: int, text: str, *, crossing: bool = False
) -> Reasons:
    """Reasons that lie in how a number was written: a struck box, an empty box inside it. With
    ``crossing`` a digit that was plainly crossed out on the way is no reason to ask.
    """
    at = int(np.searchsorted(posterior.values, value))
    reasons = []
    if posterior.struck[at] >= 0.5 and not (crossing and crossed_out(posterior)):
        reasons.append(because(Code.BOX_STRUCK, value=text))
    if posterior.gap[at] >= 0.5:
        reasons.append(because(Code.GAP, value=text))
    return tuple(reasons)


def crossed_out(posterior: NumberPosterior) -> bool:
    """Whether one digit was crossed out and the number went on in the next box, beyond doubt.

    The box must be struck for certain, or a crossed 7, a slashed 0 or a 4 would be left out; the
    next one must hold a digit, or the right one may stand beside the boxes, where nobody reads it;
    and for the same reason a box must be left empty: who finds a digit wrong later and has no free
    box writes beside.
    """
    boxes = posterior.boxes
    struck = np.flatnonzero(boxes[:, STRUCK_AT] >= 0.5)
    if len(struck) != 1 or struck[0] + 1 >= len(boxes):
        return False
    certain = boxes[struck[0], STRUCK_AT] >= DECODE.crossed_out
    goes_on = boxes[struck[0] + 1, :EMPTY_AT].sum() >= DECODE.crossed_out
    return bool(certain and goes_on and (boxes[:, EMPTY_AT] >= DECODE.crossed_out).any())


def box_doubt(posterior: NumberPosterior, part: str = "") -> tuple[float, Reason]:
    """The least certain box: the probability of its best state, and the doubt about it."""
    best = posterior.boxes.max(axis=1)
    at = int(best.argmin())
    first, second = (int(k) for k in np.argsort(-posterior.boxes[at], kind="stable")[:2])
    doubt = because(
        Code.BOX_UNCERTAIN,
        box=at,
        boxes=len(posterior.boxes),
        part=part,
        first=_STATES.get(first, str(first)),
        second=_STATES.get(second, str(second)),
    )
    return float(best[at]), doubt
