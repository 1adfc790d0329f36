r"""From confidence to a promise: at most ``allowed_error`` of the accepted fields are wrong.

Fields with a confidence of at least t are accepted. The share wrong among them is no monotone
function of t, so it is not enough to bound it where it happens to look good (plain conformal risk
control fails here: arXiv 2602.20151). Instead each threshold of a grid fixed beforehand is a
hypothesis "more than allowed_error of what t accepts is wrong", tested by the exact binomial tail

    p(t) = P(Binomial(n_t, allowed_error) <= k_t)      (Clopper–Pearson, see ``binomial``)

for k_t wrong of n_t checked fields. The thresholds are tested in a fixed order, from a start
chosen without these data towards looser ones, each at level delta, stopping at the first that is
not rejected: fixed-sequence testing within Learn then Test (Angelopoulos, Bates, Candès, Jordan &
Lei, Annals of Applied Statistics 19:1641, 2025). The last rejected threshold keeps the promise
with probability at least 1 - delta over the draw of the checked fields. Selective prediction with
a guarantee goes back to Geifman & El-Yaniv 2017 (arXiv 1705.08500), who split delta over their
search steps instead.

The sampling unit is the person: what is promised is promised for people like those who wrote the
checked fields. Errors cluster by person (one odd hand), so the tail is not the binomial's but that
of counts with a rate of its own for each person (``clustered``); every fifth person's fields choose
the start, the others' are tested. Where nobody knows who wrote, each field stands alone.

What the promise rests on: the checked fields are a fair sample of those that will be accepted. How
the shipped ones and a study's own go together: ``audited``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheet_reader.decode.binomial import at_most, checks_needed, lower_bound, percent, upper_bound
from sheet_reader.decode.clustered import at_most_clustered, fields_needed, upper_bound_clustered
from sheet_reader.decode.parameters import DECODE

CONSERVATIVE = DECODE.conservative
START = DECODE.start
DELTA = DECODE.delta
_MORE_ERRORS = DECODE.pilot_more_errors

GRID: tuple[float, ...] = tuple(1.0 - 10.0 ** (-j / 8.0) for j in range(64, 3, -1))
"""Thresholds from strict (1 - 1e-8) to loose (0.68), evenly spaced in log(1 - t)."""


@dataclass(frozen=True, slots=True)
class Checked:
    """Fields whose truth is known: ``scores`` float64 (N,), the confidence of each reading, and
    ``correct`` bool (N,), whether it was right. Only fields that nothing but the confidence kept
    from being accepted belong here (not those asked about for a struck box, a sum and so on).
    ``sheets`` int64 (N,) says which stand on one sheet; None where that is not known. ``floors``
    float64 (N,) is the threshold from which on each could be drawn into the check at all; None
    where no field was left out for its confidence. ``writers`` str (N,) says who wrote each,
    ``numbers`` (N,) the same as a number; None where that is not known.
    """

    scores: NDArray[np.float64]
    correct: NDArray[np.bool_]
    sheets: NDArray[np.int64] | None = None
    floors: NDArray[np.float64] | None = None
    writers: NDArray[np.str_] | None = None
    numbers: NDArray[np.intp] | None = None

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
        numbers = None if w is None else np.unique(w, return_inverse=True)[1]
        if any(x is not None and x.shape != s.shape for x in (c, n, f, w)):
            raise ValueError(f"{len(s)} scores but {len(c)} answers")
        return cls(s, c, n, f, w, numbers)

    def part(self, which: NDArray[np.bool_]) -> Checked:
        """The fields where ``which`` (N,) is True."""
        sheets = None if self.sheets is None else self.sheets[which]
        floors = None if self.floors is None else self.floors[which]
        writers = None if self.writers is None else self.writers[which]
        numbers = None if self.numbers is None else self.numbers[which]
        return Checked(self.scores[which], self.correct[which], sheets, floors, writers, numbers)

    def tell(self, threshold: float) -> NDArray[np.bool_]:
        """Which fields (N,) speak about ``threshold``: those at or above it, of the right ones only
        those that were drawn where all down to it could be drawn.
        """
        kept = self.scores >= threshold
        return kept if self.floors is None else kept & (~self.correct | (self.floors <= threshold))

    def at(self, threshold: float) -> tuple[int, int]:
        """How many of the fields that speak about ``threshold`` are wrong, and how many there
        are.
        """
        kept = self.tell(threshold)
        return int((kept & ~self.correct).sum()), int(kept.sum())

    def people(self, threshold: float) -> NDArray[np.int64] | None:
        """How many fields that speak about ``threshold`` each person wrote, (W,); None where it is
        not known who did.
        """
        if self.numbers is None:
            return None
        counts: NDArray[np.int64] = np.bincount(self.numbers[self.tell(threshold)])
        return counts[counts > 0]

    def chance(self, threshold: float, share: float) -> float:
        """The p-value against "more than ``share`` of what ``threshold`` accepts is wrong"."""
        wrong, checked = self.at(threshold)
        people = self.people(threshold)
        if people is None:
            return at_most(wrong, checked, share)
        return at_most_clustered(wrong, people, share)

    def bound(self, threshold: float, delta: float) -> float:
        """One-sided upper bound (0..1) of the share wrong at ``threshold``."""
        wrong, checked = self.at(threshold)
        people = self.people(threshold)
        if people is None:
            return upper_bound(wrong, checked, delta)
        return upper_bound_clustered(wrong, people, delta)

    def missing(self, threshold: float, share: float, delta: float) -> int:
        """How many more fields at ``threshold``, none wrong, would show a share of ``share``."""
        wrong, checked = self.at(threshold)
        people = self.people(threshold)
        if people is None or not len(people):
            return checks_needed(share, delta, wrong) - checked
        return fields_needed(wrong, people, share, delta) - checked


@dataclass(frozen=True, slots=True)
class Promise:
    """From ``threshold`` on at most ``allowed_error`` of the accepted fields are wrong, with
    confidence 1 - ``delta``: of ``checked`` such fields by ``people`` persons (None: not known)
    ``wrong`` were wrong, and ``bound`` is the upper bound of the share. ``kept`` is the share of
    all checked fields that would be accepted; ``basis`` says which data it rests on.
    """

    threshold: float
    allowed_error: float
    delta: float
    wrong: int
    checked: int
    kept: float
    bound: float
    basis: str = ""
    people: int | None = None

    @classmethod
    def of(
        cls, data: Checked, threshold: float, allowed_error: float, delta: float, basis: str = ""
    ) -> Promise:
        """The promise that ``data`` bear out at ``threshold``."""
        wrong, checked = data.at(threshold)
        people = data.people(threshold)
        return cls(
            threshold, allowed_error, delta, wrong, checked, checked / max(1, len(data.scores)),
            data.bound(threshold, delta), basis, None if people is None else len(people),
        )  # fmt: skip

    @property
    def sentence(self) -> str:
        """The promise in words."""
        whose = "" if self.people is None else f", written by {self.people:,} people,"
        return (
            f"At most {self.allowed_error * 100:g} % of the accepted fields are wrong, with "
            f"{(1.0 - self.delta) * 100:g} % confidence"
            + (", for people like those who wrote the checked ones" if self.people else "")
            + f": {self.wrong:,} of {self.checked:,} checked ones{whose} were wrong, so at most "
            f"{percent(self.bound)}" + (f" ({self.basis})." if self.basis else ".")
        )


@dataclass(frozen=True, slots=True)
class NoPromise:
    """Nothing can be promised. ``reason`` says why in words, ``missing`` how many more accepted
    fields must be checked and found right (0: more data of this kind will not help), and
    ``threshold`` what to work with meanwhile: it promises the share ``meanwhile`` of errors
    (None: nothing).
    """

    reason: str
    missing: int
    threshold: float
    allowed_error: float
    delta: float
    wrong: int = 0
    checked: int = 0
    meanwhile: float | None = None

    @property
    def sentence(self) -> str:
        """The refusal in words."""
        if self.meanwhile is None:
            return f"No promise yet: {self.reason}."
        weaker = f"{self.meanwhile * 100:g} % can be promised meanwhile"
        return f"No promise yet: {self.reason}; {weaker}."


def loosest(
    data: Checked,
    allowed_error: float,
    delta: float = DELTA,
    start: float = START,
    basis: str = "",
) -> Promise | NoPromise:
    """The loosest threshold that keeps ``allowed_error`` with probability 1 - ``delta``.

    ``start`` must not have been chosen by looking at these data (:func:`pilot_start` on other
    data is right).
    """
    best: float | None = None
    for threshold in [start, *(t for t in GRID if t < start)]:
        if data.chance(threshold, allowed_error) > delta:
            break
        best = threshold
    if best is None:
        return refusal(data, start, allowed_error, delta)
    return Promise.of(data, best, allowed_error, delta, basis)


def refusal(data: Checked, start: float, allowed_error: float, delta: float) -> NoPromise:
    """Why ``start`` keeps no promise by these data, and what is missing."""
    wrong, checked = data.at(start)
    missing = data.missing(start, allowed_error, delta)
    sure = f"{(1.0 - delta) * 100:g} %"
    if checked and lower_bound(wrong, checked, delta) > allowed_error:
        reason = (
            f"{wrong:,} of {checked:,} checked fields with a confidence of {start:g} or more were "
            f"wrong, clearly more than {allowed_error * 100:g} %"
        )
        return NoPromise(reason, 0, above_errors(data, start), allowed_error, delta, wrong, checked)
    found = f"{wrong:,} of {checked:,} checked fields wrong" if checked else "nothing checked"
    reason = (
        f"{found}; to be {sure} sure of at most {allowed_error * 100:g} %, {missing:,} more must "
        "be checked and found right"
    )
    return NoPromise(
        reason, missing, max(CONSERVATIVE, start), allowed_error, delta, wrong, checked
    )


def above_errors(data: Checked, threshold: float) -> float:
    """A threshold above every checked reading that proved wrong, at least ``threshold``."""
    wrong = data.scores[~data.correct]
    worst = float(wrong.max()) if len(wrong) else 0.0
    return max(CONSERVATIVE, threshold, float(np.nextafter(worst, 2.0)))


def pilot_start(pilot: Checked, share: float = 1.0) -> float:
    """Where to start testing, from pilot data that are not tested themselves.

    The grid threshold whose exact upper bound would be lowest if the tested data looked like the
    pilot, ``share`` times as many. ``_MORE_ERRORS`` wrong fields more than seen are spread over all
    thresholds as the scores' own doubt is, so that a pilot too small to show an error does not
    lead to too loose a start.
    """
    all_doubt = max(float((1.0 - pilot.scores).sum()), 1e-12)
    bounds = []
    for threshold in GRID:
        wrong, checked = pilot.at(threshold)
        doubt = float((1.0 - pilot.scores[pilot.scores >= threshold]).sum())
        expected = (wrong + _MORE_ERRORS * doubt / all_doubt) * share
        bounds.append(upper_bound(round(expected), round(checked * share), DELTA))
    return GRID[int(np.argmin(bounds))] if min(bounds) < 1.0 else START


def promise_from(
    data: Checked, allowed_error: float, delta: float = DELTA, basis: str = ""
) -> Promise | NoPromise:
    """A promise from one set of checked fields: those of every fifth person choose the start, the
    others' are tested.

    The split uses nothing but who wrote (or, where that is not known, the position in the data),
    so the test stays honest.
    """
    turn = np.arange(len(data.scores)) if data.numbers is None else data.numbers
    pilot = turn % 5 == 0
    start = pilot_start(data.part(pilot), 4.0)
    return loosest(data.part(~pilot), allowed_error, delta, start, basis)
