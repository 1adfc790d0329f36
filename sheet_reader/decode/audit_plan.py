r"""How many accepted fields to look at again, and what the look says.

Single sampling by attributes, general inspection level II, normal inspection (ISO 2859-1): the
lot size gives a code letter, the letter a sample size, letter and acceptance quality limit (AQL,
per cent nonconforming) the acceptance number. Read in a source: lots 281–500 → H, n 50; 501–1,200
→ J, 80; 1,201–3,200 → K, 125; at AQL 1.0 accept up to 1, 2, 3. All other letters, sizes and
numbers are from memory, by the regular pattern of the standard's master table: acceptance numbers
0, (0), (1), 1, 2, 3, 5, 7, 10, 14, 21 along its diagonals, where the entries in brackets send the
user to the neighbouring plan.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from scipy.special import bdtr

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
    (per cent), ``reject`` or more are not. ``letter`` is the plan's code letter.
    """

    lot: int
    letter: str
    sample: int
    accept: int
    aql: float

    @property
    def reject(self) -> int:
        """From this many wrong fields on the lot is not accepted."""
        return self.accept + 1

    def accepts(self, wrong: int) -> bool:
        """Whether ``wrong`` wrong fields in the sample are acceptable."""
        return wrong <= self.accept


def code_letter(lot: int) -> str:
    """Code letter of a lot of ``lot`` fields (2 or more), general inspection level II."""
    if lot < 2:
        raise ValueError("a lot has at least two fields")
    return LETTERS[bisect_left(_LOTS, lot)]


def sample_size(letter: str) -> int:
    """Sample size of a code letter, single sampling, normal inspection."""
    return _SIZES[LETTERS.index(letter)]


def sampling_plan(lot: int, aql: float) -> SamplingPlan:
    """The plan for ``lot`` fields (2 or more) at ``aql`` per cent (one of ``AQLS``).

    Where the table points to another letter its plan is used; a sample as large as the lot means
    looking at every field, none of which may be wrong more often than the acceptance number says.
    """
    if aql not in AQLS:
        raise ValueError(f"no plan for an AQL of {aql} %")
    letter_at = LETTERS.index(code_letter(lot))
    first = LETTERS.index("Q") - AQLS.index(aql)
    diagonal = min(max(letter_at - first, 0), len(_ACCEPT) - 1)
    diagonal = _DETOUR.get(diagonal, diagonal)
    used = first + diagonal
    return SamplingPlan(lot, LETTERS[used], min(_SIZES[used], lot), _ACCEPT[diagonal], aql)


def nearest_aql(allowed_error: float) -> float:
    """The largest AQL (per cent) not above ``allowed_error`` (a share), else the smallest."""
    wanted = allowed_error * 100.0 * (1.0 + 1e-9)
    return max((a for a in AQLS if a <= wanted), default=AQLS[0])


def acceptance_probability(sample: int, accept: int, share_wrong: float) -> float:
    """Probability that a lot with ``share_wrong`` (0..1) wrong fields is not contradicted
    (binomial): 45 % for 1 % wrong and 0 allowed in a sample of 80, whatever the limit was.
    """
    return float(bdtr(accept, sample, share_wrong))
