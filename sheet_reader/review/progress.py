"""How a review goes: what was answered and how, and what still waits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sheet_reader.review.decisions import Reply


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a review ended: questions answered in it, those that still wait, and how they went."""

    answered: int
    waiting: int
    confirmed: int
    corrected: int


def outcome(replies: Iterable[Reply], waiting: int) -> Outcome:
    """The outcome after these answers, with so many questions left."""
    kinds = [reply.kind for reply in replies]
    return Outcome(len(kinds), waiting, kinds.count("confirmed"), kinds.count("corrected"))
