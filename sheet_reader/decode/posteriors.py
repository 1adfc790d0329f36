r"""From the boxes of a page to distributions over the numbers that its fields may hold.

The digits room gives P(class | crop). Two things can make that number too sure of itself:

* the crop was cut in the wrong place. For an isotropic normal position error with standard
  deviation sigma the distance from the true place follows a Rayleigh distribution, so the crop is
  off by more than t with probability ``exp(-t² / (2 sigma²))`` (Rayleigh tail, any textbook on
  probability). With t = 1.5 mm (box gap 2 mm, crop margin 1 mm; an assumption of this house) that
  is 4e-6 at 0.3 mm and 1 % at 0.5 mm;
* nothing can be seen: the vision room says the box is occluded.

With probability ``doubt`` the crop tells nothing, so the class probabilities are mixed with
"anything": ``(1 - doubt) * p + doubt / K``.

Then each box is in one of the states digit 0..9, empty, struck out, or unreadable (several digits,
not a digit). Boxes are independent given the picture, so a sequence of states has probability

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

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.pages import PageEvidence
from sheet_reader.digits.classes import CLASSES, EMPTY, OTHER, SEVERAL, STRUCK
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Occlusion
from sheet_reader.study.fields import OWN_DIGITS
from sheet_reader.vision.findings import BoxEvidence

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
Group = tuple[str, str]
"""Field name and part: "" or, in a date, day, month or year."""


def groups_of(boxes: Sequence[BoxEvidence]) -> dict[Group, list[int]]:
    """The places of each group's boxes among ``boxes``, in printed order."""
    groups: dict[Group, list[int]] = defaultdict(list)
    for i in sorted(range(len(boxes)), key=lambda i: boxes[i].cell.index):
        groups[boxes[i].cell.field, boxes[i].cell.part].append(i)
    return groups


def place_doubt(error_mm: float) -> float:
    """Probability (0..1) that a crop with position error ``error_mm`` (sd, mm) shows too little."""
    if not error_mm > 0.0:
        return 0.0
    return math.exp(-(DECODE.tolerated_offset_mm**2) / (2.0 * error_mm**2))


def unreadable_because(box: BoxEvidence) -> Occlusion:
    """Why the box counts as hidden; ``Occlusion.NONE`` (falsy) for a box that can be read."""
    if box.occluded:
        return box.occluded
    if not math.isfinite(box.error_mm):
        return Occlusion.UNPLACED
    if box.contrast < DECODE.faintest_contrast:
        return Occlusion.FAINT
    return Occlusion.BLURRED if box.blur_mm > DECODE.worst_blur_mm else Occlusion.NONE


def box_probabilities(page: PageEvidence) -> Floats:
    """Class probabilities (N, K) of each box with all doubts worked in, columns in the order of
    ``CLASSES``; rows sum to 1, an occluded box gives a flat row.
    """
    given = np.exp(page.logs.astype(np.float64), order="F")  # sums in the order of the classes
    p = np.nan_to_num(given, nan=0.0) + DECODE.probability_floor
    p /= p.sum(axis=1, keepdims=True)
    doubts = [1.0 if unreadable_because(b) else place_doubt(b.error_mm) for b in page.boxes]
    doubt = np.array(doubts)[:, None]
    mixed: Floats = (1.0 - doubt) * p + doubt / len(CLASSES)
    return mixed


@dataclass(frozen=True, slots=True)
class NumberPosterior:
    """What a field, or a part of a date, may hold.

    ``boxes`` (n, K) class probabilities of its boxes; ``values`` (V,) ascending and ``probs``
    (V,) their probabilities; ``struck`` and ``gap`` (V,) the probability, given that value, that
    a box was struck out or that an empty box stands inside the number. ``empty``, ``all_struck``
    and ``unreadable`` are the rest: ``probs.sum() + empty + all_struck + unreadable == 1``.
    ``hidden`` (n) tells why boxes can't be read, () where that is not known.
    """

    boxes: Floats
    values: Ints
    probs: Floats
    struck: Floats
    gap: Floats
    empty: float
    all_struck: float
    unreadable: float
    hidden: tuple[Occlusion, ...] = ()

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


