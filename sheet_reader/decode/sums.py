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
from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reason, because
from sheet_reader.study.study import SumRule

ADDITION_ERROR = DECODE.addition_error
_NEAR = {1: 0.10, 2: 0.04, 10: 0.06, 100: 0.02}
"""q for being off by so much, up and down each."""
Floats = NDArray[np.float64]
Posteriors = Mapping[str, NumberPosterior]


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
        return because(
            Code.SUM_OFF, total=self.total, parts=self.parts_sum, fields=self.rule.fields
        )


def _best(posteriors: Posteriors, name: str) -> int:
    return posteriors[name].ranked()[0][0]


def usable(rule: SumRule, posteriors: Posteriors, hidden: set[str]) -> bool:
    """Whether all fields of the sum stand on this page, are readable and surely hold numbers."""
    return all(
        name in posteriors and name not in hidden and posteriors[name].number >= DECODE.usable
        for name in rule.fields
    )


def exceeded(rule: SumRule, posteriors: Posteriors, hidden: set[str]) -> Reason | None:
    """What to ask where some parts are not recorded and the others alone exceed the total; None if
    they do not. Nothing is inferred from it, whatever the difference.
    """
    if any(name not in posteriors or name in hidden for name in rule.fields):
        return None
    clear = {name for name in rule.fields if posteriors[name].number >= DECODE.usable}
    parts = [name for name in rule.parts if name in clear]
    if rule.total not in clear or not 0 < len(parts) < len(rule.parts):
        return None
    total, known = _best(posteriors, rule.total), sum(_best(posteriors, name) for name in parts)
    if known <= total:
        return None
    return because(Code.PARTS_EXCEED, total=total, parts=known, fields=rule.fields)


def apply_sums(
    rules: Sequence[SumRule], posteriors: Posteriors
) -> tuple[dict[str, NumberPosterior], list[SumFinding]]:
    """Posteriors after all ``rules`` (each usable), and a finding for each rule."""
    names = {name for rule in rules for name in rule.fields}
    dense = {name: _dense(posteriors[name]) for name in names}
    messages: dict[tuple[int, str], Floats] = {}
    addition_errors = [0.0] * len(rules)
    shared = len(names) < sum(len(rule.fields) for rule in rules)
    for _ in range(len(rules) + 1 if shared else 1):
        sent = dict(messages)
        for r, rule in enumerate(rules):
            total, *parts = (_incoming(name, r, dense[name], sent) for name in rule.fields)
            outgoing, addition_errors[r] = sum_messages(total, parts)
            messages |= {(r, n): told for n, told in zip(rule.fields, outgoing, strict=True)}
    after = {}
    for name in names:
        weights = _incoming(name, -1, np.ones_like(dense[name]), messages)
        after[name] = posteriors[name].reweighted(weights[posteriors[name].values])
    found = []
    for rule, addition_error in zip(rules, addition_errors, strict=True):
        read, settled_to = (
            (_best(which, rule.total), sum(_best(which, name) for name in rule.parts))
            for which in (posteriors, after)
        )
        fits = read[0] == read[1]
        adds_up = settled_to[0] == settled_to[1]
        repaired = not fits and adds_up and addition_error <= DECODE.repair_error
        found.append(SumFinding(rule, *read, fits, repaired, addition_error))
    return after, found


def settled(
    rules: Sequence[SumRule], posteriors: Posteriors, alone: Posteriors
) -> tuple[dict[str, NumberPosterior], list[SumFinding]]:
    """As :func:`apply_sums`, but a sum that is disputed moves no field: neither its own, which
    stay as read, nor through them those of other sums. ``alone`` are the posteriors by each box for
    itself; a sum is disputed, too, where it would overrule them.
    """
    open_, disputed = list(rules), dict[SumRule, SumFinding]()
    while True:
        after, found = apply_sums(open_, posteriors)
        checked = {
            f.rule: replace(f, repaired=False)
            if any(alone[name].overrules(_best(after, name)) for name in f.rule.fields)
            else f
            for f in found
        }
        worst = max(
            (f for f in checked.values() if f.disputed),
            key=lambda f: f.addition_error,
            default=None,
        )
        if worst is None:
            return after, [checked.get(rule) or disputed[rule] for rule in rules]
        disputed[worst.rule] = worst
        open_.remove(worst.rule)


def most_settled(before: NumberPosterior, value: int) -> float:
    """The most that a sum may make of the probability of ``value``, which ``before`` had it without
    the sum: totals are wrong too often, and in the very ways digits are misread, to settle more.
    """
    return float(1.0 - (1.0 - before.probability(value)) / DECODE.sum_settles)


