"""Checked fields: readings whose truth is known, and what they say about a threshold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheet_reader.decode.binomial import upper_bound
from sheet_reader.decode.clustered import fields_missing, upper_bound_clustered
from sheet_reader.decode.promise import CONSERVATIVE, Promise


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

    def promise(self, threshold: float, allowed_error: float, delta: float, basis: str) -> Promise:
        """The promise that the fields bear out at ``threshold``."""
        wrong, checked = self.at(threshold)
        people = self.people(threshold)
        return Promise(
            threshold, allowed_error, delta, wrong, checked, checked / max(1, len(self.scores)),
            self.bound(threshold, delta), basis, None if people is None else len(people),
        )  # fmt: skip


def above_errors(data: Checked, threshold: float) -> float:
    """A threshold above every checked reading that proved wrong, at least ``threshold``."""
    wrong = data.scores[~data.correct]
    worst = float(wrong.max()) if len(wrong) else 0.0
    return float(max(CONSERVATIVE, threshold, np.nextafter(worst, 2.0)))
