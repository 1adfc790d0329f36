"""How two numbers of one length differ, pair by pair: slow and plain."""

from __future__ import annotations


def hamming(a: str, b: str) -> int:
    """In how many places two numbers differ; numbers of unlike length differ in all."""
    if len(a) != len(b):
        return max(len(a), len(b))
    return sum(x != y for x, y in zip(a, b, strict=True))


def is_swap(a: str, b: str) -> bool:
    """Whether swapping two neighbouring digits makes one number the other."""
    places = [i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y]
    return (
        len(a) == len(b)
        and len(places) == 2
        and places[1] == places[0] + 1
        and a[places[0]] == b[places[1]]
        and a[places[1]] == b[places[0]]
    )
