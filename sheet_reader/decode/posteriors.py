r"""From the boxes of one field to a distribution over the numbers they may hold.

Each box is in one of the states digit 0..9, empty, struck out, or unreadable (several digits, not
a digit). Boxes are independent given the picture, so a sequence of states has probability

    P(s_1 … s_n | picture)  ∝  w(s_1 … s_n) · prod_i P(s_i | crop_i)

where w is 1 for a number as people write it and ``GAP_WEIGHT`` for one with an empty box inside.
Struck boxes are skipped, empty ones before and after the digits mean nothing, leading zeros mean
nothing; so a value's posterior is the sum over all sequences that spell it (left-aligned,
right-aligned, zero-padded, with or without a struck box). Sequences without a digit are "empty"
(all boxes empty: not recorded, never 0) or "struck out"; a sequence with an unreadable box is no
number. Up to ``EXACT_BOXES`` boxes every one of the 12^n sequences is summed (in the log domain,
Bayes' rule by enumeration); longer fields keep the best ``BEAM`` prefixes and book what was
dropped as "something else".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheet_reader.digits.classes import CLASSES, EMPTY, OTHER, SEVERAL, STRUCK
from sheet_reader.numbers import DECODE

GAP_WEIGHT = DECODE.gap_weight
EXACT_BOXES = DECODE.exact_boxes
BEAM = DECODE.beam
NEGLIGIBLE = DECODE.negligible
"""Values less probable than this are not listed; their mass goes to "something else"."""
CONTRADICTION = DECODE.contradiction

EMPTY_AT = CLASSES.index(EMPTY)
STRUCK_AT = CLASSES.index(STRUCK)
SEVERAL_AT = CLASSES.index(SEVERAL)
OTHER_AT = CLASSES.index(OTHER)
_STATES = (*range(10), EMPTY_AT, STRUCK_AT)
_E, _S = 10, 11

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class NumberPosterior:
    """What a field may hold.

    ``boxes`` (n, K) class probabilities of its boxes; ``values`` (V,) ascending and ``probs``
    (V,) their probabilities; ``struck`` and ``gap`` (V,) the probability, given that value, that
    a box was struck out or that an empty box stands inside the number. ``empty``, ``all_struck``
    and ``unreadable`` are the rest: ``probs.sum() + empty + all_struck + unreadable == 1``.
    """

    boxes: Floats
    values: Ints
    probs: Floats
    struck: Floats
    gap: Floats
    empty: float
    all_struck: float
    unreadable: float

    @property
    def number(self) -> float:
        """Probability that the field holds a number at all."""
        return float(self.probs.sum())

    def probability(self, value: int) -> float:
        """Probability of one value."""
        at = int(np.searchsorted(self.values, value))
        found = at < len(self.values) and self.values[at] == value
        return float(self.probs[at]) if found else 0.0

    def ranked(self) -> list[tuple[int, float]]:
        """The two most probable values with their probabilities, best first."""
        order = np.argsort(-self.probs, kind="stable")[:2]
        return [(int(self.values[i]), float(self.probs[i])) for i in order]

    def overrules(self, value: int) -> bool:
        """Whether the boxes say something else than ``value`` so clearly that nothing else may
        settle it (:data:`CONTRADICTION`).
        """
        best = float(self.probs.max()) if len(self.probs) else 0.0
        return bool(self.probability(value) < CONTRADICTION * best)

    def reweighted(self, weights: Floats) -> NumberPosterior:
        """The posterior after outside knowledge about the value: ``weights`` (V,), not negative.

        The values share the same total as before: knowing which numbers are likely never makes
        an empty or unreadable field more or less of a number, so no zero is ever inferred.
        """
        raw = self.probs * weights
        total = raw.sum()
        if not total > 0.0:
            return self
        return replace(self, probs=raw * (self.number / total))


@dataclass(frozen=True, slots=True)
class _Spellings:
    """All sequences of n states: outcome (value, or 10^n empty, 10^n + 1 struck) and log w; and
    which of them have a struck box or a gap, of all.
    """

    outcome: Ints
    log_weight: Floats
    struck: Ints
    gap: Ints
    every: Ints


@lru_cache(maxsize=int(EXACT_BOXES))
def _spellings(n: int) -> _Spellings:
    states = np.indices((12,) * n).reshape(n, -1)
    outcome, struck, gap = _spell(states)
    log_weight = np.where(gap, np.log(GAP_WEIGHT), 0.0)
    which = (np.flatnonzero(marked) for marked in (struck, gap, np.ones_like(gap)))
    return _Spellings(outcome, log_weight, *which)


def _spell(states: NDArray[np.int64]) -> tuple[Ints, NDArray[np.bool_], NDArray[np.bool_]]:
    """Outcome, struck and gap marks of sequences ``states`` (n, M) of 0..9, _E, _S."""
    n, m = states.shape
    value = np.zeros(m, dtype=np.int64)
    begun = np.zeros(m, dtype=bool)
    pause = np.zeros(m, dtype=bool)
    gap = np.zeros(m, dtype=bool)
    for row in states:
        digit = row < 10
        gap |= digit & pause
        value = np.where(digit, value * 10 + row, value)
        begun |= digit
        pause |= begun & (row == _E)
    struck = (states == _S).any(axis=0)
    value = np.where(begun, value, np.where(struck, 10**n + 1, 10**n))
    return value, struck, gap


def read_numbers(boxes: Floats) -> list[NumberPosterior]:
    """Posteriors of F fields of n boxes each from ``boxes`` (F, n, K), rows as in ``CLASSES``."""
    fields, n, _ = boxes.shape
    if fields == 0:
        return []
    if n > EXACT_BOXES:
        return [_by_beam(field) for field in boxes]
    table = _spellings(n)
    log_p = np.log(np.maximum(boxes[:, :, _STATES], 1e-300))
    joint = np.zeros((fields, 1))
    for i in range(n):
        joint = (joint[:, :, None] + log_p[:, i, None, :]).reshape(fields, -1)
    mass = np.exp(joint + table.log_weight)
    width = 10**n + 2

    def gather(some: Ints) -> Floats:
        at = table.outcome[some] + width * np.arange(fields)[:, None]
        summed = np.bincount(at.ravel(), mass[:, some].ravel(), fields * width)
        return summed.astype(np.float64).reshape(fields, width)

    total, struck, gap = map(gather, (table.every, table.struck, table.gap))
    return [_posterior(boxes[f], total[f], struck[f], gap[f]) for f in range(fields)]


def _posterior(boxes: Floats, total: Floats, struck: Floats, gap: Floats) -> NumberPosterior:
    """Normalise the masses (10^n + 2,) of one field together with its unreadable mass."""
    readable = 1.0 - boxes[:, SEVERAL_AT] - boxes[:, OTHER_AT]
    unreadable = 1.0 - float(np.prod(readable))
    everything = total.sum() + unreadable
    numbers = total[:-2]
    keep = np.flatnonzero(numbers > NEGLIGIBLE * everything)
    probs = numbers[keep] / everything
    empty, all_struck = float(total[-2] / everything), float(total[-1] / everything)
    return NumberPosterior(
        boxes,
        keep.astype(np.int64),
        probs,
        struck[keep] / numbers[keep],
        gap[keep] / numbers[keep],
        empty,
        all_struck,
        max(0.0, 1.0 - float(probs.sum()) - empty - all_struck),
    )


def _by_beam(boxes: Floats) -> NumberPosterior:
    """Posterior of one long field (n, K) from the best ``BEAM`` sequences of states."""
    n = len(boxes)
    sequences = np.zeros((0, 1), dtype=np.int64)
    log_mass = np.zeros(1)
    for row in np.log(np.maximum(boxes[:, _STATES], 1e-300)):
        grown = (log_mass[:, None] + row).ravel()
        best = np.argsort(-grown, kind="stable")[:BEAM]
        sequences = np.vstack([sequences[:, best // 12], best[None, :] % 12])
        log_mass = grown[best]
    outcome, struck, gap = _spell(sequences)
    mass = np.exp(log_mass) * np.where(gap, GAP_WEIGHT, 1.0)
    dropped = max(0.0, 1.0 - float(np.exp(log_mass).sum()))
    values, at = np.unique(outcome, return_inverse=True)
    total = np.bincount(at, mass)
    is_number = values < 10**n
    everything = float(total.sum()) + dropped
    keep = is_number & (total > NEGLIGIBLE * everything)
    probs = total[keep] / everything
    empty = float(total[values == 10**n].sum() / everything)
    all_struck = float(total[values == 10**n + 1].sum() / everything)
    return NumberPosterior(
        boxes,
        values[keep],
        probs,
        np.bincount(at, mass * struck)[keep] / total[keep],
        np.bincount(at, mass * gap)[keep] / total[keep],
        empty,
        all_struck,
        max(0.0, 1.0 - float(probs.sum()) - empty - all_struck),
    )
