"""The check digit of site numbers: Damm's, over the published quasigroup of order 10.

H. M. Damm, *Total anti-symmetrische Quasigruppen*, doctoral thesis, Marburg 2004. It finds every
single wrong digit and every swap of two neighbouring digits.
"""

from __future__ import annotations

_TABLE = (
    "0317598642",
    "7092154863",
    "4206871359",
    "1750983426",
    "6123045978",
    "3674209581",
    "5869720134",
    "8945362017",
    "9438617205",
    "2581436790",
)


def _interim(digits: str) -> str:
    if not digits or not digits.isascii() or not digits.isdigit():
        raise ValueError("only the digits 0 to 9 have a check digit")
    interim = "0"
    for digit in digits:
        interim = _TABLE[int(interim)][int(digit)]
    return interim


def damm(digits: str) -> str:
    """The check digit to append to ``digits`` (ASCII digits, any length from 1).

    Raises ValueError for anything but digits.
    """
    return _interim(digits)


def is_valid(number: str) -> bool:
    """Whether ``number`` has at least two digits and ends in its check digit."""
    return len(number) >= 2 and number.isascii() and number.isdigit() and _interim(number) == "0"