def balanced_doubt(rule: SumRule, before: Posteriors, after: Posteriors) -> dict[str, float]:
    """For each field of the sum the probability (0..1) of its alternatives that one other field,
    misread the same way, would balance: the sum says nothing against those. ``before`` and
    ``after`` are the posteriors without and with the sum.
    """
    best = {name: _best(after, name) for name in rule.fields}
    doubt = dict.fromkeys(rule.fields, 0.0)
    for name in rule.fields:
        for value, p in zip(before[name].values, before[name].probs, strict=True):
            shift = int(value) - best[name]
            if shift == 0 or p < DECODE.real_doubt:
                continue
            # the total must move with a part, and one part against another
            partner = max(
                before[other].probability(
                    best[other] + (shift if rule.total in (name, other) else -shift)
                )
                for other in rule.fields
                if other != name
            )
            if partner >= DECODE.real_doubt:
                doubt[name] += min(float(p), partner)
    return doubt


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


def sum_messages(total: Floats, parts: Sequence[Floats]) -> tuple[list[Floats], float]:
    """Messages of one sum to its total and each part, and P(added wrongly | all readings).

    ``total`` and ``parts`` are distributions over 0, 1, 2, … (any lengths, each sums to 1).
    Returns (messages in the order total, parts…; each as long as its distribution, largest 1),
    probability of an addition error.
    """
    before = accumulate(parts[:-1], _convolve, initial=np.ones(1))
    after = [*accumulate(reversed(parts[1:]), _convolve, initial=np.ones(1))]
    others = [_convolve(b, a) for b, a in zip(before, reversed(after), strict=True)]
    whole = _convolve(others[0], parts[0])
    size = max(len(whole), len(total))
    sums, totals = _padded(whole, size), _padded(total, size)
    to_total, reach = _as_people_add(sums)[: len(total)], _as_people_add(totals)
    right = (1.0 - ADDITION_ERROR) * float(sums @ totals)
    everything = float(to_total @ total)
    out = [to_total]
    for other, part in zip(others, parts, strict=True):
        window = _padded(reach, len(other) + len(part) - 1)
        first = len(other) - 1
        out.append(_convolve(window, other[::-1])[first : first + len(part)])
    addition_error = 1.0 - right / everything if everything > 0.0 else 1.0
    return [m / max(float(m.max()), 1e-300) for m in out], addition_error


def _convolve(one: Floats, other: Floats) -> Floats:
    """Full convolution; by FFT where the direct sum would take too long."""
    if len(one) * len(other) <= 4_000_000:
        return np.convolve(one, other)
    size = len(one) + len(other) - 1
    product = np.fft.rfft(one, size) * np.fft.rfft(other, size)
    result: Floats = np.maximum(np.fft.irfft(product, size), 0.0)
    return result


def _padded(table: Floats, size: int) -> Floats:
    return np.concatenate([table, np.zeros(max(0, size - len(table)))])[:size]


def _as_people_add(table: Floats) -> Floats:
    """``table`` (size,) mixed with itself convolved with the symmetric q of an addition error."""
    size, q = len(table), addition_error_shares(len(table))
    wrong = _convolve(table, np.concatenate([q[:0:-1], q]))[size - 1 : 2 * size - 1]
    mixed: Floats = (1.0 - ADDITION_ERROR) * table + ADDITION_ERROR * wrong
    return mixed


@lru_cache(maxsize=64)
def addition_error_shares(size: int) -> Floats:
    """q(d) (size,) for a total off by d = 0 … size - 1, the same up and down; q(0) = 0. All d
    together, up and down, have less than 1 where offsets of 100 and more do not fit in ``size``.
    """
    q = np.zeros(max(size, 2))
    places = [10**j for j in range(len(str(len(q) - 1)))]
    digits = [k * place for place in places for k in range(1, 10)]
    offsets = [
        *_NEAR.items(),
        *((d, DECODE.other_digit / 2 / len(digits)) for d in digits),
        *((9 * d, DECODE.swapped / 2 / len(digits)) for d in digits),
    ]
    for d, share in offsets:
        if d < len(q):
            q[d] += share
    tail = 1.0 / np.arange(1, len(q))
    q[1:] += DECODE.left_out / 2 * tail / tail.sum()
    rest = 1.0 - 2.0 * sum(_NEAR.values()) - DECODE.other_digit - DECODE.swapped - DECODE.left_out
    q[1:] += rest / 2 / (len(q) - 1)
    q.setflags(write=False)
    return q[:size]
