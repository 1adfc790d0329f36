"""Site numbers: their check digit, new ones that are hard to mistake for one another, and those
that a mistyped one may have meant.

Every number ends in its check digit: Damm's, over the published quasigroup of order 10 (H. M. Damm,
*Total anti-symmetrische Quasigruppen*, doctoral thesis, Marburg 2004). It finds every single wrong
digit and every swap of two neighbouring digits, so two numbers differ in at least two digits and
are never one swap of neighbours apart. New ones are kept further apart, at three digits or more, as
long as the supply lasts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from operator import itemgetter
from typing import TYPE_CHECKING

from sheet_reader.errors import UsageError

if TYPE_CHECKING:
    from sheet_reader.study.study import Site

_TABLE = (
    "0317598642", "7092154863", "4206871359", "1750983426", "6123045978",
    "3674209581", "5869720134", "8945362017", "9438617205", "2581436790",
)  # fmt: skip
LOOK_ALIKE = frozenset(
    frozenset(pair) for pair in ("17", "06", "08", "38", "49", "35", "56", "27", "68", "89", "14")
)
"""Digits that are taken for each other in handwriting (common practice, no source)."""
LEAST_DIGITS, MOST_DIGITS = 2, 8
_WANTED = 3
_MOST_CANDIDATES = 100_000


def damm(digits: str) -> str:
    """The check digit to append to ``digits`` (ASCII, any length from 1); raises ValueError for
    anything but digits.
    """
    if not digits or not digits.isascii() or not digits.isdigit():
        raise ValueError("only the digits 0 to 9 have a check digit")
    interim = "0"
    for digit in digits:
        interim = _TABLE[int(interim)][int(digit)]
    return interim


def is_valid(number: str) -> bool:
    """Whether ``number`` has at least two digits and ends in its check digit."""
    return len(number) >= 2 and number.isascii() and number.isdigit() and damm(number) == "0"


@dataclass(frozen=True, slots=True)
class SiteNumbers:
    """Numbers chosen (without those there before), and the smallest number of digits in which any
    two of all differ; 0 where there is but one number.
    """

    numbers: tuple[str, ...]
    distance: int


def has_look_alikes(number: str) -> bool:
    """Whether digits that are taken for each other stand side by side."""
    return any(frozenset(pair) in LOOK_ALIKE for pair in pairwise(number))


def smallest_distance(numbers: Sequence[str]) -> int:
    """The smallest number of digits in which any two numbers differ; 0 for fewer than two."""
    lengths = sorted({len(number) for number in numbers})
    alike = [[number for number in numbers if len(number) == length] for length in lengths]
    return min([*lengths[1:2], *(_smallest(some) for some in alike if len(some) > 1)], default=0)


def _smallest(numbers: Sequence[str]) -> int:
    """The same for numbers of one length: each is looked up with ever more digits masked, so that
    the work grows with their count and not with that of their pairs.
    """
    length = len(numbers[0])
    for digits, masks in ((n, _masks(length, n)) for n in range(length)):
        if any(len({mask(number) for number in numbers}) < len(numbers) for mask in masks):
            return digits
    return length


def _masks(length: int, masked: int) -> list[Callable[[str], object]]:
    """Functions that leave out ``masked`` digits of a number of this length, any choice of them:
    two numbers differ in no more digits exactly where one function makes them the same.
    """
    return [itemgetter(*left) for left in combinations(range(length), length - masked)]


def digits_for(count: int) -> int:
    """How many digits so many sites' numbers should have, the check digit among them: as few as
    keep them three digits apart (tried up to 2,000 sites), and at least four.
    """
    return next((digits for most, digits in ((50, 4), (250, 5), (2000, 6)) if count <= most), 7)


def choose_numbers(count: int, existing: Sequence[str] = (), digits: int = 0) -> SiteNumbers:
    """``count`` new site numbers of ``digits`` digits (0: as the existing ones have, or as suits
    the count); the existing ones stay as they are and are kept apart from.

    The same arguments give the same numbers. Numbers begin with 1 to 9, as spreadsheets drop a
    leading zero, and look-alike digits stand side by side only where the supply demands it. Raises
    UsageError where there are not as many numbers of that length.
    """
    length = digits or (len(existing[0]) if existing else digits_for(len(existing) + count))
    if not LEAST_DIGITS <= length <= MOST_DIGITS:
        raise UsageError(f"a site number has {LEAST_DIGITS} to {MOST_DIGITS} digits, not {length}")
    numbers = _numbers(length)
    chosen: list[str] = []
    for distance in range(min(_WANTED, length), 1, -1):
        apart = _Apart([n for n in (*existing, *chosen) if len(n) == length], distance, length)
        for look_alikes in (False, True):
            for number in numbers:
                if len(chosen) == count:
                    break
                if has_look_alikes(number) == look_alikes and apart.take(number):
                    chosen.append(number)
    if len(chosen) < count:
        raise UsageError(
            f"there are only {len(chosen)} more site numbers of {length} digits",
            remedy="use numbers with one digit more",
        )
    new = tuple(sorted(chosen))
    return SiteNumbers(new, smallest_distance((*existing, *new)))


class _Apart:
    """Numbers of one length that differ in ``distance`` digits or more from each other, looked up
    and not compared: taking one more costs the same however many there are.
    """

    def __init__(self, numbers: Sequence[str], distance: int, length: int) -> None:
        masks = _masks(length, distance - 1)
        self._seen = [(mask, set(map(mask, numbers))) for mask in masks]

    def take(self, number: str) -> bool:
        """Whether ``number`` is far enough from all taken so far; then it is taken, too."""
        if any(mask(number) in seen for mask, seen in self._seen):
            return False
        for mask, seen in self._seen:
            seen.add(mask(number))
        return True


def _numbers(length: int) -> list[str]:
    """Numbers of this length that end in their check digit, far-spread ones first; at most
    :data:`_MOST_CANDIDATES`.

    They run through the range in steps that share no factor with it (a multiplicative generator),
    so that neighbouring sites get unlike numbers.
    """
    first, size = 10 ** (length - 2), 9 * 10 ** (length - 2)
    step = next(s for s in range(round(size * 0.618), size + 1) if math.gcd(s, size) == 1)
    bodies = (str(first + i * step % size) for i in range(min(size, _MOST_CANDIDATES)))
    return [body + damm(body) for body in bodies]


def nearest_sites(number: str, sites: Sequence[Site], most: int = 3) -> tuple[Site, ...]:
    """The sites whose numbers the fewest typing mistakes turn into ``number``, at most two."""
    ranked = sorted((keying_mistakes(number, site.number), i) for i, site in enumerate(sites))
    return tuple(sites[i] for mistakes, i in ranked if mistakes <= 2)[:most]


def keying_mistakes(typed: str, meant: str) -> int:
    """Digits typed wrongly, left out, put in or swapped with their neighbour (restricted
    Damerau–Levenshtein distance: Damerau, Communications of the ACM 7 (1964), 171–176).
    """
    rows = [list(range(len(meant) + 1))]
    for i, a in enumerate(typed, 1):
        row = [i]
        for j, b in enumerate(meant, 1):
            cost = min(rows[i - 1][j] + 1, row[j - 1] + 1, rows[i - 1][j - 1] + (a != b))
            if i > 1 and j > 1 and a == meant[j - 2] and typed[i - 2] == b:
                cost = min(cost, rows[i - 2][j - 2] + 1)
            row.append(cost)
        rows.append(row)
    return rows[-1][-1]
