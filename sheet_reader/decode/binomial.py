r"""Exact statements about a share from a count: Clopper–Pearson, and how much checking is needed.

C. J. Clopper & E. S. Pearson, Biometrika 26:404, 1934: with k wrong of n, the one-sided upper
bound at confidence 1 - delta is the share p at which P(Binomial(n, p) <= k) = delta, that is the
1 - delta quantile of Beta(k + 1, n - k).
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import betainc, betaincinv

from sheet_reader.wording import percent


def upper_bound(wrong: float, checked: float, delta: float = 0.05) -> float:
    """One-sided exact upper bound of the share wrong (0..1), valid with probability 1 - delta.
    The counts may be effective ones, not whole (see ``at_most``).
    """
    if wrong >= checked:
        return 1.0
    return float(betaincinv(wrong + 1, checked - wrong, 1.0 - delta))


def lower_bound(wrong: int, checked: int, delta: float = 0.05) -> float:
    """One-sided exact lower bound of the share wrong (0..1), valid with probability 1 - delta."""
    if wrong <= 0:
        return 0.0
    return float(betaincinv(wrong, checked - wrong + 1, delta))


def clopper_pearson(wrong: int, checked: int, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided exact interval of the share wrong at ``confidence`` (0..1)."""
    half = (1.0 - confidence) / 2.0
    return lower_bound(wrong, checked, half), upper_bound(wrong, checked, half)


def at_most(wrong: float, checked: float, share: float) -> float:
    """P(Binomial(checked, share) <= wrong): the p-value against "more than ``share`` wrong".

    By the incomplete beta function, which takes counts between whole ones too: where errors come
    in groups, both counts are divided by the design effect first (Korn & Graubard, Survey
    Methodology 24:193, 1998).
    """
    return float(betainc(checked - wrong, wrong + 1, 1.0 - share)) if checked > wrong else 1.0


def checks_needed(share: float, delta: float = 0.05, wrong: int = 0) -> int:
    """Smallest number of checked fields that, with ``wrong`` wrong ones among them, shows a share
    of at most ``share`` at confidence 1 - delta (2,995 for 0, 0.001, 0.05).
    """
    low, high = wrong, max(wrong, 1)
    while at_most(wrong, high, share) > delta:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        if at_most(wrong, middle, share) <= delta:
            high = middle
        else:
            low = middle
    return high


@dataclass(frozen=True, slots=True)
class ObservedError:
    """``wrong`` of ``checked`` fields, with the exact bounds of the true share."""

    wrong: int
    checked: int
    confidence: float = 0.95

    @property
    def upper(self) -> float:
        """One-sided upper bound of the share wrong."""
        return upper_bound(self.wrong, self.checked, 1.0 - self.confidence)

    @property
    def interval(self) -> tuple[float, float]:
        """Two-sided interval of the share wrong."""
        return clopper_pearson(self.wrong, self.checked, self.confidence)

    @property
    def sentence(self) -> str:
        """For example "0 of 315 wrong: at most 0.95 % with 95 % confidence"."""
        sure = f"{self.confidence * 100:g} % confidence"
        counted = f"{self.wrong:,} of {self.checked:,} wrong"
        if self.checked == 0:
            return "nothing checked yet"
        return f"{counted}: at most {percent(self.upper)} with {sure}"
