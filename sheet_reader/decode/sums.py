r"""Totals and their parts: one inference, and a plain question where they do not fit.

A volunteer writes parts p_1 … p_k and a total t. Either the total was added rightly, or with
probability s = ``ADDITION_ERROR`` it was not and differs by d with probability q(d):

    P(t, p) ∝ f_T(t) · prod_i f_i(p_i) · K(t | p_1 + … + p_k),
    K(t | x) = (1 - s) · [t = x] + s · q(t - x),   q(0) = 0

with f the posteriors by everything else. The distribution of p_1 + … + p_k is the convolution of
the parts' distributions (the sum of independent variables; Grinstead & Snell, *Introduction to
Probability*, section 7.1), so marginals need no enumeration: with r(x) = sum_t f_T(t) K(t | x),

    P(p_i = v) ∝ f_i(v) · sum_u conv_{j ≠ i}(u) · r(u + v).

Fields that stand in several sums exchange messages (the sum-product algorithm: Kschischang, Frey
& Loeliger, IEEE Trans. Inf. Theory 47:498, 2001), exact where the sums form a tree.

One person wrote all of it: whoever writes a 7 that looks like a 4 does so in the part and in the
total, and both misreadings add up. So an alternative that another field's own alternative would
balance does not count as refuted by the sum (:func:`balanced_doubt`).

A sum may settle a doubtful digit, though never all of its doubt (:func:`most_settled`), and raise
a doubt; what the boxes spell clearly it never
overrules (``NumberPosterior.overrules``): then the volunteer's sum is disputed, every field of it
is shown as read, and a person is asked (:func:`settled`).

ADDITION_ERROR = 0.03 and the shape of q are assumptions of this house; no published rate of adding
errors by volunteers was found. q is a mixture of what goes wrong when people add and copy: off by
1 or 2, a carry forgotten or twice (10, 100), one digit of the total another one (k · 10^j),
neighbours swapped (the difference is 9k · 10^j), a part left out or taken twice (as large as the
part, and small parts are more common: 1/|d|), and anything else, evenly. A sum never changes how
probable it is that a field is empty, so nothing missing is ever filled in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.decode.sum_messages import sum_messages
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.study.model import SumRule

REPAIR_ERROR = DECODE.repair_error
REAL_DOUBT = DECODE.real_doubt
USABLE = DECODE.usable
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SumFinding:
    """What became of one sum: whether the best readings before it added up, whether those after
    it do, and the posterior probability that the volunteer added wrongly.
    """

    rule: SumRule
    total: int
    parts_sum: int
    fits: bool
    repaired: bool
    addition_error: float

    @property
    def disputed(self) -> bool:
        """The readings do not add up and no repair is clearly right."""
        return not (self.fits or self.repaired)

    @property
    def question(self) -> Reason:
        """What to ask about a disputed sum."""
        fields = (self.rule.total, *self.rule.parts)
        return because(Code.SUM_OFF, total=self.total, parts=self.parts_sum, fields=fields)


def usable(rule: SumRule, posteriors: Mapping[str, NumberPosterior], hidden: set[str]) -> bool:
    """Whether all fields of the sum stand on this page, are readable and surely hold numbers."""
    names = (rule.total, *rule.parts)
    return all(
        name in posteriors and name not in hidden and posteriors[name].number >= USABLE
        for name in names
    )


def exceeded(
    rule: SumRule, posteriors: Mapping[str, NumberPosterior], hidden: set[str]
) -> Reason | None:
    """What to ask where some parts are not recorded and the others alone exceed the total; None if
    they do not. Nothing is inferred from it, whatever the difference.
    """
    names = (rule.total, *rule.parts)
    if any(name not in posteriors or name in hidden for name in names):
        return None
    clear = {name for name in names if posteriors[name].number >= USABLE}
    parts = [name for name in rule.parts if name in clear]
    if rule.total not in clear or not parts or len(parts) == len(rule.parts):
        return None
    total = posteriors[rule.total].ranked()[0][0]
    known = sum(posteriors[name].ranked()[0][0] for name in parts)
    if known <= total:
        return None
    return because(Code.PARTS_EXCEED, total=total, parts=known, fields=names)


def apply_sums(
    rules: Sequence[SumRule], posteriors: Mapping[str, NumberPosterior]
) -> tuple[dict[str, NumberPosterior], list[SumFinding]]:
    """Posteriors after all ``rules`` (each usable), and a finding for each rule."""
    names = {name for rule in rules for name in (rule.total, *rule.parts)}
    dense = {name: _dense(posteriors[name]) for name in names}
    messages: dict[tuple[int, str], Floats] = {}
    addition_errors = [0.0] * len(rules)
    shared = len(names) < sum(1 + len(rule.parts) for rule in rules)
    for _ in range(len(rules) + 1 if shared else 1):
        sent = dict(messages)
        for r, rule in enumerate(rules):
            incoming = {
                name: _incoming(name, r, dense[name], sent) for name in (rule.total, *rule.parts)
            }
            outgoing, addition_errors[r] = sum_messages(
                incoming[rule.total], [incoming[name] for name in rule.parts]
            )
            for name, message in zip((rule.total, *rule.parts), outgoing, strict=True):
                messages[r, name] = message
    after = {}
    for name in names:
        weights = _incoming(name, -1, np.ones_like(dense[name]), messages)
        after[name] = posteriors[name].reweighted(weights[posteriors[name].values])
    found = [_finding(rule, posteriors, after, addition_errors[r]) for r, rule in enumerate(rules)]
    return after, found


def settled(
    rules: Sequence[SumRule],
    posteriors: Mapping[str, NumberPosterior],
    alone: Mapping[str, NumberPosterior],
) -> tuple[dict[str, NumberPosterior], list[SumFinding]]:
    """As :func:`apply_sums`, but a sum that is disputed moves no field: neither its own, which
    stay as read, nor through them those of other sums. ``alone`` are the posteriors by each box for
    itself; a sum is disputed, too, where it would overrule them.
    """
    open_, disputed = list(rules), dict[SumRule, SumFinding]()
    while True:
        after, found = apply_sums(open_, posteriors)
        checked = [_guarded(finding, after, alone) for finding in found]
        worst = max(
            (f for f in checked if f.disputed), key=lambda f: f.addition_error, default=None
        )
        if worst is None:
            kept = {finding.rule: finding for finding in checked}
            return after, [kept.get(rule) or disputed[rule] for rule in rules]
        disputed[worst.rule] = worst
        open_.remove(worst.rule)


def _guarded(
    finding: SumFinding, after: Mapping[str, NumberPosterior], alone: Mapping[str, NumberPosterior]
) -> SumFinding:
    """The finding, no longer repaired where the repair overrules clear boxes."""
    names = (finding.rule.total, *finding.rule.parts)
    if any(alone[name].overrules(after[name].ranked()[0][0]) for name in names):
        return replace(finding, repaired=False)
    return finding


def most_settled(before: NumberPosterior, value: int) -> float:
    """The most that a sum may make of the probability of ``value``, which ``before`` had it without
    the sum: totals are wrong too often, and in the very ways digits are misread, to settle more.
    """
    return float(1.0 - (1.0 - before.probability(value)) / DECODE.sum_settles)


def balanced_doubt(
    rule: SumRule, before: Mapping[str, NumberPosterior], after: Mapping[str, NumberPosterior]
) -> dict[str, float]:
    """For each field of the sum the probability (0..1) of its alternatives that one other field,
    misread the same way, would balance: the sum says nothing against those. ``before`` and
    ``after`` are the posteriors without and with the sum.
    """
    names = (rule.total, *rule.parts)
    best = {name: after[name].ranked()[0][0] for name in names}
    doubt = dict.fromkeys(names, 0.0)
    for name in names:
        for value, p in zip(before[name].values, before[name].probs, strict=True):
            shift = int(value) - best[name]
            if shift == 0 or p < REAL_DOUBT:
                continue
            partners = (
                before[other].probability(best[other] + _balancing(rule, name, other) * shift)
                for other in names
                if other != name
            )
            partner = max(partners)
            if partner >= REAL_DOUBT:
                doubt[name] += min(float(p), partner)
    return doubt


def _balancing(rule: SumRule, one: str, other: str) -> int:
    """Whether ``other`` must move with ``one`` (1: one is the total) or against it (-1)."""
    return 1 if rule.total in (one, other) else -1


def _dense(posterior: NumberPosterior) -> Floats:
    table = np.zeros(int(posterior.values[-1]) + 1)
    table[posterior.values] = posterior.probs
    normal: Floats = table / table.sum()
    return normal


def _incoming(
    name: str, receiver: int, own: Floats, messages: Mapping[tuple[int, str], Floats]
) -> Floats:
    product: Floats = own.copy()
    for (rule, field), message in messages.items():
        if field == name and rule != receiver:
            product *= message
    normal: Floats = product / product.sum()
    return normal


def _finding(
    rule: SumRule,
    before: Mapping[str, NumberPosterior],
    after: Mapping[str, NumberPosterior],
    addition_error: float,
) -> SumFinding:
    total = before[rule.total].ranked()[0][0]
    parts = sum(before[name].ranked()[0][0] for name in rule.parts)
    total_after = after[rule.total].ranked()[0][0]
    parts_after = sum(after[name].ranked()[0][0] for name in rule.parts)
    repaired = total != parts and total_after == parts_after and addition_error <= REPAIR_ERROR
    return SumFinding(rule, total, parts, total == parts, repaired, addition_error)