@lru_cache(maxsize=int(EXACT_BOXES))
def _spellings(n: int) -> tuple[Ints, Floats, tuple[Ints, Ints, Ints]]:
    """All sequences of n states: outcome (value, or 10^n empty, 10^n + 1 struck) and log w; and
    where they stand: all, those with a struck box, those with a gap.
    """
    outcome, struck, gap = _spell(np.indices((12,) * n).reshape(n, -1))
    marked = np.arange(len(outcome)), np.flatnonzero(struck), np.flatnonzero(gap)
    return outcome, np.where(gap, np.log(GAP_WEIGHT), 0.0), marked


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


def posteriors_of(page: PageEvidence, probabilities: Floats) -> dict[Group, NumberPosterior]:
    """What each field of the page, or part of a date, may hold, by the ``probabilities`` (N, K) of
    its boxes; the row of the volunteer's own digits is none.
    """
    rows = {g: at for g, at in groups_of(page.boxes).items() if g[0] != OWN_DIGITS}
    by_width: dict[int, list[Group]] = defaultdict(list)
    for group, at in rows.items():
        by_width[len(at)].append(group)
    found: dict[Group, NumberPosterior] = {}
    for groups in by_width.values():
        numbers = read_numbers(np.stack([probabilities[rows[group]] for group in groups]))
        for group, number in zip(groups, numbers, strict=True):
            hidden = tuple(unreadable_because(page.boxes[i]) for i in rows[group])
            found[group] = replace(number, hidden=hidden)
    return found


def read_numbers(boxes: Floats) -> list[NumberPosterior]:
    """Posteriors of F fields of n boxes each from ``boxes`` (F, n, K), rows as in ``CLASSES``."""
    fields, n, _ = boxes.shape
    if fields == 0:
        return []
    if n > EXACT_BOXES:
        return [_by_beam(field) for field in boxes]
    outcome, log_weight, marked = _spellings(n)
    log_p = np.log(np.maximum(boxes[:, :, _STATES], 1e-300))
    joint = np.zeros((fields, 1))
    for i in range(n):
        joint = (joint[:, :, None] + log_p[:, i, None, :]).reshape(fields, -1)
    mass = np.exp(joint + log_weight)
    width = 10**n + 2

    def gather(some: Ints) -> Floats:
        at = outcome[some] + width * np.arange(fields)[:, None]
        summed = np.bincount(at.ravel(), mass[:, some].ravel(), fields * width)
        return summed.astype(np.float64).reshape(fields, width)

    total, struck, gap = map(gather, marked)
    return [_posterior(boxes[f], total[f], struck[f], gap[f]) for f in range(fields)]


def _posterior(boxes: Floats, total: Floats, struck: Floats, gap: Floats) -> NumberPosterior:
    """Normalise the masses (10^n + 2,) of one field together with its unreadable mass."""
    readable = 1.0 - boxes[:, SEVERAL_AT] - boxes[:, OTHER_AT]
    everything = total.sum() + (1.0 - float(np.prod(readable)))
    keep = np.flatnonzero(total[:-2] > NEGLIGIBLE * everything)
    empty, all_struck = (float(mass) for mass in total[-2:] / everything)
    return _normal(boxes, keep, total[keep], struck[keep], gap[keep], everything, empty, all_struck)


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
    total, some_struck, some_gap = (np.bincount(at, m) for m in (mass, mass * struck, mass * gap))
    everything = float(total.sum()) + dropped
    keep = (values < 10**n) & (total > NEGLIGIBLE * everything)
    empty, all_struck = (float(total[values == 10**n + k].sum() / everything) for k in (0, 1))
    return _normal(
        boxes, values[keep], total[keep], some_struck[keep], some_gap[keep], everything, empty,
        all_struck,
    )  # fmt: skip


def _normal(
    boxes: Floats, values: Ints, total: Floats, struck: Floats, gap: Floats, everything: float,
    empty: float, all_struck: float,
) -> NumberPosterior:  # fmt: skip
    """The posterior of ``values`` (V,) with masses (V,) in all, with a struck box, with a gap."""
    probs = total / everything
    rest = max(0.0, 1.0 - float(probs.sum()) - empty - all_struck)
    return NumberPosterior(
        boxes, values.astype(np.int64), probs, struck / total, gap / total, empty, all_struck, rest
    )
