r"""A study's own audits: how many accepted fields are looked at again, and what that says.

**How many.** Single sampling by attributes, general inspection level II, normal inspection
(ISO 2859-1): the lot size gives a code letter, the letter a sample size, letter and acceptance
quality limit (AQL, per cent nonconforming) the acceptance number. Read in a source: lots 281–500 →
H, n 50; 501–1,200 → J, 80; 1,201–3,200 → K, 125; at AQL 1.0 accept up to 1, 2, 3. All other
letters, sizes and numbers are from memory, by the regular pattern of the standard's master table:
acceptance numbers 0, (0), (1), 1, 2, 3, 5, 7, 10, 14, 21 along its diagonals, where the entries in
brackets send the user to the neighbouring plan.

**What it says** of the promise. An audit draws from accepted fields: among those that a threshold T
let through it is a fair sample of what T accepts, and (looked at from t > T on) of what any
stricter t accepts. About a looser t < T it is silent, since what lies between t and T could not be
drawn, and that is where errors are. So a study's own audits may confirm the promise at the
threshold that the shipped fields bear out, or raise it; they never lower it, and a right field
counts at t only if it was accepted under a threshold of at most t (``Checked.floors``; the record
keeps it with every reading). The least confidence among the audited fields would be no substitute:
it is chosen by the sample itself and lies above T, but a stricter T of later photographs, mixed
with them, would go unnoticed. A wrong field counts against every threshold that would accept it.
Fields that were flagged and decided in review don't count, right or wrong: they were asked about
because they were doubtful, not drawn, so they tell nothing about accepted ones.

Audits are looked at again and again, and a site's fields are mostly by one hand: what they show is
weighed by sites, so that any number of looks keeps the level (``error_share``).
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtrc

from sheet_reader.decode.error_share import (
    evidence_against,
    evidence_for,
    fields_missing,
    upper_bound,
    upper_bound_clustered,
)
from sheet_reader.decode.promise import (
    CONSERVATIVE,
    DELTA,
    SHIPPED,
    SHIPPED_BASIS,
    NoPromise,
    Promise,
    PromiseTable,
)
from sheet_reader.numbers import DECODE

LETTERS = "ABCDEFGHJKLMNPQR"
_LOTS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
"""Largest lot of each letter from A on; larger lots are Q. R is reached from Q alone."""
_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5)
"""Acceptance quality limits that a plan can be had for, in per cent nonconforming."""
_ACCEPT = (0, 0, 1, 1, 2, 3, 5, 7, 10, 14, 21)
_DETOUR = {1: 0, 2: 3}
"""Diagonal → the diagonal whose plan is used instead (the arrows of the table)."""


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """Look at ``sample`` of ``lot`` fields: up to ``accept`` wrong ones are acceptable at ``aql``
    (per cent). ``letter`` is the plan's code letter.
    """

    lot: int
    letter: str
    sample: int
    accept: int
    aql: float

    def accepts(self, wrong: int) -> bool:
        """Whether ``wrong`` wrong fields in the sample are acceptable."""
        return wrong <= self.accept


def code_letter(lot: int) -> str:
    """Code letter of a lot of ``lot`` fields (2 or more), general inspection level II."""
    if lot < 2:
        raise ValueError("a lot has at least two fields")
    return LETTERS[bisect_left(_LOTS, lot)]


def sampling_plan(lot: int, aql: float) -> SamplingPlan:
    """The plan for ``lot`` fields (2 or more) at ``aql`` per cent (one of ``AQLS``).

    Where the table points to another letter its plan is used; a sample as large as the lot means
    looking at every field, none of which may be wrong more often than the acceptance number says.
    """
    if aql not in AQLS:
        raise ValueError(f"no plan for an AQL of {aql} %")
    first = LETTERS.index("Q") - AQLS.index(aql)
    diagonal = min(max(LETTERS.index(code_letter(lot)) - first, 0), len(_ACCEPT) - 1)
    diagonal = _DETOUR.get(diagonal, diagonal)
    used = first + diagonal
    return SamplingPlan(lot, LETTERS[used], min(_SIZES[used], lot), _ACCEPT[diagonal], aql)


def nearest_aql(allowed_error: float) -> float:
    """The largest AQL (per cent) not above ``allowed_error`` (a share), else the smallest."""
    wanted = allowed_error * 100.0 * (1.0 + 1e-9)
    return max((a for a in AQLS if a <= wanted), default=AQLS[0])


@dataclass(frozen=True, slots=True)
class Checked:
    """Fields whose truth is known: ``scores`` float64 (N,), the confidence of each reading, and
    ``correct`` bool (N,), whether it was right. Only fields that nothing but the confidence kept
    from being accepted belong here (not those asked about for a struck box, a sum and so on).
    ``sheets`` int64 (N,) says which stand on one sheet; None where that is not known. ``floors``
    float64 (N,) is the threshold from which on each could be drawn into the check at all; None
    where no field was left out for its confidence. ``writers`` str (N,) says who wrote each; None
    where that is not known.
    """

    scores: NDArray[np.float64]
    correct: NDArray[np.bool_]
    sheets: NDArray[np.int64] | None = None
    floors: NDArray[np.float64] | None = None
    writers: NDArray[np.str_] | None = None

    @classmethod
    def of(
        cls,
        scores: ArrayLike,
        correct: ArrayLike,
        sheets: ArrayLike | None = None,
        floors: ArrayLike | None = None,
        writers: ArrayLike | None = None,
    ) -> Checked:
        """From any sequences of equal length; raises ValueError where the lengths differ."""
        s, c = np.asarray(scores, np.float64).ravel(), np.asarray(correct, bool).ravel()
        n = None if sheets is None else np.asarray(sheets, np.int64).ravel()
        f = None if floors is None else np.asarray(floors, np.float64).ravel()
        w = None if writers is None else np.asarray(writers, np.str_).ravel()
        if any(x is not None and x.shape != s.shape for x in (c, n, f, w)):
            raise ValueError(f"{len(s)} scores but {len(c)} answers")
        return cls(s, c, n, f, w)

    def part(self, which: NDArray[np.bool_]) -> Checked:
        """The fields where ``which`` (N,) is True."""
        told = {name: getattr(self, name) for name in self.__slots__}
        return replace(self, **{n: v[which] for n, v in told.items() if v is not None})

    def tell(self, threshold: float) -> NDArray[np.bool_]:
        """Which fields (N,) speak about ``threshold``: those at or above it, of the right ones only
        those that were drawn where all down to it could be drawn.
        """
        kept = self.scores >= threshold
        return kept if self.floors is None else kept & (~self.correct | (self.floors <= threshold))

    def at(self, threshold: float) -> tuple[int, int]:
        """How many of the fields that speak about ``threshold`` are wrong, of how many."""
        kept = self.tell(threshold)
        return int((kept & ~self.correct).sum()), int(kept.sum())

    def people(self, threshold: float) -> NDArray[np.int64] | None:
        """How many fields that speak about ``threshold`` each person wrote, (W,); None where it is
        not known who did.
        """
        return None if self.writers is None else by_site(self, threshold)[1]

    def bound(self, threshold: float, delta: float) -> float:
        """One-sided upper bound (0..1) of the share wrong at ``threshold``."""
        wrong, checked = self.at(threshold)
        people = self.people(threshold)
        if people is None:
            return upper_bound(wrong, checked, delta)
        return upper_bound_clustered(wrong, people, delta)

    def missing(self, threshold: float, share: float, delta: float) -> int:
        """How many more fields at ``threshold``, none wrong, would show a share of ``share``."""
        return fields_missing(*self.at(threshold), self.people(threshold), share, delta)


def above_errors(data: Checked, threshold: float) -> float:
    """A threshold above every checked reading that proved wrong, at least ``threshold``."""
    worst = float(data.scores[~data.correct].max(initial=0.0))
    return max(CONSERVATIVE, threshold, float(np.nextafter(worst, 2.0)))


def promise_for(allowed_error: float, shipped: PromiseTable, own: Checked) -> Promise | NoPromise:
    """The promise that shipped data and the coordinator's own audited fields bear out together.

    The threshold is never looser than the one that the shipped data give. Her own withdraw the
    promise where they speak against it, and bear it out alone where they are enough; until then
    the shipped ones promise, for all but a few sites that are misread far more often than others.
    """
    delta = shipped.delta
    given = shipped.promise(allowed_error, SHIPPED_BASIS)
    start = given.threshold
    odd, whole = _few_odd_sites(own), own
    if odd and own.writers is not None:
        whole = own.part(~np.isin(own.writers, odd))
    wrong, checked = whole.at(start)
    missing = own.missing(start, allowed_error, delta)
    if evidence_against(*by_site(whole, start), allowed_error) >= 1.0 / delta:
        reason = (
            f"{wrong:,} of your {checked:,} own checked readings were wrong, more than "
            f"{allowed_error * 100:g} %; the shipped calibration does not hold for your "
            "photographs"
        )
        return NoPromise(
            reason, missing, above_errors(own, start), allowed_error, delta, wrong, checked
        )
    sites = by_site(own, start)
    if evidence_for(*sites, allowed_error) >= 1.0 / delta:
        people, where = None, ""
        if own.writers is not None:
            people = len(sites[0])
            where = f", from {people:,} site" + ("" if people == 1 else "s")
        wrong, checked = own.at(start)
        return Promise(
            start, wrong, checked, people, own.bound(start, delta), allowed_error, delta,
            checked / max(1, len(own.scores)), f"your own readings{where}",
        )  # fmt: skip
    if isinstance(given, NoPromise):
        return given
    basis = (
        f"{SHIPPED}; {wrong:,} of {checked:,} of your own checked readings were wrong, "
        f"about {max(1, missing):,} more to promise on those alone"
    )
    left_out = f"; without {', '.join(odd)}, misread often" if odd else ""
    return replace(given, basis=basis + left_out)


def by_site(own: Checked, threshold: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Wrong and checked fields (S,) of each site that speaks about ``threshold``; each field by
    itself where it is not known from which site it is.
    """
    telling = own.tell(threshold)
    wrong = (~own.correct[telling]).astype(np.int64)
    if own.writers is None:
        return wrong, np.ones(len(wrong), np.int64)
    names, place, checked = np.unique(
        own.writers[telling], return_inverse=True, return_counts=True
    )
    return np.bincount(place, wrong, len(names)).astype(np.int64), checked.astype(np.int64)


def odd_sites(own: Checked) -> list[tuple[str, int, int]]:
    """Sites that are misread far more often than others may be: name, wrong and checked fields.

    Two errors at least, and by the binomial tail at ``DECODE.odd_share``, a share that no site
    should have; ``DELTA`` is shared out over the sites (Bonferroni).
    """
    if own.writers is None:
        return []
    names = np.unique(own.writers)
    found = []
    for name in names:
        here = own.writers == name
        wrong, checked = int((~own.correct[here]).sum()), int(here.sum())
        if wrong > 1 and bdtrc(wrong - 1, checked, DECODE.odd_share) < DELTA / len(names):
            found.append((str(name), wrong, checked))
    return found


def _few_odd_sites(own: Checked) -> list[str]:
    """Names of the odd sites where they are few among many: one odd hand is told as one, and takes
    no promise from everybody. None where they are the study.
    """
    names = [name for name, _, _ in odd_sites(own)]
    few = own.writers is not None and len(names) <= DECODE.few_sites * len(np.unique(own.writers))
    return names if few else []
