"""The sites that a mistyped number may have meant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sheet_reader.study.model import Site


def nearest_sites(number: str, sites: Sequence[Site], most: int = 3) -> tuple[Site, ...]:
    """The sites whose numbers a typing mistake most easily turns into ``number``: by the fewest
    digits typed wrongly, left out, put in or swapped with their neighbour; at most two.
    """
    ranked = sorted((_mistakes(number, site.number), i) for i, site in enumerate(sites))
    return tuple(sites[i] for mistakes, i in ranked if mistakes <= 2)[:most]


def did_you_mean(number: str, sites: Sequence[Site]) -> str:
    """“did you mean 1029 (Old wall)?” for a number that no site has; "" where none is near."""
    near = nearest_sites(number, sites)
    listed = [f"{site.number} ({site.label})" if site.label else site.number for site in near]
    return f"did you mean {' or '.join(listed)}?" if listed else ""


def _mistakes(typed: str, meant: str) -> int:
    """Typing mistakes between two numbers (restricted Damerau–Levenshtein distance: Damerau,
    Communications of the ACM 7 (1964), 171–176).
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
